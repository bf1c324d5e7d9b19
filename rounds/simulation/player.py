"""A simulated player who does what an instruction says, with human timing and human slips.

The hands never press a key: the tool has to tell from the strikes what was done. A stroke is never
quite a stroke, now and then a neighbour is struck or a strike is weak. What is never forgotten is
where the pump head is, for a real player sees it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, cast

from rounds.air import kpa_to_psi

if TYPE_CHECKING:
    from collections.abc import Callable, Generator
    from typing import TypeVar

    from rounds.instruction import Instruction
    from rounds.simulation.world import World

    T = TypeVar("T")
    Doing = Generator[float, None, T]

Glance = Literal["strike", "hold", "leave"]
"""What a player sees before the mallet falls."""
HELD_S = 0.4
"""A player who holds a strike looks up this often."""


@dataclass(frozen=True)
class Hands:
    """How quick and how careful a player is. Invented, near what players say."""

    strike_s: float = 2.5
    connect_s: float = 5.5
    take_off_s: float = 2.0
    stroke_s: float = 1.0
    pin_s: float = 2.0
    gauge_s: float = 4.0
    step_m_per_s: float = 0.8
    rail_change_s: float = 1.2
    wait_s: float = 2.0
    confirm_s: float = 0.3
    haste_spread: float = 0.2
    """Spread of every duration, relative."""
    stroke_spread: float = 0.1
    """Of one full stroke."""
    travel_spread: float = 0.05
    """Of a part of a stroke, in strokes: 2.5 cm of a plunger's way of 50 (common practice, no source)."""
    pin_spread: float = 0.3
    wrong_bottle: float = 0.02
    weak_strike: float = 0.03
    dial_spread_psi: float = 1.5
    """Of what a gauge reads; the dial itself and the eye."""


CAREFUL = Hands(
    stroke_spread=0.03,
    travel_spread=0.02,
    pin_spread=0.1,
    wrong_bottle=0.0,
    weak_strike=0.0,
    dial_spread_psi=0.5,
)


@dataclass(frozen=True)
class PlayerAction:
    """What was done: `struck` is the bottle really hit (None: nothing was struck), at the end of the act."""

    started_s: float
    ended_s: float
    meant: str | None
    struck: str | None
    weak: bool = False
    strokes: float = 0.0
    confirmed: bool = False
    """Whether a pedal said that it was done, no strike being asked for."""

    @property
    def duration_s(self) -> float:
        """How long it took."""
        return self.ended_s - self.started_s


