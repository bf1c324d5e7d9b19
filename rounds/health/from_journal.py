"""Histories from a whole journal, in the order of time: imported rows are older than what stands before
them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.health import remembering
from rounds.health.histories import Histories
from rounds.health.remembering import Remembered, from_checkpoint
from rounds.journal.protocol import newer_than

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.journal import Journal
    from rounds.rig import Rig

    Progress = Callable[[int, int], None]

MOST_LATER = 50_000
"""More events than this after a checkpoint are not sorted in memory: all are read anew."""


def histories_at(rig: Rig, journal: Journal, now_s: float, progress: Progress) -> Remembered:
    """All that happened until a time, in the order of time; `progress(folded, all)` counts events."""
    kept = from_checkpoint(rig, journal)
    goes_on = kept.last_id and kept.histories.latest_s <= now_s
    later = newer_than(journal, kept.last_id, kept.histories.latest_s, MOST_LATER) if goes_on else None
    if later is not None:
        in_time = sorted((e for e in later if e.at_s <= now_s), key=lambda event: event.at_s)
        for event in in_time:
            kept.histories.apply(event)
        last_id = journal.last_id if len(in_time) == len(later) else 0
        return Remembered(kept.histories, last_id, len(in_time) if last_id else 0)
    histories, done, about = Histories(rig), 0, journal.last_id
    for done, event in enumerate(journal.events_by_time(now_s), 1):
        histories.apply(event)
        if done % remembering.LONG == 0:
            progress(done, about)
    whole = done == about - len(journal.taken_back())
    return Remembered(histories, about, done if whole else 0)
