"""What the player is told: the next act, with its words, and how a bottle stands.

Below the round, the sessions, the wording and every face, so that all of them mean the same by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Act = Literal["strike", "connect", "add", "release", "disconnect", "wait", "none"]
"""What the player does next; `none`: nothing, the round is over or none is open."""
Standing = Literal["unheard", "in_tune", "sharp", "flat", "doubtful", "skipped", "idle"]
"""How a bottle stands: `idle` is not needed, `doubtful` is needed and likely out though not heard so."""
TIME_IS_SHORT, TIME_MAY_BE = "Time is short", "Time may be short"
"""How the message begins that tells whom the want of time costs."""


@dataclass(frozen=True)
class Instruction:
    """The next act. `headline` is short enough to be painted large; `why` is one short phrase."""

    act: Act
    bottle: str | None
    pump: str | None
    strokes: float | None
    aim_cents: float | None
    why: str
    headline: str
    detail: str = ""
    caution: str | None = None
    then_strike: bool = True
    """False where the bottle must not be struck afterwards: there is too much air in it."""