class Player:
    """Two hands at a virtual rig."""

    def __init__(self, world: World, hands: Hands | None = None, number: int = 0) -> None:
        self.world = world
        self.hands = hands or Hands()
        self.number = number
        self.at_bottle: str | None = None
        self.connections = 0
        self.strikes = self.gauges = 0
        self.tell: Callable[[str, float], None] = lambda _bottle, _psi: None
        """Tells the tool what a gauge read, in psi: the one thing that no strike shows."""

    def act(self, instruction: Instruction, *, again: bool = False, pedal: bool = False) -> PlayerAction:
        """Do what is asked, then strike where a strike is asked for; meanwhile the world goes on.

        `again`: the last strike was not understood, so the air has been moved already and only the
        strike is repeated.
        """
        doing = self.doing(instruction, again=again, pedal=pedal)
        while True:
            try:
                until_s = next(doing)
            except StopIteration as done:
                return cast("PlayerAction", done.value)
            self.world.advance(until_s)

    def doing(
        self,
        instruction: Instruction,
        *,
        again: bool = False,
        look: Callable[[], Glance] = lambda: "strike",
        pedal: bool = False,
    ) -> Doing[PlayerAction]:
        """The same piece by piece: each piece gives the time when it is done, and goes on then.

        `pedal`: there is one to confirm what needs no strike; without it every act ends in a strike.
        `look` is what the player sees before the mallet falls: to strike, to hold it, or to leave it.
        """
        started_s = self.world.now_s
        bottle_id = instruction.bottle
        if instruction.act in ("wait", "none") or bottle_id is None:
            yield from self._spend(self.hands.wait_s)
            return PlayerAction(started_s, self.world.now_s, bottle_id, None)
        yield from self._walk(bottle_id)
        if instruction.act == "gauge":
            yield from self._read_gauge(bottle_id)
            return PlayerAction(started_s, self.world.now_s, bottle_id, None)
        moved = 0.0 if again else (yield from self._handle(instruction, bottle_id))
        if pedal and not instruction.then_strike:
            yield from self._spend(self.hands.confirm_s)
            return PlayerAction(started_s, self.world.now_s, bottle_id, None, False, moved, confirmed=True)
        yield from self._spend(self.hands.strike_s)
        while look() == "hold":
            yield self.world.now_s + HELD_S
        if look() == "leave":
            return PlayerAction(started_s, self.world.now_s, bottle_id, None, False, moved)
        struck, weak = self._strike(bottle_id)
        return PlayerAction(started_s, self.world.now_s, bottle_id, struck, weak, moved)

    def _handle(self, instruction: Instruction, bottle_id: str) -> Doing[float]:
        strokes = abs(instruction.strokes or 0.0)
        if instruction.act == "disconnect":
            yield from self._take_off()
        elif instruction.act in ("connect", "add"):
            yield from self._put_on(bottle_id)
            return (yield from self._pump(strokes))
        elif instruction.act == "release":
            return -(yield from self._let_out(bottle_id, strokes, by_pump=instruction.pump is not None))
        return 0.0

    def _read_gauge(self, bottle_id: str) -> Doing[None]:
        yield from self._put_on(bottle_id)
        yield from self._spend(self.hands.gauge_s)
        self.gauges += 1
        off_psi = self.world.rng.normal(0.0, self.hands.dial_spread_psi)
        self.tell(bottle_id, max(0.0, kpa_to_psi(self.world.gauge_kpa(bottle_id)) + off_psi))

    def _spend(self, seconds: float) -> Doing[None]:
        spread = self.hands.haste_spread
        factor = float(self.world.rng.lognormal(-0.5 * spread * spread, spread))
        yield self.world.now_s + seconds * factor

    def _walk(self, bottle_id: str) -> Doing[None]:
        if self.at_bottle is not None and self.at_bottle != bottle_id:
            here, there = self.world.rig.bottle(self.at_bottle), self.world.rig.bottle(bottle_id)
            metres = abs(here.position_cm - there.position_cm) / 100.0
            change_s = self.hands.rail_change_s if here.rail != there.rail else 0.0
            yield from self._spend(metres / self.hands.step_m_per_s + change_s)
        self.at_bottle = bottle_id

    def _put_on(self, bottle_id: str) -> Doing[None]:
        world = self.world
        if world.head(self.number) == bottle_id:
            return
        yield from self._take_off()
        pump = world.rig.pump_of(bottle_id)
        if world.in_hand(self.number) != pump.id:
            yield from self._spend(pump.setup_s)
        yield from self._spend(self.hands.connect_s)
        world.connect(bottle_id, pump.id, self.number)
        self.connections += 1

    def _take_off(self) -> Doing[None]:
        if self.world.head(self.number) is not None:
            yield from self._spend(self.hands.take_off_s)
            self.world.disconnect(self.number)

    def _pump(self, strokes: float) -> Doing[float]:
        """Whole strokes one by one, then the part of one; the air warms a little meanwhile."""
        moved = 0.0
        for part in _parts(strokes):
            yield from self._spend(self.hands.stroke_s * max(0.5, part))
            moved += self.world.add(self._done(part), self.number)
        return moved

    def _let_out(self, bottle_id: str, strokes: float, *, by_pump: bool) -> Doing[float]:
        pin = not (by_pump and self.world.head(self.number) == bottle_id)
        if pin:
            yield from self._take_off()
        yield from self._spend(self.hands.pin_s)
        moved = strokes * self._slip(self.hands.pin_spread)
        self.world.release(bottle_id, moved, pin=pin)
        return moved

    def _done(self, part: float) -> float:
        """A full stroke is done to its stop; a part of one by eye, its error the same however small."""
        if part >= 1.0:
            return self._slip(self.hands.stroke_spread)
        return max(0.2 * part, float(self.world.rng.normal(part, self.hands.travel_spread)))

    def _slip(self, spread: float) -> float:
        return max(0.1, float(self.world.rng.normal(1.0, spread)))

    def _strike(self, bottle_id: str) -> tuple[str, bool]:
        rng = self.world.rng
        self.strikes += 1
        struck = self._neighbour(bottle_id) if rng.random() < self.hands.wrong_bottle else bottle_id
        return struck, bool(rng.random() < self.hands.weak_strike)

    def _neighbour(self, bottle_id: str) -> str:
        here = self.world.rig.bottle(bottle_id)
        others = [b for b in self.world.rig.bottles if b.rail == here.rail and b.id != bottle_id]
        nearest = min(others, key=lambda b: abs(b.position_cm - here.position_cm), default=here)
        return nearest.id


def _parts(strokes: float) -> list[float]:
    whole = math.floor(strokes + 1e-9)
    rest = strokes - whole
    return [1.0] * whole + ([rest] if rest > 1e-6 else [])
