"""Whether a new bottle or cap holds: filled low, heard, left alone, heard again after ten minutes or so.
Pure.

What a low filling loses counts as it would at the note: air goes by a share of the pressure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rounds.wording.words import counted

if TYPE_CHECKING:
    from rounds.gauss import Gauss
    from rounds.health.histories import History

LEAST_MIN = 8.0
"""A stretch shorter than this is settling and no verdict."""
OVER_AFTER = 3
"""So many stretches on, it is no first use any more."""
FAST_TIMES, LEAST_FAST = 3.0, 0.8
"""A loss this many times the group's, and so many cents a minute at least, is too fast. A guess."""

State = Literal["wait", "again", "holds", "falls"]


@dataclass(frozen=True)
class FirstUse:
    """How far a first use is, and what came of it."""

    state: State
    words: str


def first_use(history: History, group: Gauss) -> FirstUse | None:
    """The first use of a new part; None where nothing is new, or it is long past."""
    if not history.is_new or len(history.rates) > OVER_AFTER:
        return None
    if not history.readings:
        return FirstUse("wait", "new: fill it low, strike it, and leave it alone for ten minutes")
    first = next((r for r in history.rates if r.minutes >= LEAST_MIN), None)
    if first is None:
        return FirstUse("again", "new: hear it again ten minutes after the first strike, no air moved")
    sd = math.sqrt(first.var)
    fast = max(LEAST_FAST, FAST_TIMES * -group.mean)
    lost = (
        f"{-first.per_min:.1f} ± {2.0 * sd:.1f} cents a minute in {counted(round(first.minutes), 'minute')}"
    )
    if -first.per_min - 2.0 * sd > fast:
        return FirstUse("falls", f"new, and it falls: {lost}")
    if -first.per_min + 2.0 * sd > fast:
        return FirstUse("again", f"new: {lost}, too little to tell; leave it longer and hear it again")
    return FirstUse("holds", f"new, and it holds: {lost}")
