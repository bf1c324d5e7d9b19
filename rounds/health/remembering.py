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
from rounds.errors import JournalError
from rounds.health.histories import GaugeRead, Histories, History, Use
from rounds.health.rates import Level, Rate
from rounds.journal.protocol import newer_than

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.journal import Journal, Log
    from rounds.rig import Rig

    Progress = Callable[[int, int], None]

VERSION = 1
"""Raised whenever the meaning of a kept number changes."""
LONG = 5000
"""Events from which on histories are worth keeping."""
MOST_LATER = 50_000
"""More events than this after a checkpoint are not sorted in memory: all are read anew."""


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
        if done % LONG == 0:
            progress(done, about)
    whole = done == about - len(journal.taken_back())
    return Remembered(histories, about, done if whole else 0)


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
    made._level = None if kept["_level"] is None else Level(**kept["_level"])
    return made
