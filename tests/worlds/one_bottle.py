"""One bottle as unlike ours as may be, and a player for it: what the ceiling's promise is tried on.

No code, law as written, constant or first guess of `rounds` is shared. f² = (a + b p)/(1 + C p), p in psi
gauge; makes 0.3 to 1.7 as stiff as usual; the volume in the rig file wrong by half either way; gas loading;
needs beyond the ceiling; ceilings of 15 to 80 psi; gauges that are right, in another unit, or show nothing;
strikes misheard by an octave or a fifth; leaks; hours between rounds; restarts and undone acts. All of it our
guess, and wider than anything we heard of.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from rounds.hearing.reading import Reading
from rounds.journal import MemoryJournal
from rounds.notes import Note
from rounds.rig import Bottle, Pump, Rig, group_of
from rounds.sessions.session import Session

if TYPE_CHECKING:
    from rounds.instruction import Instruction

PSI_KPA = 6.894757
AIR_PSI = 14.696
NOTES = (48, 52, 55, 59, 60, 64, 67, 71, 72, 76, 79, 83, 86, 88, 89, 91)
GAUGES = ("right", "right", "right", "none", "none", "bar", "zero")
MOST_TURNS = 70
HEARD_WRONG = (0.5, 2.0 / 3.0, 1.5, 2.0)


@dataclass
class OneBottle:
    """What is true, in psi and mL. `pressure` is the gauge pressure once it has settled."""

    note: int
    label_ml: float
    barrel_ml: float
    ceiling: float
    share: float
    slope: float
    gas: float
    volume_ml: float
    delivered: float
    settles: float
    leak_per_h: float
    misheard: float
    gauge: str
    typed: bool
    told_empty: bool
    pressure: float
    rng: np.random.Generator
    hot: float = 0.0
    """What is still to come back of the last quick fill."""
    highest: float = 0.0
    """The highest pressure that advice, perfectly done, led to or would have led to."""
    asked: int = 0
    strikes: int = 0
    nearest_cents: float = -math.inf
    """The least flat it ever was when it was struck."""
    refused: str | None = None
    """Why it got no more air."""

    @property
    def target_hz(self) -> float:
        """The note at A4 = 440 Hz."""
        return float(440.0 * 2.0 ** ((self.note - 69) / 12.0))

    @property
    def b(self) -> float:
        """f² a psi, the gas not counted."""
        usual = float(np.interp(self.note, (48, 60, 72, 88, 91), (4.0, 20.0, 35.0, 55.0, 70.0)))
        return self.slope * 0.7 * self.target_hz**2 / usual

    @property
    def need(self) -> float:
        """The pressure at which it plays its note."""
        slope = self.b - self.gas * self.target_hz**2
        return math.inf if slope <= 0.0 else (1.0 - self.share) * self.target_hz**2 / slope

    @property
    def stroke(self) -> float:
        """What one full stroke adds, by Boyle."""
        return AIR_PSI * self.barrel_ml * self.delivered / self.volume_ml

    def hz(self) -> float:
        """What it sounds like now."""
        p = max(0.0, self.pressure + self.hot)
        return math.sqrt((self.share * self.target_hz**2 + self.b * p) / (1.0 + self.gas * p))

    def off_cents(self) -> float:
        """Off its note now."""
        return 1200.0 * math.log2(self.hz() / self.target_hz)

    def rest(self, seconds: float) -> None:
        """Heat goes, and some air."""
        self.hot *= math.exp(-seconds / 60.0)
        self.pressure *= math.exp(-self.leak_per_h * seconds / 3600.0)

    def move(self, strokes: float) -> None:
        """Air in or out, by a hand."""
        change = strokes * self.stroke * self.rng.normal(1.0, 0.07)
        if strokes > 0.0:
            self.highest = max(self.highest, self.pressure + strokes * self.stroke)
        before = self.pressure
        self.pressure = max(0.0, self.pressure + change)
        self.hot += self.settles * (self.pressure - before)

    def sounded(self) -> Reading:
        """A strike as the ear gives it."""
        self.strikes += 1
        self.nearest_cents = max(self.nearest_cents, self.off_cents())
        wrong = 1.0
        if self.rng.random() < self.misheard:
            wrong = float(self.rng.choice(HEARD_WRONG))
        return Reading(self.hz() * wrong * 2.0 ** (self.rng.normal(0.0, 1.5) / 1200.0), 3.0)

    def rig(self) -> Rig:
        """As the player wrote it down."""
        note = Note(self.note)
        has = {"none": None}.get(self.gauge, True)
        pump = Pump(
            "pump", self.barrel_ml, max_gauge_kpa=200.0 * PSI_KPA, gauge=has, gauge_span_kpa=100.0 * PSI_KPA
        )
        ceiling_kpa = self.ceiling * PSI_KPA
        bottle = Bottle(
            "x", note, self.label_ml, 1, 0.0, "pump", ceiling_kpa=ceiling_kpa, group=group_of(note)
        )
        return Rig("one", (bottle,), (pump,))


def drawn(seed: int, gauge: str | None = None, *, honest: bool = False) -> OneBottle:
    """A bottle of this world. `honest`: its label and its gauge are right, and it is heard right."""
    rng = np.random.default_rng([seed, 13])
    note = int(rng.choice(NOTES))
    label = 2000.0 if note < 60 else 1250.0 if note <= 88 else 600.0
    wrong = math.exp(rng.uniform(-math.log(2.0), math.log(2.0)))
    ceiling = float(rng.uniform(15.0, 80.0))
    if honest or rng.random() < 0.4:
        wrong = float(rng.normal(1.0, 0.05))
    told_empty = bool(rng.random() < 0.3)
    begun = float(rng.uniform(0.0, 0.95))
    made = OneBottle(
        note=note,
        label_ml=label,
        barrel_ml=float(rng.choice((60.0, 100.0, 160.0))),
        ceiling=ceiling,
        share=float(rng.uniform(0.15, 0.65)),
        slope=float(rng.uniform(0.3, 1.7)),
        gas=float(rng.uniform(0.0, 0.0062)),
        volume_ml=label * wrong,
        delivered=float(rng.uniform(0.85, 1.0)),
        settles=float(rng.uniform(0.05, 0.3)),
        leak_per_h=float(rng.choice((0.0, 0.0, 0.003, 0.05))),
        misheard=0.0 if honest else float(rng.choice((0.0, 0.02, 0.06))),
        gauge=gauge or str(rng.choice(GAUGES)),
        typed=bool(rng.random() < 0.6),
        told_empty=told_empty,
        pressure=0.0 if told_empty else begun * ceiling,
        rng=rng,
    )
    if honest:
        made.pressure = min(made.pressure, begun * made.need)
    return made


class Rounds:
    """Rounds on one bottle, with hours between them."""

    def __init__(self, true: OneBottle) -> None:
        self.true, self.log, self.now_s = true, MemoryJournal(), 1.75e9
        self.session = Session(true.rig(), self.log, self.now_s)
        self.turns = 0

    def play(self, rounds: int = 2, *, undoing: float = 0.03) -> None:
        """So many rounds; between them up to three days, and sometimes a restart."""
        for number in range(rounds):
            if number:
                self._between()
            self._round(undoing)

    def _between(self) -> None:
        """Hours pass; sometimes the program is started anew."""
        self._wait(3600.0 * float(self.true.rng.choice((0.1, 2.0, 24.0, 72.0))))
        if self.true.rng.random() < 0.5:
            self.session = Session(self.true.rig(), self.log, self.now_s)

    def _wait(self, seconds: float) -> None:
        self.now_s += seconds
        self.true.rest(seconds)

    def _round(self, undoing: float) -> None:
        opening = getattr(self.session, "open_round")  # noqa: B009
        extra: dict[str, Any] = {}
        if self.true.told_empty and self.true.pressure == 0.0 and "empty" in _arguments(opening):
            extra["empty"] = ["x"]
        opening(self.now_s, **extra)
        for _ in range(MOST_TURNS):
            told = self.session.instruction
            if self.session.round is None or (told.act == "none" and told.bottle is None):
                break
            self.turns += 1
            if told.act == "none":
                self.true.refused = told.why
                break
            if told.act == "wait":
                self._wait(20.0)
                self.session.tick(self.now_s)
                continue
            self._do(told)
            if self.true.rng.random() < undoing:
                self._undo()
        self.session.close_round(self.now_s)

    def _undo(self) -> None:
        from rounds.errors import BadInput

        try:
            self.session.undo(self.now_s)
        except BadInput:
            return

    def _do(self, told: Instruction) -> None:
        true = self.true
        self._wait(3.0)
        if told.act == "gauge":
            self._gauge()
            return
        if told.act == "disconnect":
            self.session.pump(False, self.now_s)
        elif told.strokes:
            self._wait(abs(told.strokes) + 3.0)
            true.move(told.strokes)
            if true.typed:
                self._type(told)
        elif getattr(told, "to_kpa", None) is not None:
            return
        if self.session.round is None:
            return
        if told.then_strike:
            self._wait(2.0)
            self.session.strike(self.now_s, true.sounded())
        elif told.act != "disconnect" and not true.typed:
            self.session.done(self.now_s)

    def _type(self, told: Instruction) -> None:
        from rounds.errors import BadInput

        try:
            if told.act in ("connect", "add"):
                self.session.pump(True, self.now_s)
            self.session.air(told.strokes or 0.0, self.now_s)
        except BadInput:
            return

    def _gauge(self) -> None:
        true = self.true
        true.asked += 1
        read = max(0.0, true.pressure + true.hot + true.rng.normal(0.0, 2.0))
        if true.gauge == "none":
            self.session.gauge_typed("none", self.now_s)
        elif true.gauge == "bar":
            self.session.gauge(read * PSI_KPA / 100.0, self.now_s)
        else:
            self.session.gauge(0.0 if true.gauge == "zero" else read, self.now_s)


def _arguments(function: Any) -> tuple[str, ...]:
    import inspect

    return tuple(inspect.signature(function).parameters)
