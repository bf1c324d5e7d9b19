"""The rehearsal log: every event with the place, round and take it happened in.

A fold over the journal alone: it needs no rig, so a log can be read on any machine. Times are UTC
epoch seconds; a face turns them into local or UTC text. The few events that tell the setting of
others have an index of their own, so a round or a take of years ago is found without reading all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from rounds import events as ev
from rounds.event_fields import stored_kind
from rounds.journal.schema import SETTING
from rounds.journal.timing import scales
from rounds.times.journal_time import Scale

if TYPE_CHECKING:
    from collections.abc import Container, Iterable, Iterator

    from rounds.journal import Journal

_TOUCH = (ev.AirMoved.kind, ev.Strike.kind)


@dataclass(frozen=True)
class Entry:
    """One event in its setting. `touched`: air moved in this bottle since its clear strike before."""

    id: int
    event: ev.Event
    place: str | None
    round_id: str | None
    take: str | None
    touched: bool = False
    taken_back: bool = False
    """Whether the player took it back: it is written, and not believed."""
    told_s: float = 0.0
    """When it happened by the clock, which the journal's own time may run before."""

    @property
    def bottle(self) -> str | None:
        """The bottle it is about, if any."""
        bottle = getattr(self.event, "bottle", None)
        return bottle if isinstance(bottle, str) else None

    @property
    def kind(self) -> str:
        """The kind under which it is stored."""
        return stored_kind(self.event)

    @property
    def as_told(self) -> ev.Event:
        """The event at the clock's time."""
        return self.event if self.told_s == self.event.at_s else replace(self.event, at_s=self.told_s)


@dataclass(frozen=True)
class Setting:
    """Where and in what things happened."""

    place: str | None = None
    round_id: str | None = None
    take: str | None = None
    scale: Scale = field(default_factory=Scale)

    def at(self, event: ev.Event) -> Setting:
        """The setting of an event itself."""
        match event:
            case ev.SessionStarted():
                return replace(self, place=event.place)
            case ev.RoundOpened():
                return replace(self, round_id=event.round_id)
            case ev.TakeStarted():
                return replace(self, take=event.take)
            case ev.ClockSet():
                return replace(self, scale=Scale(event.ahead_s, event.at_s, event.unseen_s))
            case _:
                return self

    def after(self, event: ev.Event) -> Setting:
        """The setting of what comes after an event."""
        match event:
            case ev.RoundClosed():
                return replace(self, round_id=None)
            case ev.TakeStopped():
                return replace(self, take=None)
            case _:
                return self

    def entry(
        self, number: int, event: ev.Event, *, touched: bool = False, taken_back: bool = False
    ) -> Entry:
        """An event in this setting."""
        told_s = self.scale.told(event.at_s)
        return Entry(number, event, self.place, self.round_id, self.take, touched, taken_back, told_s)


def entries(
    numbered: Iterable[tuple[int, ev.Event]], scale: Scale | None = None, gone: Container[int] = ()
) -> Iterator[Entry]:
    """Each event in its setting; the events that set place, round and take must be among them.

    Args:
        numbered: ids and events.
        scale: how the journal's time ran against the clock before them.
        gone: ids of those that were taken back.
    """
    setting = Setting(scale=scale or Scale())
    touched: dict[str, bool] = {}
    for number, event in numbered:
        setting, taken_back = setting.at(event), number in gone
        yield setting.entry(number, event, touched=_is_touched(event, touched), taken_back=taken_back)
        setting = setting.after(event)
        if not taken_back:
            _touch(event, touched)


def _is_touched(event: ev.Event, touched: dict[str, bool]) -> bool:
    return isinstance(event, ev.Strike) and touched.get(event.bottle or "", False)


def _touch(event: ev.Event, touched: dict[str, bool]) -> None:
    if isinstance(event, ev.AirMoved):
        touched[event.bottle] = True
    elif isinstance(event, ev.Strike) and event.bottle and event.verdict == "clear":
        touched[event.bottle] = False


@dataclass(frozen=True)
class Span:
    """Events from one id through another that share a setting; `last_id` None is open-ended."""

    first_id: int
    last_id: int | None
    setting: Setting


def _spans(journal: Journal, after_id: int) -> Iterator[Span]:
    setting, first_id = _setting_after(journal, after_id), after_id + 1
    for number, event in journal.events(after_id, kinds=SETTING):
        now, later = setting.at(event), setting.at(event).after(event)
        if now != setting and number > first_id:
            yield Span(first_id, number - 1, setting)
            first_id = number
        if later != now:
            yield Span(first_id, number, now)
            first_id = number + 1
        setting = later
    yield Span(first_id, None, setting)


