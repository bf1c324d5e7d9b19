"""One strike while two bottles are waited for: which of the two readings is that of what was struck.

Both are measured in their own band. The bottle that was struck is the one whose tone has risen: the other
may still ring from its own strike. Where both have, or neither, nothing is believed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.hearing.reading import ADVICE
from rounds.notes import cents

if TYPE_CHECKING:
    from rounds.hearing.reading import Reading
    from rounds.hearing.spectrum import Spectrum

RISEN_DB = 3.0
"""A tone that was struck is louder by this than what rang of it before."""
ONE_TONE_CENTS = 25.0
BOTH = "Two bottles sounded at once. Strike one after the other."
_WORTH = tuple(ADVICE)


def of_two(one: Reading, other: Reading, before: Spectrum | None, whole: Spectrum) -> Reading:
    """The reading of the bottle that was struck."""
    clear = [r for r in (one, other) if r.verdict == "clear" and r.hz is not None]
    if not clear:
        return min(one, other, key=lambda r: (r.hz is None, _WORTH.index(r.verdict)))
    if len(clear) == 2 and abs(cents(clear[0].hz or 1.0, clear[1].hz or 1.0)) < ONE_TONE_CENTS:
        clear = clear[:1]
    risen = [r for r in clear if _has_risen(r.hz or 1.0, before, whole)]
    if len(risen) == 1:
        return risen[0]
    return replace(clear[0], verdict="two_ringing", advice=BOTH)


def _has_risen(hz: float, before: Spectrum | None, whole: Spectrum) -> bool:
    if before is None:
        return True
    low_hz, high_hz = 0.99 * hz, 1.01 * hz
    return whole.level_at(low_hz, high_hz) > before.level_at(low_hz, high_hz) + RISEN_DB
