"""The journal's time for commands that run once: what a session knows from its fold, looked up."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from rounds.events import ClockSet
from rounds.timescale import UNSEEN_S, Scale, begun, moved

if TYPE_CHECKING:
    from rounds.journal.store import Journal

_NEWEST = 1000
"""Among so many events the newest time is looked for: sessions never write one that runs back."""


def scales(journal: Journal) -> list[Scale]:
    """Every scale that was noted, in order."""
    found = (event for _, event in journal.events(kinds=(ClockSet.kind,)))
    return [Scale(event.ahead_s, event.at_s) for event in found if isinstance(event, ClockSet)]


def scale_now(journal: Journal, clock_s: float | None = None) -> Scale:
    """How the journal's time runs against the clock now, noted by a session or not yet."""
    clock_s = time.time() if clock_s is None else clock_s
    noted = ([Scale(), *scales(journal)])[-1]
    newest = journal.events(max(0, journal.last_id - _NEWEST))
    latest_s = max((event.at_s for _, event in newest), default=clock_s)
    now_s = begun(noted, latest_s, clock_s, UNSEEN_S)
    return moved(noted, now_s, clock_s) or noted
