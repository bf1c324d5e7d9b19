"""Will this microphone do? Level, noise floor and a few strikes, judged in plain words.

The limits are common practice, no source, except that for the uncertainty: half of the usual
tolerance of 10 cents must be left for the bottle.
"""

from __future__ import annotations

import math
import statistics
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.ear import Ear
from rounds.hearing.reading import Expectation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.reading import Reading

DEAD_DBFS = -100.0
NOISY_DBFS = -40.0
FAINT_DBFS = -45.0
GOOD_U95_CENTS = 2.0
USABLE_U95_CENTS = 5.0


class SoundCheck:
    """Fed with blocks from the microphone; says what to think of them."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._ear = Ear(sample_rate_hz, Expectation(), stages=("final",))
        self._peak = 0.0
        self._quietest_dbfs = math.inf
        self.readings: list[Reading] = []

    def feed(self, block: NDArray[np.float32]) -> None:
        """Take the next block."""
        self._peak = max(self._peak, float(np.max(np.abs(block), initial=0.0)))
        self.readings += self._ear.feed(block)
        self._quietest_dbfs = min(self._quietest_dbfs, self._ear.noise_floor_dbfs)

    def figures(self) -> dict[str, float]:
        """The numbers."""
        floor_dbfs = self._quietest_dbfs if math.isfinite(self._quietest_dbfs) else -120.0
        return {
            "level_dbfs": round(self._ear.level_dbfs, 1),
            "noise_floor_dbfs": round(floor_dbfs, 1),
            "peak_dbfs": round(20.0 * math.log10(max(self._peak, 1e-6)), 1),
        }

    def says(self) -> list[str]:
        """What they mean, and what to do."""
        figures = self.figures()
        if figures["peak_dbfs"] < DEAD_DBFS:
            return ["Nothing comes in at all: unmute the microphone, or allow this program to use it."]
        words = [_of_the_room(figures["noise_floor_dbfs"])]
        if any(r.clipped for r in self.readings):
            words.append("The strikes are too loud for it: turn the microphone down.")
        return [*words, self._of_the_strikes()]

    def _of_the_strikes(self) -> str:
        clear = [r for r in self.readings if r.verdict == "clear" and r.u95_cents is not None]
        if not self.readings:
            return "No strike was heard: strike a bottle while it listens."
        if not clear:
            return "No strike was clear. " + self.readings[-1].advice
        u95 = statistics.median(r.u95_cents or 0.0 for r in clear)
        sure = f"A strike is read to ± {u95:.1f} cents"
        if all(r.fainter_than(FAINT_DBFS) for r in clear):
            return f"{sure}, but it is faint: bring the microphone closer or turn it up."
        if u95 <= GOOD_U95_CENTS:
            return f"{sure}: this will do."
        if u95 <= USABLE_U95_CENTS:
            return f"{sure}: usable; closer to the bottle is better."
        return f"{sure}: too vague. Bring the microphone within a hand of the bottle."


def _of_the_room(floor_dbfs: float) -> str:
    if floor_dbfs > NOISY_DBFS:
        return "It is noisy here: bring the microphone close to the bottle, and turn fans away."
    return "The room is quiet enough."
