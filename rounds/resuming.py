"""Take up a session from a journal: beliefs and day, from their checkpoints where they have them.

A checkpoint is a shortcut: without one, or with one that does not fit, everything is folded from the
first event, with the same result. It is kept only between rounds and takes, when a day is small.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from rounds.belief import Beliefs
from rounds.belief.state import CHECKPOINT, from_bytes, keep
from rounds.day import Day
from rounds.pressure import AirTold
from rounds.timescale import Scale

if TYPE_CHECKING:
    from rounds.journal import Log
    from rounds.rig import Rig

DAY_CHECKPOINT = "day"


@dataclass(frozen=True)
class TakenUp:
    """Beliefs and day after all events of a log; their newest time is minus infinity when there is none."""

    beliefs: Beliefs
    day: Day
    latest_s: float
    last_id: int


def take_up(rig: Rig, log: Log) -> TakenUp:
    """Fold a log, from its checkpoints where they fit."""
    beliefs, day, last_id = _from_checkpoints(rig, log)
    latest_s = beliefs.latest_s
    for event_id, event in log.events(last_id):
        beliefs.apply(event)
        day = day.after(event)
        latest_s, last_id = max(latest_s, event.at_s), event_id
    return TakenUp(beliefs, day, latest_s, last_id)


def _from_checkpoints(rig: Rig, log: Log) -> tuple[Beliefs, Day, int]:
    kept, kept_day = log.load_checkpoint(CHECKPOINT), log.load_checkpoint(DAY_CHECKPOINT)
    if kept is not None and kept_day is not None and kept.last_id == kept_day.last_id:
        beliefs, day = from_bytes(rig, kept.blob), _day_from(kept_day.blob)
        if beliefs is not None and day is not None:
            return beliefs, day, kept.last_id
    return Beliefs(rig), Day(), 0


def keep_both(log: Log, beliefs: Beliefs, day: Day) -> bool:
    """Keep checkpoints of everything up to now, if no round and no take is open; tells whether it did."""
    if day.round is not None or day.take is not None:
        return False
    document = {
        "takes": day.takes,
        "rounds": day.rounds,
        "needed": dict(day.needed),
        "pieces": list(day.pieces),
        "shift_cents": day.shift_cents,
        "pump_on": day.pump_on,
        "mounted": day.mounted,
        "air": {b: asdict(a) for b, a in day.air.items()},
        "scale": asdict(day.scale),
    }
    last_id = log.last_id
    keep(beliefs, log, last_id)
    log.save_checkpoint(DAY_CHECKPOINT, last_id, json.dumps(document).encode())
    return True


def _day_from(blob: bytes) -> Day | None:
    try:
        kept = json.loads(blob)
        kept["pieces"] = tuple(kept["pieces"])
        kept["air"] = {b: AirTold(**a) for b, a in kept["air"].items()}
        kept["scale"] = Scale(**kept.get("scale", {}))
        return Day(**kept)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
