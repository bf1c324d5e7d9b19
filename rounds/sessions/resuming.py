"""Take up a session from a journal: beliefs and day, from their checkpoints where they have them.

A checkpoint is a shortcut: without one, or with one that does not fit, everything is folded from the
first event, with the same result. It is kept only between rounds and takes, when a day is small; and
on the way through a long journal too, so that a fold that was cut short need not begin anew.
"""

from __future__ import annotations

import contextlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

from rounds.belief import Beliefs
from rounds.belief.air_log import AirLog
from rounds.belief.state import checkpoint_name, from_bytes, keep
from rounds.bounds import has_time
from rounds.errors import JournalError
from rounds.sessions.day import Day
from rounds.times.journal_time import Scale

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.events import Event
    from rounds.journal import Log
    from rounds.rig import Rig

    Progress = Callable[[int, int], None]

KEEP_EVERY = 25_000
"""Events of a fold after which a checkpoint is kept: one or two seconds' work."""
TELL_EVERY = 1000
"""Near the end so many are enough, for the last round may be open and leave no other chance."""

NOT_KEPT = frozenset({"round", "people", "take", "reading", "doubted_s"})
"""Fields of a day that a checkpoint leaves out: those of an open round or take, and the strike shown last."""
KEPT = frozenset(f.name for f in fields(Day)) - NOT_KEPT


@dataclass(frozen=True)
class TakenUp:
    """Beliefs and day after all events of a log; their newest time is minus infinity when there is none."""

    beliefs: Beliefs
    day: Day
    latest_s: float
    last_id: int


def take_up(rig: Rig, log: Log, progress: Progress = lambda _done, _all: None) -> TakenUp:
    """Fold a log, from its checkpoints where they fit; `progress(folded, all)` counts events."""
    beliefs, day, first_id = _from_checkpoints(rig, log)
    latest_s = beliefs.latest_s
    last_id, all_events, kept_id = first_id, log.last_id - first_id, first_id
    gone = log.taken_back(first_id)
    for event_id, event in log.events(first_id):
        day = take_in(beliefs, day, event, taken_back=event_id in gone)
        if has_time(event) and event_id not in gone:
            latest_s = max(latest_s, event.at_s)
        last_id = event_id
        left = first_id + all_events - last_id
        due = KEEP_EVERY if left > KEEP_EVERY else TELL_EVERY
        if last_id - kept_id >= due and keep_both(log, beliefs, day, last_id):
            kept_id = last_id
        if last_id % TELL_EVERY == 0:
            progress(last_id - first_id, all_events)
    return TakenUp(beliefs, day, latest_s, last_id)


def take_in(beliefs: Beliefs, day: Day, event: Event, *, taken_back: bool) -> Day:
    """Let beliefs take in one event, and give the day after it; what was taken back is passed over."""
    if taken_back:
        return day.without(event)
    beliefs.apply(event)
    return day.after(event)


def _from_checkpoints(rig: Rig, log: Log) -> tuple[Beliefs, Day, int]:
    kept, kept_day = log.load_checkpoint(checkpoint_name(rig)), log.load_checkpoint(_day_name(rig))
    if kept is not None and kept_day is not None and kept.last_id == kept_day.last_id:
        beliefs, day = from_bytes(rig, kept.blob), _day_from(kept_day.blob)
        if beliefs is not None and day is not None:
            return beliefs, day, kept.last_id
    return Beliefs(rig), Day(), 0


def _day_name(rig: Rig) -> str:
    return f"day beside {checkpoint_name(rig)}"


def keep_both(log: Log, beliefs: Beliefs, day: Day, last_id: int) -> bool:
    """Keep checkpoints of everything up to an id, if no round and no take is open; returns whether it did.

    One that cannot be kept is not missed: whatever ails the journal is told by the next event.
    """
    if day.round is not None or day.take is not None:
        return False
    kept = {name: _plain(getattr(day, name)) for name in sorted(KEPT)}
    with contextlib.suppress(JournalError):
        keep(beliefs, log, last_id)
        log.save_checkpoint(_day_name(beliefs.rig), last_id, json.dumps(kept).encode())
    return True


def _plain(value: Any) -> Any:
    """A field of a day as JSON has it; minus infinity, for a time that never came, as null."""
    if isinstance(value, Mapping):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, (AirLog, Scale)):
        return asdict(value)
    return None if value == -math.inf else value


def _day_from(blob: bytes) -> Day | None:
    try:
        kept = json.loads(blob)
        if set(kept) != KEPT:
            return None  # written by another version: its fields are not those of a day of ours
        day: dict[str, Any] = {name: tuple(v) if isinstance(v, list) else v for name, v in kept.items()}
        day["air"] = {b: AirLog.from_kept(a) for b, a in kept["air"].items()}
        day["scale"] = Scale(**kept["scale"])
        for name in ("started_s", "snoozed_until_s"):
            day[name] = -math.inf if kept[name] is None else kept[name]
        return Day(**day)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
