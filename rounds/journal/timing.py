"""The journal's time for commands that run once: what a session knows from its fold, looked up."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.bounds import has_time
from rounds.events import ClockSet, SessionStarted
from rounds.times.journal_time import UNSEEN_S, Scale, begun, moved, zero_of

if TYPE_CHECKING:
    from rounds.journal.store import Journal

_NEWEST = 1000
"""Among so many events the newest time is looked for: sessions never write one that runs back."""


def scales(journal: Journal) -> list[Scale]:
    """Every scale that was noted, in order."""
    found = (event for _, event in journal.events(kinds=(ClockSet.kind,)))
    return [
        Scale(event.ahead_s, event.at_s, event.unseen_s) for event in found if isinstance(event, ClockSet)
    ]


def scale_now(journal: Journal, clock_s: float | None = None) -> Scale:
    """How the journal's time runs against the clock now, noted by a session or not yet."""
    clock_s = time.time() if clock_s is None else clock_s
    noted, latest_s = _noted(journal), _latest_s(journal, clock_s)
    now_s = begun(noted, latest_s, clock_s, UNSEEN_S)
    return moved(noted, now_s, clock_s, latest_s) or noted


def _noted(journal: Journal) -> Scale:
    return ([Scale(), *scales(journal)])[-1]


def _latest_s(journal: Journal, otherwise_s: float) -> float:
    newest, gone = journal.events(max(0, journal.last_id - _NEWEST)), journal.taken_back()
    return max((e.at_s for n, e in newest if has_time(e) and n not in gone), default=otherwise_s)


@dataclass(frozen=True)
class Begun:
    """How a session of lines begins: by the machine's clock, and when its own shows 0."""

    clock_s: float
    zero_s: float


def lines_begun(journal: Journal, t: float | None, clock_s: float) -> Begun:
    """How a session begins whose first line says `t`.

    Where that is later than all that the session before told, by the clock of that one, and the machine's
    clock does not say that much more has passed, it was killed and goes on: time is what its lines say.
    A new clock begins at a whole second, so that the same lines are the same times to the last bit.
    """
    clock_s = float(math.floor(clock_s))
    latest_s = _latest_s(journal, clock_s)
    before = journal.newest(journal.last_id, (SessionStarted.kind,))
    if t is not None and isinstance(before, SessionStarted) and before.zero_s is not None:
        noted, at_s = _noted(journal), before.zero_s + t
        if latest_s <= at_s and noted.kept(clock_s) - at_s <= UNSEEN_S:
            return Begun(noted.told(latest_s), before.zero_s)
    now_s = begun(_noted(journal), latest_s, clock_s)
    return Begun(clock_s, zero_of(clock_s, t or 0.0, now_s))
