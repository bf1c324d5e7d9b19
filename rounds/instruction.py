"""An instruction: the next act with its words, and what a bottle needs.

Below the round, the sessions, the wording and every face, so that all of them mean the same by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Act = Literal["strike", "connect", "add", "release", "disconnect", "gauge", "wait", "none"]
"""What the player does next; `gauge`: read the pressure; `none`: nothing, no round goes on."""
State = Literal[
    "wants_air", "too_full", "holds", "fades", "unheard", "unsure", "left_out", "set_aside", "not_needed"
]
"""What a bottle needs. `fades`: holds now, will not last; `unsure`: likely out, on an unknown side."""
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
    """False where no strike is to follow: there is too much air in the bottle, or a gauge is read."""
    expected_kpa: float | None = None
    """Gauge pressure to expect once the air was moved."""
    stop_kpa: float | None = None
    """Where to stop whatever the count says."""
    to_kpa: float | None = None
    """Pump until the gauge shows this; `strokes` is then only about how many that takes."""
