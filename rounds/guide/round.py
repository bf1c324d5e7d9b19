"""One tuning round as a state machine: events in, the state of the round out.

Pure and replayable: `advance(state, event)` never looks at a clock, a screen or a belief, so the
same events give the same round after a crash. What to do next is decided in `rounds.guide.advice`, from
this state, the beliefs and the plan; whatever was decided (where the player was sent, which bottle
was accepted) comes back here as an event.

Cents are off the nominal target (the rig's reference, no shift).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from rounds.events import (
    Accepted,
    AirMoved,
    Connected,
    Disconnected,
    Event,
    Purpose,
    Replaced,
    RoundClosed,
    RoundOpened,
    Sent,
    ShiftChosen,
    Skipped,
    SteppedBack,
    Strike,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

Phase = Literal["listen", "visits", "verify", "done"]
SAME_PITCH_CENTS = 15.0
"""Two strikes of a bottle no further apart agree."""


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
    closed: RoundClosed | None = None

    @property
    def needed(self) -> dict[str, float]:
        """Bottle id to weight, without the bottles that were skipped."""
        return {b: w for b, w in self.opened.needed.items() if b not in self.skipped}

    @property
    def open_bottles(self) -> tuple[str, ...]:
        """Needed bottles neither accepted nor skipped."""
        return tuple(b for b in self.needed if b not in self.accepted)


def begin(opened: RoundOpened, heads: Sequence[str] = (), mounted: str | None = None) -> RoundState:
    """The state of a round that has just been opened, with the heads that are on, the newest last."""
    pump_on = heads[-1] if heads else None
    left_on = tuple(heads[:-1])
    return RoundState(
        opened, pump_on=pump_on, left_on=left_on, mounted=mounted, shift_cents=opened.shift_cents
    )


def _strike(state: RoundState, event: Strike) -> RoundState:
    if event.playing:
        return state
    if event.verdict == "other_bottle":
        rejected = () if event.cents is None else (event.cents,)
        return replace(state, rejected_cents=state.rejected_cents + rejected)
    if event.verdict != "clear" or event.bottle is None or event.cents is None:
        return state
    reading = Heard(event.at_s, event.cents, event.u95_cents or 0.0, event.pump_on)
    before = None if event.bottle in state.moved else state.heard.get(event.bottle)
    if before is not None and _same_pitch(before, reading):
        reading = replace(reading, times=before.times + 1)
    return replace(
        state,
        heard={**state.heard, event.bottle: reading},
        moved=state.moved - {event.bottle},
        at_bottle=event.bottle,
        rejected_cents=(),
    )


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
        accepted=state.accepted - {event.bottle},
    )


def _disconnected(state: RoundState, event: Disconnected) -> RoundState:
    on = tuple(b for b in (*state.left_on, state.pump_on) if b not in (None, event.bottle))
    newest = on[-1] if on else None
    return replace(state, pump_on=newest, left_on=on[:-1], moved=state.moved | {event.bottle})


def _air_moved(state: RoundState, event: AirMoved) -> RoundState:
    return replace(
        state,
        moved=state.moved | {event.bottle},
        visited=state.visited | {event.bottle},
        accepted=state.accepted - {event.bottle},
        at_bottle=event.bottle,
    )


def _sent(state: RoundState, event: Sent) -> RoundState:
    # A bottle asked for again is in tune no longer until it is heard so.
    stale = {event.bottle} if event.purpose == "listen" else set()
    return replace(
        state,
        target=event.bottle,
        purpose=event.purpose,
        path=(*state.path, event.bottle),
        order=event.order or state.order,
        visit_from_cents=state.heard[event.bottle].cents if event.bottle in state.heard else None,
        moved=state.moved | stale,
        accepted=state.accepted - {event.bottle},
        rejected_cents=(),
    )


def _accepted(state: RoundState, event: Accepted) -> RoundState:
    target = None if state.target == event.bottle else state.target
    return replace(state, accepted=state.accepted | {event.bottle}, target=target)


def _skipped(state: RoundState, event: Skipped) -> RoundState:
    target = None if state.target == event.bottle else state.target
    skipped = {**state.skipped, event.bottle: event.reason}
    return replace(state, skipped=skipped, accepted=state.accepted - {event.bottle}, target=target)


def _stepped_back(state: RoundState, event: SteppedBack) -> RoundState:
    # Hearing a bottle once more is no way back: what came before it can still be gone back to.
    once_more = event.bottle == state.target
    return replace(
        state,
        target=event.bottle,
        purpose="listen",
        path=state.path if once_more else state.path[:-1],
        connected={b: n for b, n in state.connected.items() if b != event.bottle},
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


def _closed(state: RoundState, event: RoundClosed) -> RoundState:
    return replace(state, closed=event, target=None)


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
    ShiftChosen: _shift_chosen,
    RoundClosed: _closed,
}


def advance(state: RoundState, event: Event) -> RoundState:
    """The state after an event; events that do not concern a round leave it as it is."""
    step = _STEPS.get(type(event))
    if step is None or state.closed is not None:
        return state
    return step(state, event)


def phase_of(state: RoundState) -> Phase:
    """Which part of the round the player is in, for the words on the screen."""
    if state.target is None:
        return "done"
    if state.purpose == "visit":
        return "visits"
    return "verify" if state.visited else "listen"
