"""Is the loudest tone one harmonic of many, as in a voice? A bottle has nothing under its main mode.

A voice is a comb: where one of its harmonics is the loudest, its neighbours stand beside it, also those
below (formants lift some harmonics of the vocal cords' pulses: any handbook of speech). The modes of a bottle
lie in no such row; what rang already, like hum, is not counted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rounds.hearing.spectrum import Spectrum

LOWEST_HZ = 75.0
MOST = 12
"""Up to which harmonic of a voice may be its loudest."""
REACH = 0.012
"""How far a harmonic may lie from its place, as a share of its frequency: voices glide."""
STANDS_OUT_DB, RISEN_DB, WEAKEST_DB = 8.0, 6.0, -35.0
"""Over the gaps of the comb, over what rang before, and against the loudest."""


def is_voice(hz: float, whole: Spectrum, before: Spectrum | None) -> bool:
    """Whether a tone has harmonics on both sides."""
    top_db = whole.level_at(hz, hz)

    def sounds(at_hz: float, spacing_hz: float) -> bool:
        low_hz, high_hz = (1.0 - REACH) * at_hz, (1.0 + REACH) * at_hz
        gaps_db = max(whole.level_at(at_hz + s * spacing_hz, at_hz + s * spacing_hz) for s in (-0.5, 0.5))
        rang_db = -200.0 if before is None else before.level_at(low_hz, high_hz)
        least_db = max(gaps_db + STANDS_OUT_DB, rang_db + RISEN_DB, top_db + WEAKEST_DB)
        return whole.level_at(low_hz, high_hz) > least_db

    for number in range(2, MOST + 1):
        spacing_hz = hz / number
        below = [hz - spacing_hz] if number == 2 else [hz - spacing_hz, hz - 2.0 * spacing_hz]
        places = [*below, hz + spacing_hz]
        if spacing_hz > LOWEST_HZ and all(sounds(at_hz, spacing_hz) for at_hz in places):
            return True
    return False
