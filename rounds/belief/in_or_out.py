"""How a bottle stands: one rule for the rails, the ribbons, the counts and the due time.

Two rules side by side once had a bottle "likely out now" in one corner of the screen and "out in 6 min"
in another. All of them say "out" of what is more likely out than in, and nothing else.

Before air is moved more is asked (`place`): a reading of 9.8 cents with 3 cents of uncertainty is not
"inside 10", and nobody pumps a bottle for what the room did to a reading. Cents off the middle of the band.
"""

from __future__ import annotations

from typing import Literal

from rounds.gauss import Z95, Gauss

Tuned = Literal["in_tune", "sharp", "flat", "doubtful"]
"""`doubtful`: expected inside, yet more likely out than in, on a side that nobody can tell."""
Ahead = Literal["in_tune", "wavering", "sharp", "flat", "doubtful"]
"""`wavering`: still in tune, and it may be out."""
Place = Literal["in", "unsure", "out"]
"""Whether a bottle is inside its tolerance, where neither its reading nor the bottle is known exactly."""
SURE = 0.9
"""How likely `in` or `out` must be before it is said. Common practice, no source."""
LIKELY_OUT = 0.5
MAY_BE_OUT = 0.2
"""From this chance on a bottle in tune is drawn as one that may be out. Common practice, no source."""


def tuned(level: Gauss, tolerance_cents: float) -> Tuned:
    """Whether a bottle is in tune, by what is believed of its pitch off its aim.

    Beyond the tolerance by expectation is the same as more likely than not out on that side.
    """
    if abs(level.mean) > tolerance_cents:
        return "sharp" if level.mean > 0.0 else "flat"
    return "doubtful" if level.outside(tolerance_cents) > LIKELY_OUT else "in_tune"


def ahead(level: Gauss, tolerance_cents: float) -> Ahead:
    """Whether it will be in tune some minutes ahead, with a word for the time before it leaves."""
    now = tuned(level, tolerance_cents)
    return "wavering" if now == "in_tune" and level.outside(tolerance_cents) >= MAY_BE_OUT else now


def of_reading(cents: float, u95_cents: float | None) -> Gauss:
    """A reading and its 95 % half width as a distribution."""
    return Gauss(cents, (u95_cents or 0.0) / Z95)


def chance_in(level: Gauss, tolerance_cents: float, centre_cents: float = 0.0) -> float:
    """How likely a bottle is within its tolerance."""
    return 1.0 - level.outside(tolerance_cents, centre_cents)


def place(level: Gauss, tolerance_cents: float, centre_cents: float = 0.0) -> Place:
    """In, out, or unsure by this reading."""
    chance = chance_in(level, tolerance_cents, centre_cents)
    if chance >= SURE:
        return "in"
    return "out" if chance <= 1.0 - SURE else "unsure"
