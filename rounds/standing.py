"""How a bottle stands: one rule for the rails, the ribbons, the counts and the due time.

Two rules side by side once had a bottle "likely out now" in one corner of the screen and "out in 6 min"
in another. All of them say "out" of what is more likely out than in, and nothing else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from rounds.gauss import Gauss

Tuned = Literal["in_tune", "sharp", "flat", "doubtful"]
"""`doubtful`: expected inside, yet more likely out than in, on a side that nobody can tell."""
Ahead = Literal["in_tune", "wavering", "sharp", "flat", "doubtful"]
"""`wavering`: still in tune, and it may be out."""
LIKELY_OUT = 0.5
MAY_BE_OUT = 0.2
"""From this chance on a bottle in tune is drawn as one that may be out. Common practice, no source."""


def tuned(level: Gauss, tolerance_cents: float) -> Tuned:
    """How a bottle stands whose pitch off its aim is believed so.

    Beyond the tolerance by expectation is the same as more likely than not out on that side.
    """
    if abs(level.mean) > tolerance_cents:
        return "sharp" if level.mean > 0.0 else "flat"
    return "doubtful" if level.outside(tolerance_cents) > LIKELY_OUT else "in_tune"


def ahead(level: Gauss, tolerance_cents: float) -> Ahead:
    """How it is expected to stand some minutes ahead, with a word for the time before it leaves."""
    now = tuned(level, tolerance_cents)
    return "wavering" if now == "in_tune" and level.outside(tolerance_cents) >= MAY_BE_OUT else now