def _setting_after(journal: Journal, last_id: int) -> Setting:
    """Place, round and take of what comes after an id, from the newest event of each kind that sets them."""
    setting = Setting()
    for kinds in (("session_started",), ("round_opened", "round_closed"), ("take_started", "take_stopped"),
                  ("clock_set",)):  # fmt: skip
        event = journal.newest(last_id, kinds) if last_id else None
        if event is not None:
            setting = setting.at(event).after(event)
    return setting


@dataclass(frozen=True)
class Filter:
    """Which entries are wanted; None means any. Times are those of the clock."""

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

    def _wants_span(self, span: Span) -> bool:
        setting = span.setting
        return (
            (self.place is None or setting.place == self.place)
            and (self.round_id is None or setting.round_id == self.round_id)
            and (self.take is None or setting.take == self.take)
        )

    def _wants(self, entry: Entry) -> bool:
        return (
            (self.start_s is None or entry.told_s >= self.start_s)
            and (self.end_s is None or entry.told_s < self.end_s)
            and (self.bottle is None or entry.bottle == self.bottle)
            and (not self.kinds or entry.kind in self.kinds)
        )

    def read(self, journal: Journal, after_id: int = 0, *, touched: bool = False) -> Iterator[Entry]:
        """The wanted entries after an id, oldest first; whether a bottle was touched only where asked."""
        start_s, end_s = self._kept_bounds(journal)
        gone = journal.taken_back(after_id)
        for together in _joined([s for s in _spans(journal, after_id) if self._wants_span(s)]):
            first_id, last_id = together[0].first_id, together[-1].last_id
            found = journal.events(
                first_id - 1,
                until_id=last_id,
                kinds=self.kinds,
                bottle=self.bottle,
                start_s=start_s,
                end_s=end_s,
            )
            of = _Touches(journal, first_id, last_id, self.bottle, gone) if touched else None
            yield from filter(self._wants, _in_spans(found, together, of, gone))

    def newest(self, journal: Journal, most: int, *, touched: bool = False) -> list[Entry]:
        """The newest of the wanted entries, oldest first: the end is looked through first, then more."""
        last_id, window = journal.last_id, 4 * most
        while True:
            after_id = max(0, last_id - window)
            found = list(self.read(journal, after_id, touched=touched))
            if len(found) >= most or not after_id:
                return found[-most:]
            window *= 8

    def _kept_bounds(self, journal: Journal) -> tuple[float, float]:
        """Bounds of the journal's own time outside which nothing is wanted."""
        if self.start_s is None and self.end_s is None:
            return -math.inf, math.inf
        leads = [0.0, *(scale.ahead_s for scale in scales(journal))]
        start_s = -math.inf if self.start_s is None else self.start_s + min(leads)
        end_s = math.inf if self.end_s is None else self.end_s + max(leads)
        return start_s, end_s


def _joined(spans: list[Span]) -> Iterator[list[Span]]:
    """Spans that follow each other without a gap, together."""
    group: list[Span] = []
    for span in spans:
        if group and group[-1].last_id != span.first_id - 1:
            yield group
            group = []
        group.append(span)
    if group:
        yield group


def _in_spans(
    found: Iterable[tuple[int, ev.Event]], spans: list[Span], touches: _Touches | None, gone: Container[int]
) -> Iterator[Entry]:
    place = 0
    for number, event in found:
        while (last_id := spans[place].last_id) is not None and number > last_id:
            place += 1
        touched = touches is not None and isinstance(event, ev.Strike) and touches.before(number, event)
        yield spans[place].setting.entry(number, event, touched=touched, taken_back=number in gone)


class _Touches:
    """Whether air moved in a bottle since its clear strike before, asked in the order of ids."""

    def __init__(
        self,
        journal: Journal,
        first_id: int,
        last_id: int | None,
        bottle: str | None,
        gone: Container[int],
    ) -> None:
        self._journal, self._first_id = journal, first_id
        found = journal.events(first_id - 1, until_id=last_id, kinds=_TOUCH, bottle=bottle)
        self._stream = (numbered for numbered in found if numbered[0] not in gone)
        self._next: tuple[int, ev.Event] | None = next(self._stream, None)
        self._touched: dict[str, bool] = {}

    def before(self, number: int, strike: ev.Strike) -> bool:
        """Whether a strike's bottle was touched; what happened before the stretch is looked up."""
        while self._next is not None and self._next[0] < number:
            _touch(self._next[1], self._touched)
            self._next = next(self._stream, None)
        if strike.bottle is None:
            return False
        if strike.bottle not in self._touched:
            self._touched[strike.bottle] = self._journal.touched_before(
                self._first_id, strike.bottle, self._gone
            )
        return self._touched[strike.bottle]

    @cached_property
    def _gone(self) -> frozenset[int]:
        """Taken back at any time: a later taking back may mean an event before the stretch."""
        return self._journal.taken_back()
