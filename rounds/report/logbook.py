"""The rehearsal log: every event with the place, round and take it happened in, and a sentence.

A fold over the journal alone: it needs no rig, so a log can be read on any machine. Times are UTC
epoch seconds here; a face turns them into local or UTC text.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds import events as ev

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rounds.journal import Journal

_SETTING = (
    ev.SessionStarted.kind,
    ev.RoundOpened.kind,
    ev.RoundClosed.kind,
    ev.TakeStarted.kind,
    ev.TakeStopped.kind,
    ev.AirMoved.kind,
)
"""Kinds that tell the setting of later events."""


@dataclass(frozen=True)
class Entry:
    """One event in its setting. `touched`: air moved in this bottle since its strike before."""

    id: int
    event: ev.Event
    place: str | None
    round_id: str | None
    take: str | None
    touched: bool = False

    @property
    def bottle(self) -> str | None:
        """The bottle it is about, if any."""
        bottle = getattr(self.event, "bottle", None)
        return bottle if isinstance(bottle, str) else None

    @property
    def kind(self) -> str:
        """The kind under which it is stored."""
        return ev.stored_kind(self.event)


def entries(numbered: Iterable[tuple[int, ev.Event]]) -> Iterator[Entry]:
    """Each event in its setting; those before that tell the setting must be among them."""
    place: str | None = None
    round_id: str | None = None
    take: str | None = None
    touched: set[str] = set()
    for number, event in numbered:
        if isinstance(event, ev.SessionStarted):
            place = event.place
        elif isinstance(event, ev.RoundOpened):
            round_id = event.round_id
        elif isinstance(event, ev.TakeStarted):
            take = event.take
        elif isinstance(event, ev.AirMoved):
            touched.add(event.bottle)
        moved = isinstance(event, ev.Strike) and event.bottle in touched
        yield Entry(number, event, place, round_id, take, moved)
        if isinstance(event, ev.RoundClosed):
            round_id = None
        elif isinstance(event, ev.TakeStopped):
            take = None
        elif isinstance(event, ev.Strike) and event.bottle and event.verdict == "clear":
            touched.discard(event.bottle)


@dataclass(frozen=True)
class Filter:
    """Which entries are wanted; None means any."""

    start_s: float | None = None
    end_s: float | None = None
    place: str | None = None
    round_id: str | None = None
    bottle: str | None = None
    take: str | None = None
    kinds: frozenset[str] = frozenset()

    @property
    def is_everything(self) -> bool:
        """Whether every entry passes."""
        return self == Filter()

    def wants(self, entry: Entry) -> bool:
        """Whether an entry passes."""
        at_s = entry.event.at_s
        return (
            (self.start_s is None or at_s >= self.start_s)
            and (self.end_s is None or at_s < self.end_s)
            and (self.place is None or entry.place == self.place)
            and (self.round_id is None or entry.round_id == self.round_id)
            and (self.bottle is None or entry.bottle == self.bottle)
            and (self.take is None or entry.take == self.take)
            and (not self.kinds or entry.kind in self.kinds)
        )

    def read(self, journal: Journal, after_id: int = 0) -> Iterator[Entry]:
        """The wanted entries after an id; of all else only what tells their setting is read."""
        setting = journal.events(kinds=_SETTING)
        stretch = journal.events(
            after_id,
            bottle=self.bottle,
            start_s=-math.inf if self.start_s is None else self.start_s,
            end_s=math.inf if self.end_s is None else self.end_s,
        )
        for entry in entries(_merged(setting, stretch)):
            if entry.id > after_id and self.wants(entry):
                yield entry


def _merged(
    one: Iterator[tuple[int, ev.Event]], other: Iterator[tuple[int, ev.Event]]
) -> Iterator[tuple[int, ev.Event]]:
    last = 0
    for number, event in heapq.merge(one, other, key=lambda pair: pair[0]):
        if number != last:
            yield number, event
        last = number
