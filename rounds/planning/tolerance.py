"""In tune or not, when neither the reading nor the bottle is known exactly.

A reading of 9.8 cents with 3 cents of uncertainty is not "inside 10". Three answers, so that
nobody pumps a bottle for what the room did to a reading. Cents off the middle of the band.
"""

from __future__ import annotations

from typing import Literal

from rounds.gauss import Z95, Gauss

Place = Literal["in", "unsure", "out"]
SURE = 0.9
"""How likely `in` or `out` must be before it is said. Common practice, no source."""


def of_reading(cents: float, u95_cents: float | None) -> Gauss:
    """A reading and its 95 % half width as a distribution."""
    return Gauss(cents, (u95_cents or 0.0) / Z95)


def chance_in(level: Gauss, tolerance_cents: float, centre_cents: float = 0.0) -> float:
    """How likely a bottle is within its tolerance."""
    return 1.0 - level.outside(tolerance_cents, centre_cents)


def place(level: Gauss, tolerance_cents: float, centre_cents: float = 0.0) -> Place:
    """In, out, or not to be told from this reading."""
    chance = chance_in(level, tolerance_cents, centre_cents)
    if chance >= SURE:
        return "in"
    return "out" if chance <= 1.0 - SURE else "unsure"
