"""What a day was: its rounds, takes, temperatures, and how each bottle was found.

A fold over the day's entries. A bottle is *found* by the first clear reading of it in a round,
before anybody touched it: that is how far it had gone since it was left. One that is far flat when it is
heard first in a day was let down, or never filled: it is *filled*, and says nothing of how bottles hold.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rounds import events as ev

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from rounds.report.logbook import Entry


FILLED_CENTS = -100.0
"""A bottle this flat at its first strike of a day was not left in tune. Common practice, no source."""


@dataclass
class RoundFacts:
    """One round; `closed` is None while it is open or was broken off.

    `from_s` and `until_s` are by the journal's time, which never runs back, not by the clock that was shown.
    """

    opened: ev.RoundOpened
    from_s: float
    closed: ev.RoundClosed | None = None
    until_s: float | None = None
    connections: int = 0
    visited: list[str] = field(default_factory=list)
    """Bottles whose air was moved, or that a pump went onto, in the order of the first time."""

    @property
    def minutes(self) -> float | None:
        """How long it took."""
        return None if self.until_s is None else (self.until_s - self.from_s) / 60.0


@dataclass
class TakeFacts:
    """One take; `stopped` is None while it runs or when its end was never marked."""

    started: ev.TakeStarted
    stopped: ev.TakeStopped | None = None

    @property
    def seconds(self) -> float | None:
        """How long it ran."""
        return None if self.stopped is None else self.stopped.at_s - self.started.at_s


@dataclass(frozen=True)
class Read:
    """One clear reading. `found`: the first of its bottle in its round."""

    at_s: float
    bottle: str
    cents: float
    found: bool
    pump_on: bool


@dataclass
class BottleFacts:
    """One bottle's day."""

    id: str
    found_cents: list[float] = field(default_factory=list)
    filled_cents: float | None = None
    """Where it stood when it was heard first, if it had no air to speak of."""
    connections: int = 0
    hz: float = 0.0

    @property
    def typical_cents(self) -> float:
        """Median distance from the target when found; 0 when it never was."""
        return statistics.median(map(abs, self.found_cents)) if self.found_cents else 0.0

    @property
    def worst_cents(self) -> float:
        """The furthest it was found off."""
        return max(self.found_cents, key=abs, default=0.0)


@dataclass
class Day:
    """Everything a page about a day needs."""

    rounds: list[RoundFacts] = field(default_factory=list)
    takes: list[TakeFacts] = field(default_factory=list)
    reads: list[Read] = field(default_factory=list)
    temperatures: list[ev.Temperature] = field(default_factory=list)
    bottles: dict[str, BottleFacts] = field(default_factory=dict)
    notes: list[ev.NoteWritten] = field(default_factory=list)
    replaced: list[ev.Replaced] = field(default_factory=list)
    swapped: list[ev.Swapped] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    rigs: list[str] = field(default_factory=list)

    @property
    def connections(self) -> int:
        """All connections of the day, in rounds and outside."""
        return sum(b.connections for b in self.bottles.values())

    def bottle(self, bottle_id: str) -> BottleFacts:
        """One bottle's facts, made when it is first met."""
        return self.bottles.setdefault(bottle_id, BottleFacts(bottle_id))


class _Fold:
    def __init__(self) -> None:
        self.day = Day()
        self._kept_s = 0.0
        self._heard: set[str] = set()
        self._handlers: dict[type[ev.Event], Callable[..., None]] = {
            ev.RoundOpened: self._opened,
            ev.RoundClosed: self._closed,
            ev.TakeStarted: lambda e: self.day.takes.append(TakeFacts(e)),
            ev.TakeStopped: self._stopped,
            ev.Strike: self._strike,
            ev.Connected: self._connected,
            ev.Temperature: self.day.temperatures.append,
            ev.NoteWritten: self.day.notes.append,
            ev.Replaced: self.day.replaced.append,
            ev.Swapped: self.day.swapped.append,
            ev.AirMoved: self._visited,
            ev.SessionStarted: self._session,
        }

    def apply(self, entry: Entry) -> None:
        handler = self._handlers.get(type(entry.event))
        if handler is not None and not entry.taken_back:
            self._kept_s = entry.event.at_s
            handler(entry.as_told)

    def _session(self, event: ev.SessionStarted) -> None:
        if event.place and event.place not in self.day.places:
            self.day.places.append(event.place)
        if event.rig not in self.day.rigs:
            self.day.rigs.append(event.rig)

    def _opened(self, event: ev.RoundOpened) -> None:
        self._heard.clear()
        self.day.rounds.append(RoundFacts(event, self._kept_s))

    def _closed(self, event: ev.RoundClosed) -> None:
        if self.day.rounds and self.day.rounds[-1].opened.round_id == event.round_id:
            self.day.rounds[-1].closed, self.day.rounds[-1].until_s = event, self._kept_s

    def _stopped(self, event: ev.TakeStopped) -> None:
        if self.day.takes and self.day.takes[-1].started.take == event.take:
            self.day.takes[-1].stopped = event

    def _strike(self, event: ev.Strike) -> None:
        if event.verdict != "clear" or event.bottle is None or event.cents is None:
            return
        found = event.bottle not in self._heard and not event.pump_on
        self._heard.add(event.bottle)
        facts = self.day.bottle(event.bottle)
        if found and not facts.hz and event.cents < FILLED_CENTS:
            facts.filled_cents, found = event.cents, False
        facts.hz = event.hz or facts.hz
        if found:
            facts.found_cents.append(event.cents)
        self.day.reads.append(Read(event.at_s, event.bottle, event.cents, found, event.pump_on))

    def _connected(self, event: ev.Connected) -> None:
        self.day.bottle(event.bottle).connections += 1
        self._visited(event)
        if self.day.rounds and self.day.rounds[-1].closed is None:
            self.day.rounds[-1].connections += 1

    def _visited(self, event: ev.Connected | ev.AirMoved) -> None:
        """A bottle was worked on in the open round."""
        open_round = self.day.rounds[-1] if self.day.rounds and self.day.rounds[-1].closed is None else None
        if open_round is not None and event.bottle not in open_round.visited:
            open_round.visited.append(event.bottle)


def fold(entries: Iterable[Entry]) -> Day:
    """The day that some entries make."""
    folding = _Fold()
    for entry in entries:
        folding.apply(entry)
    return folding.day
