"""What a session needs of a journal, and a journal that forgets everything.

Ids start at 1, rise by 1, and give the order of what happened. The times inside the events do not:
a clock can be set back. Fold in the order of ids.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from rounds.events import Imported, TakenBack
from rounds.journal.imports import with_their_events
from rounds.journal.rows import to_row
from rounds.journal.takenback import can_be_taken_back, resolved

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rounds.events import Event


@dataclass(frozen=True)
class Checkpoint:
    """A fold's state after event `last_id`: a shortcut that may be thrown away, never a source of truth."""

    last_id: int
    blob: bytes


class Log(Protocol):
    """An append-only list of events."""

    @property
    def last_id(self) -> int:
        """Id of the newest event; 0 when there is none."""

    def append(self, event: Event) -> int:
        """Keep one event and return its id. It is safe on disk when this returns."""

    def append_many(self, events: Iterable[Event]) -> int:
        """Keep all of these or none; returns the newest id."""

    def events(self, after_id: int = 0) -> Iterator[tuple[int, Event]]:
        """Id and event of everything after an id, in order."""

    def taken_back(self, after_id: int = 0) -> frozenset[int]:
        """Ids of the events that the player took back after an id: they stay, and no fold believes them."""

    def sums(self, ids: Sequence[int]) -> tuple[int, ...]:
        """The check sums of some events, by which `TakenBack` names them."""

    def save_checkpoint(self, name: str, last_id: int, blob: bytes) -> None:
        """Keep a fold's state, replacing the one of that name."""

    def load_checkpoint(self, name: str) -> Checkpoint | None:
        """The kept state of that name, if it is whole, not ahead of the events, and nothing that it holds was
        taken back after it."""


def newer_than(log: Log, last_id: int, latest_s: float, most: int) -> list[Event] | None:
    """What is believed of what came after a checkpoint, in the order of ids.

    None where there is more of it than `most`, or some is older than `latest_s`, the newest of the
    checkpoint: then a fold in the order of time cannot go on from there.
    """
    gone = log.taken_back(last_id)
    if log.last_id - last_id - len(gone) > most:
        return None
    later = [event for number, event in log.events(last_id) if number not in gone]
    return later if all(event.at_s >= latest_s for event in later) else None


class MemoryJournal:
    """A `Log` in memory, for tests and for sessions that shall leave nothing behind."""

    def __init__(self, events: Iterable[Event] = ()) -> None:
        self._events: list[Event] = list(events)
        self._checkpoints: dict[str, Checkpoint] = {}

    @property
    def last_id(self) -> int:
        """Id of the newest event; 0 when there is none."""
        return len(self._events)

    def append(self, event: Event) -> int:
        """Keep one event."""
        self._events.append(event)
        return self.last_id

    def append_many(self, events: Iterable[Event]) -> int:
        """Keep all of these or none."""
        self._events.extend(list(events))
        return self.last_id

    def events(self, after_id: int = 0) -> Iterator[tuple[int, Event]]:
        """Id and event of everything after an id, those appended while iterating included."""
        index = max(0, after_id)
        while index < len(self._events):
            yield index + 1, self._events[index]
            index += 1

    def save_checkpoint(self, name: str, last_id: int, blob: bytes) -> None:
        """Keep a fold's state."""
        self._checkpoints[name] = Checkpoint(last_id, blob)

    def taken_back(self, after_id: int = 0) -> frozenset[int]:
        """Ids of the events that the player took back after an id."""
        first = max(0, after_id)
        taken = [
            (number, event)
            for number, event in enumerate(self._events[first:], first + 1)
            if isinstance(event, TakenBack)
        ]
        gone = resolved(taken, self._sums_before)
        among = [(n, e) for n in gone if isinstance(e := self._events[n - 1], Imported)]
        return with_their_events(gone, among, self.sums)

    def _sums_before(self, number: int) -> Iterator[tuple[int, int]]:
        for other in range(number - 1, 0, -1):
            if can_be_taken_back(self._events[other - 1]):
                yield other, self.sums((other,))[0]

    def sums(self, ids: Sequence[int]) -> tuple[int, ...]:
        """The check sums of some events."""
        return tuple(to_row(self._events[number - 1])[3] for number in ids)

    def load_checkpoint(self, name: str) -> Checkpoint | None:
        """The kept state of that name."""
        kept = self._checkpoints.get(name)
        if kept is None or any(number <= kept.last_id for number in self.taken_back(kept.last_id)):
            return None
        return kept

    def close(self) -> None:
        """Nothing to close."""
