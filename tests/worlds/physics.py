"""Bottles that are pumped, settle, leak, warm and wander: the engine of the foreign worlds.

A bottle sounds at f² = (stiff + slope x effective gauge pressure) / (1 + load x absolute pressure); world B
has no load. Its air is kept as an amount: absolute pressure in kPa as it would be at 20 degrees Celsius. A
quick change overshoots, and the overshoot fades in one or two stages: the first is heat and shows on a gauge,
the second is the wall and does not.

What may be asked and done (times in seconds, pitches in cents off the nominal target, pressures in kPa):

    world.rig, world.now_s, world.temp_c        the rig's description, the clock, the air as measured
    world.advance(to_s)                         let time pass; the past changes nothing
    world.cents(id), world.all_cents()          the truth (all in the order of rig.bottles)
    world.gauge_kpa(id), world.all_gauge_kpa()  the truth of pressure
    world.target_kpa(id, cents=0.0)             gauge pressure at which a bottle would play so many cents off
    world.strike(id) -> Struck                  the pitch as read: ear error, mishearing, or nothing
    world.head_on(id), world.head_off()         one pump head; each costs a little air
    world.pump(strokes)                         into the bottle the head is on, with the hand's error
    world.let_out(id, strokes)                  by the pin or the valve, in strokes, with the hand's error
    world.change_kpa(id, kpa)                   an exact change of pressure, by nobody's hand
    world.read_gauge(id) -> kPa                 an honest gauge, 2 % of 100 psi
    world.put(id, cents), world.fill_to(low, high)
    world.peak_kpa, world.advised_peak_kpa      the highest each bottle ever had; and without the hand's error
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from rounds.notes import Note
from rounds.rig import Bottle, Habits, Piece, Pump, Rig, group_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ATM = 101.3
PSI = 6.895
COLD_K = 293.15
STEP_S = 10.0
Start = Literal["tuned", "low", "empty"]


@dataclass(frozen=True)
class Ear:
    """How strikes are read. Chances are per strike."""

    sd_cents: float = 1.5
    says_u95_cents: float = 3.0
    unclear: float = 0.03
    octave: float = 0.0
    """Read an octave off, up or down."""
    fifth: float = 0.0
    """Read a fifth off, up or down."""


@dataclass(frozen=True)
class Struck:
    """A strike as read; `hz` None: no tone that could be read."""

    hz: float | None
    u95_cents: float | None


@dataclass(frozen=True)
class Drawn:
    """What is true of the bottles, one element a bottle in the order of the rig."""

    stiff: Floats
    slope: Floats
    load: Floats
    leak_per_min: Floats
    """Share of the gauge pressure lost in a minute."""
    walk_cents: Floats
    """Sd after one minute."""
    settling: Floats
    """Share of a quick change that comes back."""
    quick_share: Floats
    """Share of it that is heat (the rest is the wall)."""
    quick_s: Floats
    slow_s: Floats
    on_cents: Floats
    """Loss at putting the head on, near the note; `off_cents` at taking it off."""
    off_cents: Floats
    volume_ml: Floats
    delivered: Floats
    """Share of the barrel that a stroke brings."""
    pin: Floats
    """Share of a stroke that one let-out by the pin takes."""
    lag_s: Floats
    sudden_s: Floats
    """When a leak begins suddenly (inf: never), and how much it then is."""
    sudden_per_min: Floats
    seats_s: Floats
    """When a cap seats itself and `seat_per_min`, its leak until then, ends."""
    seat_per_min: Floats


@dataclass(frozen=True)
class Weather:
    """The air of a day: lights, the hour, a slow swing, gusts through a door."""

    start_c: float = 20.5
    lights_k: float = 0.0
    fade_k_per_h: float = 0.0
    swing_k: float = 0.0
    swing_s: float = 2000.0
    gusts: tuple[tuple[float, float], ...] = ()
    """(seconds from the start, kelvin); each is gone after some minutes."""

    def at(self, seconds: float) -> float:
        """Air temperature so long after the start."""
        t = max(0.0, seconds)
        air = self.start_c + self.lights_k * (1.0 - math.exp2(-t / 1100.0)) - self.fade_k_per_h * t / 3600.0
        air += self.swing_k * math.sin(2.0 * math.pi * t / self.swing_s)
        return air - math.fsum(k * math.exp(-(t - s) / 350.0) for s, k in self.gusts if s <= t)


def weather_of_a_day(rng: np.random.Generator, hours: float = 6.0) -> Weather:
    """A day under lights."""
    count = int(rng.poisson(1.2 * hours))
    gusts = [(float(rng.uniform(0.0, 3600.0 * hours)), float(rng.uniform(0.3, 1.4))) for _ in range(count)]
    return Weather(
        start_c=float(rng.uniform(16.0, 25.0)),
        lights_k=float(rng.uniform(1.5, 4.5)),
        fade_k_per_h=float(rng.uniform(0.2, 1.3)),
        swing_k=float(rng.uniform(0.1, 0.5)),
        swing_s=float(rng.uniform(1500.0, 3600.0)),
        gusts=tuple(sorted(gusts)),
    )


def usual_kpa(midi: int) -> float:
    """Gauge pressure that bottles of these worlds play a note at, before their make is known."""
    return PSI * max(3.0, 5.0 + 1.4 * (midi - 48))


def describe(bottles: int, needed: int, tolerance_cents: float, ceiling_psi: float = 80.0) -> Rig:
    """A rig of 5 to 45 bottles from C3 to G6 on three rails, two pumps, and pieces "All" and "Most"."""
    midis = [int(m) for m in np.unique(np.round(np.linspace(48 if bottles < 45 else 47, 91, bottles)))]
    on_rail = -(-len(midis) // 3)
    made = []
    for i, midi in enumerate(midis):
        note = Note(midi)
        group = group_of(note)
        volume = {"bass": 2000.0, "middle": 1250.0, "top": 600.0}[group]
        made.append(
            Bottle(
                id=note.name,
                note=note,
                volume_ml=volume,
                rail=1 + i // on_rail,
                position_cm=12.5 * (i % on_rail),
                pump="hand" if group == "bass" else "floor",
                tolerance_cents=tolerance_cents,
                ceiling_kpa=ceiling_psi * PSI,
                caution_kpa=min(60.0, ceiling_psi) * PSI,
                group=group,
            )
        )
    chosen = {midis[int(k)] for k in np.round(np.linspace(0, len(midis) - 1, min(needed, len(midis))))}
    pieces = (
        Piece("All", {Note(m): 1.0 for m in midis}),
        Piece("Most", {Note(m): 1.0 for m in midis if m in chosen}),
    )
    pumps = (
        Pump("hand", 80.0, release_valve=True, max_gauge_kpa=120.0 * PSI),
        Pump("floor", 180.0, max_gauge_kpa=160.0 * PSI),
    )
    return Rig("a rig of nobody's", tuple(made), pumps, pieces, habits=Habits())


class World:
    """Bottles on their rails; the module's docstring lists what may be done."""

    def __init__(
        self,
        rig: Rig,
        drawn: Drawn,
        rng: np.random.Generator,
        *,
        ear: Ear,
        weather: Weather,
        hand_sd: float,
        start_s: float,
    ) -> None:
        self.rig, self.drawn, self.rng, self.ear, self.weather = rig, drawn, rng, ear, weather
        self.hand_sd = hand_sd
        self.pin_sd = 2.0 * hand_sd
        self.start_s = self.now_s = start_s
        self.head: str | None = None
        count = len(rig.bottles)
        self._at = {b.id: i for i, b in enumerate(rig.bottles)}
        self._target2 = np.array([rig.target_hz(b.id) for b in rig.bottles]) ** 2
        self._amount = np.full(count, ATM)
        self._gas_k = np.full(count, self.temp_c + 273.15)
        self._heat = np.zeros(count)
        self._wall = np.zeros(count)
        self._stray = np.zeros(count)
        self.peak_kpa = np.zeros(count)
        self.advised_peak_kpa = np.zeros(count)

    # The truth

    @property
    def temp_c(self) -> float:
        """Air temperature now."""
        return self.weather.at(self.now_s - self.start_s)

    def all_gauge_kpa(self) -> Floats:
        """What perfect gauges show."""
        return np.asarray(self._amount * self._gas_k / COLD_K - ATM + self._heat)

    def gauge_kpa(self, bottle: str) -> float:
        """What a perfect gauge shows."""
        return float(self.all_gauge_kpa()[self._at[bottle]])

    def all_cents(self) -> Floats:
        """Cents off the nominal targets."""
        gauge, d = self.all_gauge_kpa(), self.drawn
        hz2 = (d.stiff + d.slope * (gauge + self._wall)) / (1.0 + d.load * (gauge + ATM))
        return np.asarray(600.0 * np.log2(np.maximum(100.0, hz2) / self._target2) + self._stray)

    def cents(self, bottle: str) -> float:
        """Cents off the nominal target."""
        return float(self.all_cents()[self._at[bottle]])

    def hz(self, bottle: str) -> float:
        """The pitch now."""
        return float(math.sqrt(self._target2[self._at[bottle]]) * 2.0 ** (self.cents(bottle) / 1200.0))

    def all_target_kpa(self, cents: Floats | float = 0.0) -> Floats:
        """Gauge pressure at rest at which each bottle plays so many cents off its target."""
        hz2, d = self._target2 * np.exp2(np.asarray(cents) / 600.0), self.drawn
        return np.asarray((hz2 * (1.0 + d.load * ATM) - d.stiff) / (d.slope - d.load * hz2))

    def target_kpa(self, bottle: str, cents: float = 0.0) -> float:
        """The same for one bottle."""
        return float(self.all_target_kpa(cents)[self._at[bottle]])

    def cents_per_kpa(self, bottle: str) -> float:
        """Slope of pitch at the note."""
        return 1.0 / (self.target_kpa(bottle, 0.5) - self.target_kpa(bottle, -0.5))

    # Where it starts

    def put(self, bottle: str, cents: float) -> None:
        """One bottle at rest, so many cents off its target."""
        i = self._at[bottle]
        self._rest(np.array([i]), np.array([self.target_kpa(bottle, cents)]))

    def put_all(self, cents: Floats | float) -> None:
        """All at rest."""
        self._rest(np.arange(len(self._at)), np.maximum(0.0, self.all_target_kpa(cents)))

    def fill_to(self, low: float, high: float) -> None:
        """Every bottle at rest at a random share of what its note needs, none over 0.95 of a ceiling."""
        ceilings = np.array([b.ceiling_kpa for b in self.rig.bottles])
        shares = self.rng.uniform(low, high, len(ceilings))
        self._rest(np.arange(len(ceilings)), np.minimum(shares * self.all_target_kpa(), 0.95 * ceilings))

    def _rest(self, which: NDArray[np.int64], gauge: Floats) -> None:
        for state in (self._heat, self._wall, self._stray):
            state[which] = 0.0
        self._gas_k[which] = self.temp_c + 273.15
        self._amount[which] = (np.maximum(0.0, gauge) + ATM) * COLD_K / self._gas_k[which]
        self.peak_kpa[which] = self.advised_peak_kpa[which] = np.maximum(0.0, gauge)

    # Time

    def advance(self, to_s: float) -> None:
        """Let time pass."""
        while self.now_s < to_s - 1e-9:
            self._pass(min(STEP_S, to_s - self.now_s))

    def _pass(self, dt: float) -> None:
        d = self.drawn
        self.now_s += dt
        self._gas_k += (self.temp_c + 273.15 - self._gas_k) * -np.expm1(-dt / d.lag_s)
        self._heat *= np.exp(-dt / d.quick_s)
        self._wall *= np.exp(-dt / d.slow_s)
        since = self.now_s - self.start_s
        rate = d.leak_per_min + np.where(since >= d.sudden_s, d.sudden_per_min, 0.0)
        rate = rate + np.where(since < d.seats_s, d.seat_per_min, 0.0)
        self._amount -= np.maximum(0.0, self.all_gauge_kpa()) * rate * dt / 60.0
        self._stray += d.walk_cents * math.sqrt(dt / 60.0) * self.rng.standard_normal(len(rate))
        self._note_peaks()

    def _note_peaks(self) -> None:
        gauge = self.all_gauge_kpa()
        np.maximum(self.peak_kpa, gauge, out=self.peak_kpa)

    # Hands and ear

    def strike(self, bottle: str) -> Struck:
        """Strike a bottle and read it."""
        i, chance = self._at[bottle], self.rng.random()
        if chance < self.ear.unclear:
            return Struck(None, None)
        hz = self.hz(bottle)
        if self.all_gauge_kpa()[i] < 2.0:
            if self.rng.random() < 0.5:
                return Struck(None, None)
            hz = 2.0e5 / (900.0 + self.rig.bottles[i].volume_ml)
        wrong = self.rng.random()
        if wrong < self.ear.octave + self.ear.fifth:
            up = 1.0 if self.rng.random() < 0.5 else -1.0
            hz *= 2.0 ** (up * (1.0 if wrong < self.ear.octave else 7.0 / 12.0))
        hz *= 2.0 ** (self.rng.normal(0.0, self.ear.sd_cents) / 1200.0)
        return Struck(hz, self.ear.says_u95_cents)

    def head_on(self, bottle: str) -> None:
        """Put the pump head onto a valve; off the other one first."""
        if self.head == bottle:
            return
        self.head_off()
        self.head = bottle
        self._lose(bottle, self.drawn.on_cents[self._at[bottle]])

    def head_off(self) -> None:
        """Take it off."""
        if self.head is not None:
            bottle, self.head = self.head, None
            self._lose(bottle, self.drawn.off_cents[self._at[bottle]])

    def _lose(self, bottle: str, cents: float) -> None:
        share = self.gauge_kpa(bottle) / max(1.0, self.target_kpa(bottle))
        cents *= min(1.0, max(0.0, share)) * self.rng.lognormal(0.0, 0.15)
        self._change(self._at[bottle], -cents / self.cents_per_kpa(bottle))

    def stroke_kpa(self, bottle: str) -> float:
        """What one exact stroke of the bottle's own pump adds, once settled."""
        i = self._at[bottle]
        barrel = self.rig.pump_of(bottle).barrel_ml * self.drawn.delivered[i]
        return float(ATM * barrel / self.drawn.volume_ml[i])

    def pump(self, strokes: float) -> float:
        """Pump into the bottle that the head is on; how many strokes went in."""
        if self.head is None or strokes <= 0.0:
            return 0.0
        i, each = self._at[self.head], self.stroke_kpa(self.head)
        done = strokes * max(0.0, self.rng.normal(1.0, self.hand_sd))
        room = (self.rig.pump_of(self.head).max_gauge_kpa - self.all_gauge_kpa()[i]) / each
        advised = self.all_gauge_kpa()[i] + self._at_once(i, min(strokes, max(0.0, room)) * each)
        self.advised_peak_kpa[i] = max(self.advised_peak_kpa[i], advised)
        done = min(done, max(0.0, room))
        self._change(i, done * each)
        return float(done)

    def let_out(self, bottle: str, strokes: float, *, by_pin: bool = True) -> float:
        """Let air out, in strokes; how many went out."""
        i = self._at[bottle]
        share = self.drawn.pin[i] if by_pin else 1.0
        done = strokes * max(0.0, self.rng.normal(1.0, self.pin_sd if by_pin else self.hand_sd))
        kpa = min(done * share * self.stroke_kpa(bottle), max(0.0, self.gauge_kpa(bottle)))
        self._change(i, -kpa)
        return float(done)

    def read_gauge(self, bottle: str) -> float:
        """An honest gauge: 2 % of 100 psi, to the nearest psi."""
        psi = self.gauge_kpa(bottle) / PSI + self.rng.normal(0.0, 2.0)
        return max(0.0, float(round(psi))) * PSI

    def change_kpa(self, bottle: str, kpa: float) -> None:
        """Move air quickly by an exact change of the pressure it settles to, by no hand."""
        self._change(self._at[bottle], kpa)

    def _at_once(self, i: int, kpa: float) -> float:
        """What a gauge shows of a change at once, its heat in it."""
        q = self.drawn.settling[i]
        return float(kpa * (1.0 + self.drawn.quick_share[i] * q / (1.0 - q)))

    def _change(self, i: int, kpa: float) -> None:
        q = self.drawn.settling[i]
        over = kpa * q / (1.0 - q)
        self._amount[i] += kpa * COLD_K / self._gas_k[i]
        self._heat[i] += over * self.drawn.quick_share[i]
        self._wall[i] += over * (1.0 - self.drawn.quick_share[i])
        self._note_peaks()
