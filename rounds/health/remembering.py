"""Histories as bytes and back, and the way to them from a long journal: what took seconds is kept.

A shortcut that may be thrown away, as that of the beliefs (`rounds.belief.state`). It goes on in the
order of time, so it fits only where all that came after it is newer than all that went in.
"""

from __future__ import annotations

import contextlib
import json
import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from rounds.belief.state import fingerprint
from rounds.belief.track import Move
from rounds.errors import JournalError
from rounds.health.histories import GaugeRead, Histories, History, Use
from rounds.health.rates import Level, Rate

if TYPE_CHECKING:
    from rounds.events import Event
    from rounds.journal import Log
    from rounds.rig import Rig

VERSION = 3
"""Raised whenever the meaning of a kept number changes."""
LONG = 5000
"""Events from which on histories are worth keeping."""


@dataclass(frozen=True)
class Remembered:
    """Histories, the newest event in them, and how many events it took to come there."""

    histories: Histories
    last_id: int
    folded: int

    @property
    def is_worth_keeping(self) -> bool:
        """Whether it took long enough, and may be gone on from."""
        return self.folded >= LONG and self.histories.in_order


def name_of(rig: Rig) -> str:
    """Name of the checkpoint."""
    return f"health of {fingerprint(rig)[:12]}"


def from_checkpoint(rig: Rig, log: Log) -> Remembered:
    """What was kept, or nothing yet."""
    kept = log.load_checkpoint(name_of(rig))
    histories = None if kept is None else from_bytes(rig, kept.blob)
    if kept is None or histories is None:
        return Remembered(Histories(rig), 0, 0)
    return Remembered(histories, kept.last_id, 0)


def brought_up(rig: Rig, log: Log, known: Remembered | None, before: Event | None = None) -> Remembered:
    """Histories with what a log has since they were last worked out; kept where that took long.

    Args:
        known: what was worked out before, None for nothing yet.
        before: an event at which to stop, for what was known when it happened.
    """
    gone = log.taken_back(0 if known is None else known.last_id)
    if known is None or any(event_id <= known.last_id for event_id in gone):
        known = from_checkpoint(rig, log)
        gone = log.taken_back(known.last_id)
    last_id, folded = known.last_id, 0
    for event_id, event in log.events(known.last_id):
        if event == before:
            break
        if event_id not in gone:
            known.histories.apply(event)
        last_id, folded = event_id, folded + 1
    found = Remembered(known.histories, last_id, folded)
    keep(rig, log, found)
    return found


def keep(rig: Rig, log: Log, known: Remembered) -> None:
    """Keep what took long, so that the next time need not; where it cannot be kept it is not missed."""
    if known.is_worth_keeping:
        with contextlib.suppress(JournalError):
            log.save_checkpoint(name_of(rig), known.last_id, to_bytes(rig, known.histories))


def to_bytes(rig: Rig, histories: Histories) -> bytes:
    """Everything that later events need."""
    document = {
        "version": VERSION,
        "rig": fingerprint(rig),
        "latest_s": histories.latest_s if math.isfinite(histories.latest_s) else None,
        "gas": [[lag, *gas.state] for lag, gas in histories.gas.items()],
        "of": {bottle_id: asdict(history) for bottle_id, history in histories.of.items()},
    }
    return json.dumps(document, separators=(",", ":")).encode()


def from_bytes(rig: Rig, blob: bytes) -> Histories | None:
    """The histories kept in bytes; None when they are of another rig or version, or damaged."""
    try:
        document = json.loads(blob)
        if (document["version"], document["rig"]) != (VERSION, fingerprint(rig)):
            return None
        histories = Histories(rig)
        histories.latest_s = -math.inf if document["latest_s"] is None else document["latest_s"]
        for lag, *state in document["gas"]:
            histories.gas[lag].state = tuple(state)
        for bottle_id in histories.of:
            histories.of[bottle_id] = _history(document["of"][bottle_id])
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
    return histories


def _history(kept: dict[str, Any]) -> History:
    made = History(**kept)
    made.cap, made.bottle = Use(**kept["cap"]), Use(**kept["bottle"])
    made.rates = [Rate(**rate) for rate in kept["rates"]]
    made.gauges = [GaugeRead(**read) for read in kept["gauges"]]
    made._moves = _moves(kept["_moves"])
    level = kept["_level"]
    made._level = None if level is None else Level(**{**level, "moves": _moves(level["moves"])})
    return made


def _moves(kept: list[dict[str, float]]) -> tuple[Move, ...]:
    return tuple(Move(**move) for move in kept)
