"""What a session knows beside its beliefs: the open round, the running take, the last shift.

A fold over events like everything else, so a restart finds the same day.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rounds.belief.air_log import AirLog
from rounds.events import (
    AirMoved,
    ClockSet,
    Connected,
    Disconnected,
    Event,
    Gauge,
    NoGauge,
    NotToday,
    Replaced,
    RoundClosed,
    RoundOpened,
    SessionStarted,
    Snoozed,
    Strike,
    Swapped,
    TakeStarted,
    TakeStopped,
    Temperature,
    ToldEmpty,
)
from rounds.guide.people import People, assemble
from rounds.guide.round import RoundState, advance, begin
from rounds.times.journal_time import Scale

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.belief import Beliefs
    from rounds.rig import Rig


@dataclass(frozen=True)
class Day:
    """The state of a rehearsal day. `needed` and `skipped` are those of the newest round."""

    round: RoundState | None = None
    """The open round as a whole, all hands together."""
    people: People | None = None
    """Everybody's own part of it, where several tune at once."""
    take: TakeStarted | None = None
    takes: int = 0
    rounds: int = 0
    needed: Mapping[str, float] = field(default_factory=dict)
    skipped: tuple[str, ...] = ()
    """Bottles that the newest round ended without: no round is due for them."""
    snoozed_until_s: float = -math.inf
    """No round is called due before then."""
    not_today: Mapping[str, float] = field(default_factory=dict)
    """Bottles that are not played, each until when."""
    pieces: tuple[str, ...] = ()
    shift_cents: float = 0.0
    last_shift_cents: float = 0.0
    """How far A4 was moved in the round that ended last."""
    heads: tuple[str, ...] = ()
    """The bottles that pump heads are on, the newest last: one, or one a person."""
    mounted: str | None = None
    reading: Strike | None = None
    doubted_s: float = -math.inf
    """When a strike of this round was heard that was taken back, and none was understood since."""
    temp_c: float | None = None
    """The air temperature as it was last told."""
    air: Mapping[str, AirLog] = field(default_factory=dict)
    """What happened to the air in each bottle."""
    without_gauge: tuple[str, ...] = ()
    """Pumps of which the player said that they have no gauge to read."""
    scale: Scale = field(default_factory=Scale)
    rig: str | None = None
    """Name of the rig of the newest session."""
    place: str | None = None
    """Where that session is, as it was told."""
    started_s: float = -math.inf

    @property
    def pump_on(self) -> str | None:
        """The bottle that a pump head was put onto last, and is still on."""
        return self.heads[-1] if self.heads else None

    def absent(self, at_s: float) -> tuple[str, ...]:
        """Bottles that are not played at a time."""
        return tuple(b for b, until_s in self.not_today.items() if until_s > at_s)

    def of(self, person: int) -> Day:
        """The day as one of several people has it: their own round, their own hands."""
        if self.people is None:
            return self
        own = self.people.rounds[person]
        heads = () if own.pump_on is None else (*own.left_on, own.pump_on)
        return replace(self, round=own, people=None, heads=heads, mounted=own.mounted)

    def after(self, event: Event) -> Day:
        """The day after an event."""
        day = self._outside_the_round(event)
        if day.people is not None and not isinstance(event, RoundOpened):
            day = replace(day, people=day.people.after(event))
        if day.round is None or isinstance(event, RoundOpened):
            return day
        state = advance(day.round, event)
        if state is day.round:
            return day
        if state.closed is None:
            return replace(day, round=state, shift_cents=state.shift_cents)
        skipped = tuple(sorted(state.opened.needed if state.opened.let_down else state.skipped))
        return replace(day, round=None, people=None, shift_cents=state.shift_cents, skipped=skipped)

    def without(self, event: Event) -> Day:
        """The day after an event that the player took back.

        What the player told can be untold. What was heard may be so all the same: air that a strike showed
        counts towards the ceiling, and no air is asked for until another strike is heard.
        """
        if isinstance(event, AirMoved) and event.assumed:
            air = self._air(event.bottle).perhaps_moved(event.strokes, event.at_most)
            return self._told(event.bottle, air)
        if isinstance(event, Strike) and event.verdict == "clear" and self.round is not None:
            people = None if self.people is None else self.people.doubted(event)
            return replace(self, doubted_s=event.at_s, people=people)
        return self

    def _outside_the_round(self, event: Event) -> Day:
        match event:
            case RoundOpened():
                return self._opened(event)
            case RoundClosed():
                return self._ended()
            case TakeStarted():
                return replace(self, take=event, takes=self.takes + 1)
            case TakeStopped():
                return replace(self, take=None)
            case Connected():
                return replace(self, heads=(*self._let_go(event.bottle), event.bottle), mounted=event.pump)
            case Disconnected():
                return replace(self, heads=tuple(b for b in self.heads if b != event.bottle))
            case Strike():
                return self._heard(event)
            case Gauge():
                unit = None if event.named else event.unit
                read = self._air(event.bottle).gauge_read(event.gauge_kpa, event.at_s, unit)
                return self._told(event.bottle, read)
            case NoGauge():
                return replace(self, without_gauge=(*self.without_gauge, event.pump))
            case AirMoved():
                air = self._air(event.bottle)
                moved = air.moved(event.strokes, event.at_most, heard=event.assumed)
                return self._told(event.bottle, moved)
            case ToldEmpty():
                emptied = {b: self._air(b).emptied() for b in event.bottles}
                return replace(self, air={**self.air, **emptied})
            case Swapped():
                return self._swapped(event)
            case Replaced():
                return self._replaced(event)
            case Snoozed():
                return replace(self, snoozed_until_s=event.at_s + 60.0 * event.minutes)
            case NotToday():
                return self._absent(event)
            case Temperature():
                return replace(self, temp_c=event.temp_c)
            case SessionStarted():
                return self._started(event)
            case ClockSet():
                return replace(self, scale=Scale(event.ahead_s, event.at_s, event.unseen_s))
            case _:
                return self

    def _ended(self) -> Day:
        shift = self.shift_cents if self.round is None else self.round.shift_cents
        return replace(self, rounds=self.rounds + 1, doubted_s=-math.inf, last_shift_cents=shift)

    def _started(self, event: SessionStarted) -> Day:
        # What was heard last in a round that goes on still counts: an unclear strike must not be forgotten.
        day = self if self.round is not None else replace(self, reading=None)
        # One that was imported from older days says nothing of the rig at hand.
        if event.at_s < self.started_s:
            return day
        return replace(day, rig=event.rig, place=event.place, started_s=event.at_s)

    def _heard(self, event: Strike) -> Day:
        doubted_s = -math.inf if event.verdict == "clear" else self.doubted_s
        day = replace(self, reading=event, doubted_s=doubted_s)
        if event.asked_strokes is not None and event.asked_bottle is not None:
            perhaps = self._air(event.asked_bottle).perhaps_moved(event.asked_strokes)
            day = day._told(event.asked_bottle, perhaps)
        if event.verdict != "clear" or event.bottle is None or event.hz is None:
            return day
        return day._told(event.bottle, day._air(event.bottle).heard(event.hz, event.at_s, day.temp_c))

    def _replaced(self, event: Replaced) -> Day:
        """A new cap leaves the shell as it is; of a new bottle nothing is known."""
        air = self._air(event.bottle).same_shell() if event.part == "cap" else AirLog()
        return self._told(event.bottle, air)

    def _absent(self, event: NotToday) -> Day:
        others = {b: until_s for b, until_s in self.not_today.items() if b != event.bottle}
        if event.until_s > event.at_s:
            return replace(self, not_today={**others, event.bottle: event.until_s})
        return replace(self, not_today=others, skipped=tuple(b for b in self.skipped if b != event.bottle))

    def _swapped(self, event: Swapped) -> Day:
        """The air goes with its bottle; heads came off before."""
        one, other = event.bottle, event.other
        air = {**self.air, one: self._air(other), other: self._air(one)}
        heads = tuple(b for b in self.heads if b not in (one, other))
        skipped = tuple(b for b in self.skipped if b not in (one, other))
        not_today = {b: until_s for b, until_s in self.not_today.items() if b not in (one, other)}
        return replace(self, air=air, heads=heads, skipped=skipped, not_today=not_today)

    def _air(self, bottle_id: str) -> AirLog:
        return self.air.get(bottle_id, AirLog())

    def _told(self, bottle_id: str, air: AirLog) -> Day:
        return replace(self, air={**self.air, bottle_id: air})

    def _let_go(self, bottle_id: str) -> tuple[str, ...]:
        """The heads that stay on when the hands that have this bottle put theirs onto it."""
        people = self.people
        theirs = [b for b in self.heads if people is None or people.owner(b) == people.owner(bottle_id)]
        moved = theirs[-1:]
        return tuple(b for b in self.heads if b not in (*moved, bottle_id))

    def _opened(self, event: RoundOpened) -> Day:
        return replace(
            self,
            round=begin(event, self.heads, self.mounted),
            people=assemble(event, self.heads),
            needed=dict(event.needed),
            skipped=(),
            snoozed_until_s=-math.inf,
            pieces=event.pieces,
            shift_cents=event.shift_cents,
            reading=None,
            doubted_s=-math.inf,
            temp_c=self.temp_c if event.temp_c is None else event.temp_c,
        )


@dataclass(frozen=True)
class Moment:
    """What is known at one moment."""

    rig: Rig
    beliefs: Beliefs
    day: Day
    now_s: float
    newest_id: int
