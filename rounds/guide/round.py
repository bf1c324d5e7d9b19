"""One tuning round as a state machine: events in, the state of the round out.

Pure and replayable: `advance(state, event)` never looks at a clock, a screen or a belief, so the
same events give the same round after a crash. What to do next is decided in `rounds.guide.advice`, from
this state, the beliefs and the plan; whatever was decided (where the player was sent, which bottle
was accepted) comes back here as an event.

Cents are off the nominal target (the rig's reference, no shift).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

from rounds.air import NOTHING_KPA
from rounds.events import (
    Accepted,
    AirMoved,
    Connected,
    Disconnected,
    Event,
    Gauge,
    Purpose,
    Replaced,
    RoundClosed,
    RoundOpened,
    Sent,
    ShiftChosen,
    Skipped,
    SteppedBack,
    Strike,
    Swapped,
    ToldEmpty,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence, Set

Phase = Literal["listen", "visits", "verify", "done"]
SAME_PITCH_CENTS = 15.0
"""Two strikes of a bottle no further apart agree."""
NEW_CENTS = 3.0
"""A pitch that differs by less from the one before says nothing new. Our guess: three sd of a good ear."""
RESTED_S = 30.0
"""A bottle left alone for so long may sound different by itself."""
MOST_ASKED = 6
"""Nobody strikes one bottle more often in a round, unless its air moved."""
MOST_IN_A_ROW = 3
"""Strikes in a row that are asked of one bottle without anything new; then something else is asked."""


@dataclass(frozen=True)
class Heard:
    """A clear reading of a bottle in this round."""

    at_s: float
    cents: float
    u95_cents: float
    pump_on: bool
    times: int = 1
    """Strikes in a row that agree, no air moved between them."""


@dataclass(frozen=True)
class RoundState:
    """The state of a round. `heard` holds the newest clear reading per bottle of this round."""

    opened: RoundOpened
    target: str | None = None
    purpose: Purpose = "listen"
    pump_on: str | None = None
    left_on: tuple[str, ...] = ()
    """Bottles that other heads still hang on since an earlier round, the newest last."""
    mounted: str | None = None
    """Pump in hand (id), known from the last connection."""
    at_bottle: str | None = None
    visit_from_cents: float | None = None
    """Where the bottle now visited stood when the player was sent to it."""
    path: tuple[str, ...] = ()
    """Bottles the player was sent to, in order."""
    order: tuple[str, ...] = ()
    """The visits ahead as they were planned last when the player was sent to a bottle."""
    connections: int = 0
    connected: Mapping[str, int] = field(default_factory=dict)
    """Connections per bottle, counted anew for one that the player goes back to."""
    heard: Mapping[str, Heard] = field(default_factory=dict)
    moved: frozenset[str] = frozenset()
    """Bottles whose last reading counts no longer: air moved since, or they are asked for again."""
    visited: frozenset[str] = frozenset()
    """Bottles whose air moved in this round."""
    accepted: frozenset[str] = frozenset()
    skipped: Mapping[str, str | None] = field(default_factory=dict)
    shift_cents: float = 0.0
    shift_saves: int = 0
    shift_settled: bool = False
    rejected_cents: tuple[float, ...] = ()
    """Pitches, off the target's nominal, of strikes since that were taken for another bottle's."""
    in_vain: int = 0
    """Strikes in a row, asked of one bottle, that told nothing new."""
    asked: Mapping[str, int] = field(default_factory=dict)
    """Strikes asked of each bottle since its air last moved."""
    aired: frozenset[str] = frozenset()
    """Bottles whose air moved, or whose head went on or came off, since they were heard last."""
    air_since: frozenset[str] = frozenset()
    """Those of them whose air was moved, not just the head."""
    empty: frozenset[str] = frozenset()
    """Bottles said to be empty and not heard since: nobody strikes them before air went in."""
    far: frozenset[str] = frozenset()
    """Bottles found so far down that they are filled."""
    left_at_s: Mapping[str, float] = field(default_factory=dict)
    """When the head came off a bottle that was filled, in this round."""
    aside: frozenset[str] = frozenset()
    """Bottles put off after strikes in vain: asked for once more when all others are done."""
    compare_for: str | None = None
    """The bottle whose strikes sounded like the target, which is struck once to compare."""
    compared: frozenset[str] = frozenset()
    """Bottles for which that was done."""
    on_trust: frozenset[str] = frozenset()
    """Bottles believed because the player struck them again, though they sound like another one."""
    newly_aside: str | None = None
    """The bottle put off or left out last, until another one is heard."""
    closed: RoundClosed | None = None

    @property
    def awaited(self) -> str | None:
        """The bottle whose strike is waited for: the head is to come off it first, or it is the target."""
        on = self.pump_on
        return on if on not in (None, self.target, self.compare_for) else self.target

    @property
    def tired(self) -> bool:
        """Whether another strike of the same bottle would be one too many."""
        return self.in_vain >= MOST_IN_A_ROW

    @property
    def nearly_tired(self) -> bool:
        """Whether the next strike of the target, if in vain, is the last."""
        often = self.target is not None and self.asked.get(self.target, 0) >= MOST_ASKED - 1
        return often or self.in_vain >= MOST_IN_A_ROW - 1

    @property
    def needed(self) -> dict[str, float]:
        """Bottle id to weight, without the bottles that were skipped."""
        return {b: w for b, w in self.opened.needed.items() if b not in self.skipped}

    @property
    def open_bottles(self) -> tuple[str, ...]:
        """Needed bottles neither accepted nor skipped; where they are let down, those not down."""
        done = self.empty if self.opened.let_down else self.accepted
        return tuple(b for b in self.needed if b not in done)


def begin(opened: RoundOpened, heads: Sequence[str] = (), mounted: str | None = None) -> RoundState:
    """The state of a round that has just been opened, with the heads that are on, the newest last."""
    pump_on, left_on = heads[-1] if heads else None, tuple(heads[:-1])
    return RoundState(
        opened, pump_on=pump_on, left_on=left_on, mounted=mounted, shift_cents=opened.shift_cents
    )


def _strike(state: RoundState, event: Strike) -> RoundState:
    if event.playing:
        return state
    if event.verdict == "other_bottle":
        rejected = () if event.cents is None else (event.cents,)
        return _struck_in_vain(replace(state, rejected_cents=state.rejected_cents + rejected))
    if event.verdict != "clear" or event.bottle is None or event.cents is None:
        return _struck_in_vain(_maybe_aired(state, event))
    times = 2 if event.agreed else 1
    reading = Heard(event.at_s, event.cents, event.u95_cents or 0.0, event.pump_on, times)
    earlier = state.heard.get(event.bottle)
    before = None if event.bottle in state.moved else earlier
    if before is not None and _same_pitch(before, reading):
        reading = replace(reading, times=before.times + 1)
    by_trust = event.agreed and event.bottle in state.compared
    new = earlier is None or not _same_pitch(earlier, reading)
    trusted = state.on_trust | {event.bottle} if by_trust and new else state.on_trust
    return replace(
        _counted(state, event, reading),
        heard={**state.heard, event.bottle: reading},
        moved=state.moved - {event.bottle},
        aired=state.aired - {event.bottle},
        empty=state.empty - {event.bottle},
        air_since=state.air_since - {event.bottle},
        at_bottle=event.bottle,
        rejected_cents=(),
        on_trust=trusted,
        newly_aside=None,
    )


def _maybe_aired(state: RoundState, event: Strike) -> RoundState:
    """Air that was asked for may be in where the strike after it tells nothing: counting begins anew."""
    maybe = bool(event.asked_strokes) and event.asked_bottle not in state.aired
    return replace(state, asked=_without(state.asked, {event.asked_bottle})) if maybe else state


def _struck_in_vain(state: RoundState) -> RoundState:
    """A strike that told nothing of the bottle asked for."""
    bottle = state.awaited
    if bottle is None:
        return state
    asked = {**state.asked, bottle: state.asked.get(bottle, 0) + 1}
    return replace(state, in_vain=state.in_vain + 1, asked=asked)


def _counted(state: RoundState, event: Strike, reading: Heard) -> RoundState:
    """How often a bottle was asked for, after a clear strike of it."""
    bottle = event.bottle
    assert bottle is not None
    if bottle != state.awaited:
        return replace(state, in_vain=0)
    before = state.heard.get(bottle)
    differs = before is None or abs(reading.cents - before.cents) > NEW_CENTS
    if differs and bottle in state.aired:
        state = replace(state, on_trust=state.on_trust - {bottle})
    # The last bottle of a round cannot be put off, so a second strike that agrees counts as news there.
    agrees = event.agreed and len(state.open_bottles) <= 1
    if agrees and bottle in state.visited:
        state = replace(state, asked={b: n for b, n in state.asked.items() if b != bottle})
    counted = _struck_in_vain(state)
    return replace(counted, in_vain=1) if differs or agrees else counted


def _same_pitch(one: Heard, other: Heard) -> bool:
    return one.pump_on == other.pump_on and abs(one.cents - other.cents) <= SAME_PITCH_CENTS


def _connected(state: RoundState, event: Connected) -> RoundState:
    return replace(
        state,
        pump_on=event.bottle,
        left_on=tuple(b for b in state.left_on if b != event.bottle),
        mounted=event.pump,
        at_bottle=event.bottle,
        connections=state.connections + 1,
        connected={**state.connected, event.bottle: state.connected.get(event.bottle, 0) + 1},
        visited=state.visited | {event.bottle},
        aired=state.aired | {event.bottle},
        accepted=state.accepted - {event.bottle},
        **_seen_to(state, event),
    )


def _seen_to(state: RoundState, event: Connected | AirMoved) -> dict[str, Any]:
    """Air that moved starts the count of strikes again, and so does what the player says by a key."""
    in_part = isinstance(event, AirMoved) and event.at_most is not None
    asked = {b: n for b, n in state.asked.items() if b != event.bottle}
    if event.assumed:
        return {} if in_part or isinstance(event, Connected) else {"asked": asked}
    return {"in_vain": 0, "asked": asked}


def _disconnected(state: RoundState, event: Disconnected) -> RoundState:
    on = tuple(b for b in (*state.left_on, state.pump_on) if b not in (None, event.bottle))
    moved, aired = state.moved | {event.bottle}, state.aired | {event.bottle}
    filled = event.bottle in state.far and event.bottle == state.target and state.purpose == "finish"
    left = {**state.left_at_s, event.bottle: event.at_s} if filled else state.left_at_s
    return replace(
        state, pump_on=on[-1] if on else None, left_on=on[:-1], moved=moved, aired=aired, left_at_s=left
    )


def _air_moved(state: RoundState, event: AirMoved) -> RoundState:
    return replace(
        state,
        moved=state.moved | {event.bottle},
        visited=state.visited | {event.bottle},
        aired=state.aired | {event.bottle},
        air_since=state.air_since | {event.bottle},
        accepted=state.accepted - {event.bottle},
        at_bottle=event.bottle,
        **_seen_to(state, event),
    )


def _sent(state: RoundState, event: Sent) -> RoundState:
    # A bottle asked for again is in tune no longer until it is heard so.
    stale = {event.bottle} if event.purpose in ("listen", "compare") else set()
    start = state.heard[event.bottle].cents if event.bottle in state.heard else None
    far = {event.bottle} if event.purpose == "finish" else set()
    to_compare = event.purpose == "compare"
    between = to_compare or event.bottle == state.compare_for
    put_off = {state.target} if state.target is not None and state.tired and not between else set()
    heard = state.heard.get(event.bottle)
    rested = heard is not None and event.at_s - heard.at_s > RESTED_S and not state.tired
    same = state.path[-1:] == (event.bottle,) and not rested
    on_and_on = state.tired or event.purpose == state.purpose
    return replace(
        state,
        in_vain=0 if not same else state.in_vain if on_and_on else min(1, state.in_vain),
        aside=(state.aside | put_off) - {event.bottle},
        newly_aside=state.target if put_off else state.newly_aside,
        compare_for=state.target if to_compare else None,
        compared=state.compared | {state.target} if to_compare and state.target else state.compared,
        target=event.bottle,
        purpose=event.purpose,
        path=(*state.path, event.bottle),
        order=event.order or state.order,
        visit_from_cents=state.visit_from_cents if event.purpose == "finish" else start,
        far=state.far | far,
        moved=state.moved | stale,
        accepted=state.accepted - {event.bottle},
        rejected_cents=state.rejected_cents if between or event.bottle == state.target else (),
    )


def _accepted(state: RoundState, event: Accepted) -> RoundState:
    target = None if state.target == event.bottle else state.target
    return replace(state, accepted=state.accepted | {event.bottle}, target=target)


def _skipped(state: RoundState, event: Skipped) -> RoundState:
    target = None if state.target == event.bottle else state.target
    skipped = {**state.skipped, event.bottle: event.reason}
    return replace(
        state,
        skipped=skipped,
        accepted=state.accepted - {event.bottle},
        target=target,
        in_vain=0 if state.target == event.bottle else state.in_vain,
        compare_for=None if state.target == event.bottle else state.compare_for,
        newly_aside=event.bottle if event.reason else None,
    )


def _stepped_back(state: RoundState, event: SteppedBack) -> RoundState:
    # Hearing a bottle once more is no way back: what came before it can still be gone back to.
    once_more = event.bottle == state.target
    return replace(
        state,
        target=event.bottle,
        purpose="listen",
        path=state.path if once_more else state.path[:-1],
        connected={b: n for b, n in state.connected.items() if b != event.bottle},
        in_vain=0,
        asked={b: n for b, n in state.asked.items() if b != event.bottle},
        aside=state.aside - {event.bottle},
        compare_for=None,
        newly_aside=None,
        accepted=state.accepted - {event.bottle},
        skipped={b: why for b, why in state.skipped.items() if b != event.bottle},
        moved=state.moved | {event.bottle},
    )


def _replaced(state: RoundState, event: Replaced) -> RoundState:
    return replace(
        state,
        heard={b: h for b, h in state.heard.items() if b != event.bottle},
        accepted=state.accepted - {event.bottle},
    )


def _swapped(state: RoundState, event: Swapped) -> RoundState:
    """Both places have another bottle: all that was heard and done there was of the one before."""
    both = frozenset((event.bottle, event.other)) & frozenset(state.opened.needed)
    return replace(
        state,
        target=None if state.target in both else state.target,
        heard=_without(state.heard, both),
        skipped=_without(state.skipped, both),
        connected=_without(state.connected, both),
        asked=_without(state.asked, both),
        left_at_s=_without(state.left_at_s, both),
        **{name: getattr(state, name) - both for name in _SETS},
    )


_SETS = (
    "moved", "visited", "accepted", "aired", "air_since",
    "empty", "far", "aside", "compared", "on_trust",
)  # fmt: skip
"""The sets of bottles that a state has."""


def _without(of: Mapping[str, Any], gone: Set[str | None]) -> dict[str, Any]:
    return {b: value for b, value in of.items() if b not in gone}


def _told_empty(state: RoundState, event: ToldEmpty) -> RoundState:
    bottles = frozenset(event.bottles) & frozenset(state.needed)
    return replace(
        state,
        empty=state.empty | bottles,
        far=state.far | bottles,
        heard={b: h for b, h in state.heard.items() if b not in bottles},
        accepted=state.accepted - bottles,
        target=None if state.target in bottles else state.target,
        aside=state.aside - bottles,
        asked={b: n for b, n in state.asked.items() if b not in bottles},
        in_vain=0,
    )


def _gauge_read(state: RoundState, event: Gauge) -> RoundState:
    """A bottle that was said to be empty, and is not by the gauge, is heard before any air goes in."""
    if event.gauge_kpa <= NOTHING_KPA or event.bottle not in state.empty - state.air_since:
        return state
    return replace(state, empty=state.empty - {event.bottle}, target=None)


def _shift_chosen(state: RoundState, event: ShiftChosen) -> RoundState:
    # What was in tune at the old reference need not be at the new one.
    same = event.shift_cents == state.shift_cents
    return replace(
        state,
        shift_cents=event.shift_cents,
        shift_saves=event.saves,
        shift_settled=True,
        accepted=state.accepted if same else frozenset(),
    )


_STEPS: dict[type[Event], Callable[..., RoundState]] = {
    Strike: _strike,
    Connected: _connected,
    Disconnected: _disconnected,
    AirMoved: _air_moved,
    Sent: _sent,
    Accepted: _accepted,
    Skipped: _skipped,
    SteppedBack: _stepped_back,
    Replaced: _replaced,
    Swapped: _swapped,
    ToldEmpty: _told_empty,
    Gauge: _gauge_read,
    ShiftChosen: _shift_chosen,
    RoundClosed: lambda state, event: replace(state, closed=event, target=None),
}


def advance(state: RoundState, event: Event) -> RoundState:
    """The state after an event; events that do not concern a round leave it as it is."""
    step = _STEPS.get(type(event))
    return state if step is None or state.closed is not None else step(state, event)


def phase_of(state: RoundState) -> Phase:
    """Which part of the round the player is in, for the words on the screen."""
    if state.target is None:
        return "done"
    if state.purpose == "visit":
        return "visits"
    return "verify" if state.visited else "listen"
