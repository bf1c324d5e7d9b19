"""A virtual player who does what a session says, on a foreign world, and pays for everything in time.

The player needs of a session only what stands in `Led` below, so another tool, or a plain rule with the same
face, can be played too. By default nothing is typed: what was done has to be told from the strikes. With
`typed=True` strokes and pump head are told by `air` and `pump`, as by keys or a pedal.

    player = VirtualPlayer(world, gauges=Gauges("right"), typed=False)
    played = player.play(session, pieces=["Most"], downbeat_s=None, longest_min=60.0)

`Played` has minutes, connections, strikes, strokes, gauge readings, how many needed bottles are in tune by
the truth of the world, the highest true pressure as a share of the ceiling (with the hand's error and without
it), the seconds by what they were spent on, and the longest run of requests for one bottle without news.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, Protocol

from rounds.hearing.reading import Reading
from tests.worlds.physics import PSI

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.instruction import Instruction
    from tests.worlds.physics import World

GaugeKind = Literal["right", "bar", "zero", "none"]
REFUSED_S = 11.0
WAIT_S = 3.0
READ_S = 0.6
"""From a strike until what it says is read."""


class Led(Protocol):
    """What is asked of a session; `rounds.sessions.session.Session` is one."""

    @property
    def round(self) -> object | None:
        """None when no round is open."""

    @property
    def instruction(self) -> Instruction:
        """What is to be done now."""

    def open_round(
        self, at_s: float, *, downbeat_s: float | None = None, temp_c: float | None = None,
        pieces: Sequence[str] = (),
    ) -> None:  # fmt: skip
        """Begin."""

    def close_round(self, at_s: float) -> None:
        """End."""

    def tick(self, at_s: float) -> None:
        """Time passed."""

    def strike(self, at_s: float, sounded: Reading) -> Any:
        """A strike was read; gives what was made of it, with a `verdict`, or None."""


@dataclass(frozen=True)
class Hands:
    """Seconds that acts take; strike and connection together come to what rigs say by default (3 and 8 s)."""

    strike_s: float = 2.5
    head_on_s: float = 6.0
    head_off_s: float = 2.0
    stroke_s: float = 1.0
    pin_s: float = 2.0
    gauge_s: float = 6.0
    metres_per_s: float = 0.8
    rail_change_s: float = 1.5
    spread: float = 0.15
    """Of every duration, relative."""
    neighbour: float = 0.0
    """Chance that a strike hits the bottle beside."""


@dataclass(frozen=True)
class Gauges:
    """How a player answers when a gauge is asked for: right, in bar where psi is meant, 0, or not at all."""

    kind: GaugeKind = "right"
    wrong_once: bool = False
    """The first answer of a round is of this kind, the others are right."""


@dataclass
class Played:
    """What a round cost and what it led to."""

    minutes: float = 0.0
    connections: int = 0
    strikes: int = 0
    strokes: float = 0.0
    gauges: int = 0
    """Gauge readings asked for."""
    in_tune: int = 0
    needed: int = 0
    worst_cents: float = 0.0
    worst_bottle: str = ""
    finished: bool = False
    highest_share: float = 0.0
    """Highest true gauge pressure of any bottle in this round over its ceiling."""
    highest_advised_share: float = 0.0
    """The same had every dose been pumped exactly as asked for."""
    longest_run: int = 0
    """Most requests in a row for one bottle in which no air was to be moved and none was."""
    seconds: dict[str, float] = field(default_factory=dict)
    """Spent on strike, head_on, head_off, stroke, pin, gauge, walk, setup, wait."""
    head_left_on: bool = False


class VirtualPlayer:
    """Two hands, one pump head, one mallet."""

    def __init__(
        self,
        world: World,
        hands: Hands | None = None,
        gauges: Gauges | None = None,
        *,
        typed: bool = False,
    ) -> None:
        self.world = world
        self.hands = hands or Hands()
        self.gauges = gauges or Gauges()
        self.typed = typed
        self.at_bottle: str | None = None
        self.mounted: str | None = None
        self.played = Played()
        self._again: tuple[str | None, str] | None = None
        self._run: tuple[str | None, int] = (None, 0)

    def play(
        self,
        session: Led,
        *,
        pieces: Sequence[str] = (),
        downbeat_s: float | None = None,
        with_temp: bool = True,
        longest_min: float = 60.0,
        needed: Sequence[str] | None = None,
        shift_cents: float | None = None,
        open_round: bool = True,
    ) -> Played:
        """Open a round (unless one is open), do what is said until it is over or time is up, close it.

        Args:
            session: who leads.
            needed: whom to judge; by default what the pieces need.
            shift_cents: of a floating reference; by default what the session's day says.
        """
        world, started_s = self.world, self.world.now_s
        self.played = Played()
        before_kpa = world.peak_kpa.copy(), world.advised_peak_kpa.copy()
        world.peak_kpa[:] = world.advised_peak_kpa[:] = world.all_gauge_kpa()
        if session.round is None and open_round:
            temp_c = round(world.temp_c * 2.0) / 2.0 if with_temp else None
            session.open_round(world.now_s, downbeat_s=downbeat_s, temp_c=temp_c, pieces=pieces)
        until_s = min(started_s + 60.0 * longest_min, downbeat_s or float("inf"))
        self._work(session, until_s)
        self._judge(session, needed or self._needed(pieces), shift_cents)
        self.played.minutes = (world.now_s - started_s) / 60.0
        for now_kpa, before in zip((world.peak_kpa, world.advised_peak_kpa), before_kpa, strict=True):
            now_kpa[:] = [max(pair) for pair in zip(now_kpa, before, strict=True)]
        if session.round is not None:
            session.close_round(world.now_s)
        return self.played

    def _work(self, session: Led, until_s: float) -> None:
        while self.world.now_s < until_s and session.round is not None:
            session.tick(self.world.now_s)
            if session.round is None:
                break
            told = session.instruction
            if told.act == "none" and told.bottle is None:
                self.played.finished = True
                return
            self._count_run(told)
            self.do(session, told)

    def _count_run(self, told: Instruction) -> None:
        still = told.act in ("strike", "gauge") and told.bottle == self._run[0]
        self._run = (told.bottle, self._run[1] + 1 if still else 1)
        self.played.longest_run = max(self.played.longest_run, self._run[1])

    def do(self, session: Led, told: Instruction) -> None:
        """One instruction."""
        bottle = told.bottle
        if bottle is None or told.act in ("wait", "none"):
            self._spend("wait", REFUSED_S if told.act == "none" else WAIT_S)
            return
        self._walk(bottle)
        if str(told.act) == "gauge":
            self._answer_gauge(session, bottle)
            return
        if self._again != (bottle, told.act):
            self._handle(session, told, bottle)
        if told.then_strike:
            self._strike(session, told, bottle)

    def _handle(self, session: Led, told: Instruction, bottle: str) -> None:
        strokes = abs(told.strokes or 0.0)
        silent = not (self.typed or not told.then_strike)
        if told.act in ("connect", "add"):
            self._put_on(session, bottle, silent=silent)
            self._pump(session, strokes, silent=silent)
        elif told.act == "release":
            self._let_out(session, told, bottle, strokes, silent=silent)
        elif told.act == "disconnect":
            if self.world.head is None and not silent:
                self._type(session, "pump", False)
            self._take_off(session, silent=silent)

    def _put_on(self, session: Led, bottle: str, *, silent: bool) -> None:
        if self.world.head == bottle:
            return
        self._take_off(session, silent=silent)
        pump = self.world.rig.pump_of(bottle)
        if self.mounted != pump.id:
            self._spend("setup", pump.setup_s)
            self.mounted = pump.id
        self._spend("head_on", self.hands.head_on_s)
        self.world.head_on(bottle)
        self.played.connections += 1
        if not silent:
            self._type(session, "pump", True)

    def _take_off(self, session: Led, *, silent: bool) -> None:
        if self.world.head is None:
            return
        self._spend("head_off", self.hands.head_off_s)
        self.world.head_off()
        if not silent:
            self._type(session, "pump", False)

    def _pump(self, session: Led, strokes: float, *, silent: bool) -> None:
        if strokes <= 0.0:
            return
        self._spend("stroke", self.hands.stroke_s * max(0.5, strokes))
        self.world.pump(strokes)
        self.played.strokes += strokes
        if not silent:
            self._type(session, "air", strokes)

    def _let_out(self, session: Led, told: Instruction, bottle: str, strokes: float, *, silent: bool) -> None:
        by_pin = not (told.pump is not None and self.world.head == bottle)
        if by_pin:
            self._take_off(session, silent=silent)
        self._spend("pin", self.hands.pin_s)
        self.world.let_out(bottle, strokes, by_pin=by_pin)
        if not silent:
            self._type(session, "air", -strokes)

    def _type(self, session: Led, what: str, value: float | bool) -> None:
        act = getattr(session, what, None)
        if act is not None:
            act(value, self.world.now_s)

    def _strike(self, session: Led, told: Instruction, bottle: str) -> None:
        self._spend("strike", self.hands.strike_s)
        self.played.strikes += 1
        heard = self.world.strike(self._hit(bottle))
        verdict: Literal["clear", "unclear"] = "unclear" if heard.hz is None else "clear"
        self._spend("strike", READ_S)
        event = session.strike(self.world.now_s, Reading(heard.hz, heard.u95_cents, verdict))
        understood = event is not None and getattr(event, "verdict", "") == "clear"
        self._again = None if understood else (bottle, told.act)

    def _hit(self, bottle: str) -> str:
        if self.world.rng.random() >= self.hands.neighbour:
            return bottle
        here = self.world.rig.bottle(bottle)
        beside = [b for b in self.world.rig.bottles if b.rail == here.rail and b.id != bottle]
        return min(beside, key=lambda b: abs(b.position_cm - here.position_cm), default=here).id

    def _answer_gauge(self, session: Any, bottle: str) -> None:
        """Read the gauge and say what this player says; without one `no_gauge`, or the bottle is skipped."""
        self._spend("gauge", self.hands.gauge_s)
        self.played.gauges += 1
        kind = self.gauges.kind
        if self.gauges.wrong_once and self.played.gauges > 1:
            kind = "right"
        kpa = self.world.read_gauge(bottle)
        if kind == "none":
            act = getattr(session, "no_gauge", None) or session.skip
            act(self.world.now_s)
            return
        psi = {"right": kpa / PSI, "bar": kpa / 100.0, "zero": 0.0}[kind]
        session.gauge(psi, self.world.now_s, bottle)

    def _walk(self, bottle: str) -> None:
        if self.at_bottle is not None and self.at_bottle != bottle:
            here, there = self.world.rig.bottle(self.at_bottle), self.world.rig.bottle(bottle)
            metres = abs(here.position_cm - there.position_cm) / 100.0
            change_s = self.hands.rail_change_s if here.rail != there.rail else 0.0
            self._spend("walk", metres / self.hands.metres_per_s + change_s)
        self.at_bottle = bottle

    def _spend(self, what: str, seconds: float) -> None:
        seconds *= float(self.world.rng.lognormal(0.0, self.hands.spread))
        self.played.seconds[what] = self.played.seconds.get(what, 0.0) + seconds
        self.world.advance(self.world.now_s + seconds)

    def _needed(self, pieces: Sequence[str]) -> list[str]:
        rig = self.world.rig
        return list(rig.needed_for(tuple(p for p in rig.pieces if p.name in pieces)))

    def _judge(self, session: Any, needed: Sequence[str], shift_cents: float | None) -> None:
        world, played = self.world, self.played
        if shift_cents is None:
            shift_cents = float(getattr(getattr(session, "day", None), "shift_cents", 0.0))
        off = {b: world.cents(b) - shift_cents for b in needed}
        played.needed = len(off)
        played.in_tune = sum(abs(c) <= world.rig.bottle(b).tolerance_cents for b, c in off.items())
        played.worst_bottle = max(off, key=lambda b: abs(off[b]), default="")
        played.worst_cents = off.get(played.worst_bottle, 0.0)
        ceilings = [b.ceiling_kpa for b in world.rig.bottles]
        played.highest_share = float(max(world.peak_kpa / ceilings))
        played.highest_advised_share = float(max(world.advised_peak_kpa / ceilings))
        played.head_left_on = world.head is not None
