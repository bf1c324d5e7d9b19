"""The virtual rig: air, walls and weather, advanced second by second.

What sounds follows from the true shell f² = a + b p and from nothing else; the air in a bottle is
kept as an amount (its absolute pressure at 20 °C), so strokes, leaks and temperature each act on
what they act on in a real bottle. The clock is the caller's: `advance` moves it, never back.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from rounds.air import ATMOSPHERE_KPA, ZERO_CELSIUS_K, stroke_kpa
from rounds.hearing.reading import Reading
from rounds.notes import CENTS_PER_OCTAVE, cents, shifted_hz
from rounds.simulation.truth import CREEP_S, draw_truth
from rounds.simulation.venue import STEADY

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.rig import Rig
    from rounds.simulation.venue import Venue

LONGEST_STEP_S = 10.0
AMOUNT_AT_K = 20.0 + ZERO_CELSIUS_K
"""Amounts of air are told as absolute pressure at this temperature."""
_CREEP_S = np.array(CREEP_S)


class World:
    """A rig that leaks, warms, creeps and can be pumped."""

    def __init__(
        self,
        rig: Rig,
        rng: np.random.Generator,
        *,
        roughness: float = 1.0,
        start_s: float = 0.0,
        venue: Venue = STEADY,
    ) -> None:
        self.rig = rig
        self.rng = rng
        self.microphone = "near"
        """Where it stands (`rounds.simulation.ears`): near or far."""
        self.venue = venue
        self.now_s = start_s
        self.truth = draw_truth(rig, rng, roughness)
        self._heads: dict[int, str] = {}
        self._mounted: dict[int, str] = {}
        count = len(rig.bottles)
        self._index = {b.id: i for i, b in enumerate(rig.bottles)}
        self._volume_ml = np.array([b.volume_ml for b in rig.bottles])
        self._wall_k = np.full(count, venue.temp_c(start_s) + ZERO_CELSIUS_K)
        self._heat_kpa = np.zeros(count)
        self._creep_kpa = np.zeros((count, len(CREEP_S)))
        self._walk = np.zeros(count)
        self._amount_kpa = np.zeros(count)
        self._factors: tuple[float, NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]] | None = (
            None
        )
        self.peak_gauge_kpa = np.zeros(count)
        """The highest pressure each bottle ever had: what a ceiling is checked against."""
        self.tuned()

    @property
    def pump_on(self) -> str | None:
        """The bottle that the first player's pump head is on."""
        return self.head(0)

    @property
    def mounted(self) -> str | None:
        """The pump in the first player's hand."""
        return self.in_hand(0)

    def head(self, player: int) -> str | None:
        """The bottle that a player's pump head is on."""
        return self._heads.get(player)

    def in_hand(self, player: int) -> str | None:
        """The pump in a player's hand."""
        return self._mounted.get(player)

    @property
    def temp_c(self) -> float:
        """Air temperature now, as a good thermometer shows it."""
        return self.venue.temp_c(self.now_s)

    def tuned(self, spread_cents: float = 3.0) -> None:
        """Every bottle near its target, pumped long ago: warm and crept to rest."""
        self._rest(self.rng.normal(0.0, spread_cents, len(self._index)))

    def put(self, bottle_id: str, off_cents: float) -> None:
        """One bottle at rest at a number of cents off its target, the others as they are."""
        levels = self.all_cents()
        keep = self._heat_kpa, self._creep_kpa, self._walk, self._amount_kpa, self._wall_k
        i = self._index[bottle_id]
        levels[i] = off_cents
        self._rest(levels)
        for old, new in zip(keep, self._states(), strict=True):
            old[i] = new[i]
        self._heat_kpa, self._creep_kpa, self._walk, self._amount_kpa, self._wall_k = keep

    def _states(self) -> tuple[NDArray[np.float64], ...]:
        return self._heat_kpa, self._creep_kpa, self._walk, self._amount_kpa, self._wall_k

    def _rest(self, off_cents: NDArray[np.float64]) -> None:
        count = len(self._index)
        self._wall_k = np.full(count, self.temp_c + ZERO_CELSIUS_K)
        self._heat_kpa = np.zeros(count)
        self._walk = np.zeros(count)
        hz2 = (self.truth.target_hz * np.exp2(off_cents / CENTS_PER_OCTAVE)) ** 2
        effective = np.maximum(0.0, hz2 - self._stiffness()) / self.truth.slope_hz2_per_kpa
        gauge = effective / (1.0 - self.truth.creep_share.sum(axis=1))
        self._creep_kpa = self.truth.creep_share * gauge[:, None]
        self._set_gauge(gauge)

    def first_fill(self, low: float = 0.4, high: float = 0.8) -> None:
        """Bottles just screwed on and pumped by counting strokes: a share of the pressure they need."""
        self.tuned(0.0)
        self._creep_kpa = np.zeros_like(self._creep_kpa)
        self._set_gauge(self._gauge() * self.rng.uniform(low, high, len(self._index)))

    def _set_gauge(self, gauge_kpa: NDArray[np.float64]) -> None:
        self._amount_kpa = (gauge_kpa + ATMOSPHERE_KPA) * AMOUNT_AT_K / self._wall_k
        self.peak_gauge_kpa = np.array(gauge_kpa)

    def advance(self, to_s: float) -> None:
        """Let time pass until a moment; one that is past changes nothing."""
        while self.now_s < to_s:
            self._step(min(LONGEST_STEP_S, to_s - self.now_s))

    def _step(self, dt_s: float) -> None:
        truth = self.truth
        warming, cooling, creeping = self._decays(dt_s)
        self.now_s += dt_s
        self._wall_k += (self.temp_c + ZERO_CELSIUS_K - self._wall_k) * warming
        self._heat_kpa *= cooling
        gauge = self._gauge()
        self._amount_kpa -= gauge * truth.leak_per_s * dt_s
        self._creep_kpa += (truth.creep_share * gauge[:, None] - self._creep_kpa) * creeping
        self._walk += truth.walk_cents * math.sqrt(dt_s / 60.0) * self.rng.standard_normal(len(gauge))
        np.maximum(self.peak_gauge_kpa, gauge, out=self.peak_gauge_kpa)

    def _decays(self, dt_s: float) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        if self._factors is None or self._factors[0] != dt_s:
            warming = -np.expm1(-dt_s / self.truth.lag_s)
            cooling = np.exp(-dt_s / self.truth.settle_s)
            self._factors = dt_s, warming, cooling, -np.expm1(-dt_s / _CREEP_S)
        _, warming, cooling, creeping = self._factors
        return warming, cooling, creeping

    def _gauge(self) -> NDArray[np.float64]:
        at_rest = self._amount_kpa * self._wall_k / AMOUNT_AT_K - ATMOSPHERE_KPA
        return np.asarray(at_rest + self._heat_kpa)

    def _stiffness(self) -> NDArray[np.float64]:
        warm_k = self._wall_k - AMOUNT_AT_K
        return np.asarray(self.truth.stiffness_hz2 * (1.0 - self.truth.softening_per_k * warm_k))

    def all_hz(self) -> NDArray[np.float64]:
        """Every bottle's pitch, in the order of `rig.bottles`."""
        effective = self._gauge() - self._creep_kpa.sum(axis=1)
        hz2 = np.maximum(1.0, self._stiffness() + self.truth.slope_hz2_per_kpa * effective)
        return np.asarray(np.sqrt(hz2) * np.exp2(self._walk / CENTS_PER_OCTAVE))

    def all_cents(self) -> NDArray[np.float64]:
        """Every bottle's cents off its nominal target, in the order of `rig.bottles`."""
        return np.asarray(CENTS_PER_OCTAVE * np.log2(self.all_hz() / self.truth.target_hz))

    def hz(self, bottle_id: str) -> float:
        """The pitch a bottle has now."""
        return float(self.all_hz()[self._index[bottle_id]])

    def cents(self, bottle_id: str) -> float:
        """Cents off the nominal target."""
        return cents(self.hz(bottle_id), self.rig.target_hz(bottle_id))

    def gauge_kpa(self, bottle_id: str) -> float:
        """What a perfect gauge on the bottle would show."""
        return float(self._gauge()[self._index[bottle_id]])

    def connect(self, bottle_id: str, pump_id: str | None = None, player: int = 0) -> None:
        """Push a pump head onto a valve; its dead volume fills from the bottle."""
        if self.head(player) == bottle_id:
            return
        self.disconnect(player)
        self._heads[player] = bottle_id
        self._mounted[player] = pump_id or self.rig.bottle(bottle_id).pump
        self._lose(bottle_id, self.truth.head_ml[self._index[bottle_id]])

    def disconnect(self, player: int = 0) -> None:
        """Pull the head off; some air hisses out."""
        bottle_id = self._heads.pop(player, None)
        if bottle_id is not None:
            hiss_ml = self.truth.hiss_ml[self._index[bottle_id]]
            self._lose(bottle_id, hiss_ml * self.rng.lognormal(0.0, 0.3))

    def forget_head(self) -> None:
        """The first player's head is off, and nothing hissed."""
        self._heads.pop(0, None)

    def _lose(self, bottle_id: str, volume_ml: float) -> None:
        i = self._index[bottle_id]
        self._move(i, -max(0.0, self._gauge()[i]) * volume_ml / self._volume_ml[i])

    def add(self, strokes: float, player: int = 0) -> float:
        """Pump; returns strokes that went in (none without a head on, none above what the pump can do)."""
        bottle_id, pump_id = self.head(player), self.in_hand(player)
        if bottle_id is None or pump_id is None:
            return 0.0
        i = self._index[bottle_id]
        pump = self.rig.pump(pump_id)
        if self._gauge()[i] >= pump.max_gauge_kpa:
            return 0.0
        warming = self._wall_k[i] / (self.temp_c + ZERO_CELSIUS_K)  # the stroke takes air from outside
        self._move(i, strokes * warming * self._stroke_kpa(i, pump_id) * self.truth.barrel_share[i])
        return strokes

    def release(self, bottle_id: str, strokes: float, *, pin: bool) -> None:
        """Let out as much as some strokes put in, by the pin or by the pump's release valve."""
        i = self._index[bottle_id]
        share = self.truth.pin_share[i] if pin else self.truth.barrel_share[i]
        wanted = strokes * share * self._stroke_kpa(i, self.rig.bottle(bottle_id).pump)
        self._move(i, -min(wanted, max(0.0, self._gauge()[i])))

    def _stroke_kpa(self, i: int, pump_id: str) -> float:
        return stroke_kpa(self.rig.pump(pump_id).barrel_ml, float(self._volume_ml[i]))

    def _move(self, i: int, change_kpa: float) -> None:
        """Move air quickly: the gas warms or cools, and part of the change comes back later."""
        share = self.truth.settle_share[i]
        self._amount_kpa[i] += change_kpa * AMOUNT_AT_K / self._wall_k[i]
        self._heat_kpa[i] += change_kpa * share / (1.0 - share)
        self.peak_gauge_kpa[i] = max(self.peak_gauge_kpa[i], float(self._gauge()[i]))

    def heard(self, bottle_id: str, *, weak: bool = False) -> Reading:
        """Strike without sound: the reading that the ear would give, right about nineteen times in twenty."""
        chance = self.rng.random()
        if weak and chance < 0.5:
            return Reading(None, None, "quiet")
        if chance > 0.94:
            return Reading(None, None, "unclear" if chance > 0.97 else "two_ringing")
        sd_cents = self.truth.ear_cents * self.rng.lognormal(0.0, 0.45)
        hz = shifted_hz(self.hz(bottle_id), self.rng.normal(0.0, sd_cents))
        return Reading(hz, 2.2 * sd_cents, "clear")
