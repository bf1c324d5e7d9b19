"""How fast one bottle loses pitch, from pairs of its readings between which nobody touched it.

The belief's filter takes a wild fall for a slip of the ear and says little of it, which is right
for tuning and wrong here: a bottle that falls a hundred cents between rounds is just what is looked
for. So rates are taken from the readings themselves, freed of temperature, and a weighted mean that
starts from the median weighs down single pairs that disagree.

Levels in linear cents (`rounds.belief.priors`), rates in cents per minute, times in seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rounds.belief.pooling import Told

LEAST_MIN, MOST_MIN = 3.0, 240.0
"""Pairs closer than this are all noise and settling; further apart the bottle may have been let down."""
PAIRS_KEPT = 100
READING_VAR = 1.0
"""Variance of one reading."""
SETTLING_VAR = 2.0**2
"""Variance of what settling and creep may still do between two readings."""
WALK_VAR_PER_MIN = 0.4**2
"""Variance per minute of what comes and goes without a leak. These three are guesses from the world of
`rounds.simulation`, on the wide side."""
TEMP_DOUBT_K = 1.0
"""What the air may have done unseen while no temperature is given."""
PER_KELVIN_DOUBT = 0.25
_HUBER = 2.0


@dataclass(frozen=True)
class Level:
    """A reading as it counts here; `gas_c` is the gas temperature, None when unknown."""

    at_s: float
    x: float
    gas_c: float | None


@dataclass(frozen=True)
class Rate:
    """What one pair says."""

    per_min: float
    var: float


def rate_between(first: Level, second: Level, per_kelvin: float) -> Rate | None:
    """The rate that a pair of readings shows; None when they lie too near or too far apart."""
    minutes = (second.at_s - first.at_s) / 60.0
    if not LEAST_MIN <= minutes <= MOST_MIN:
        return None
    warmer = 0.0
    doubt_k = TEMP_DOUBT_K
    if first.gas_c is not None and second.gas_c is not None:
        warmer = second.gas_c - first.gas_c
        doubt_k = 0.1 + PER_KELVIN_DOUBT * abs(warmer)
    change = second.x - first.x - per_kelvin * warmer
    var = 2.0 * READING_VAR + SETTLING_VAR + WALK_VAR_PER_MIN * minutes + (per_kelvin * doubt_k) ** 2
    return Rate(change / minutes, var / minutes**2)


def together(rates: list[Rate]) -> Told | None:
    """What all pairs say; None when there is none."""
    if not rates:
        return None
    mean = _weighted_median(rates)
    for _ in range(5):
        weights = [_weight(r, mean) for r in rates]
        mean = sum(w * r.per_min for w, r in zip(weights, rates, strict=True)) / sum(weights)
    formal = 1.0 / sum(weights)
    scatter = sum(w * (r.per_min - mean) ** 2 for w, r in zip(weights, rates, strict=True))
    excess = scatter / (len(rates) - 1) if len(rates) > 1 else 1.0
    return Told(mean, formal * max(1.0, excess))


def _weight(rate: Rate, mean: float) -> float:
    off = abs(rate.per_min - mean) / math.sqrt(rate.var)
    return min(1.0, _HUBER / off) / rate.var if off > 0.0 else 1.0 / rate.var


def _weighted_median(rates: list[Rate]) -> float:
    ordered = sorted(rates, key=lambda r: r.per_min)
    half = 0.5 * sum(1.0 / r.var for r in rates)
    for rate in ordered:
        half -= 1.0 / rate.var
        if half <= 0.0:
            return rate.per_min
    return ordered[-1].per_min


class Gas:
    """The gas temperature in a bottle that follows the air with a lag, the air held between readings."""

    def __init__(self, lag_min: float) -> None:
        self._lag_s = 60.0 * lag_min
        self._at_s: float | None = None
        self._air_c = self._gas_c = 0.0

    @property
    def state(self) -> tuple[float | None, float, float]:
        """All that later readings need."""
        return self._at_s, self._air_c, self._gas_c

    @state.setter
    def state(self, kept: tuple[float | None, float, float]) -> None:
        self._at_s, self._air_c, self._gas_c = kept

    def air(self, at_s: float, temp_c: float) -> None:
        """The air temperature was read."""
        self._gas_c = temp_c if self._at_s is None else self._followed(at_s)
        self._at_s, self._air_c = at_s, temp_c

    def at(self, at_s: float) -> float | None:
        """The gas temperature, None before the air was ever read."""
        return None if self._at_s is None else self._followed(at_s)

    def _followed(self, at_s: float) -> float:
        assert self._at_s is not None
        away = self._gas_c - self._air_c
        return self._air_c + away * math.exp(-max(0.0, at_s - self._at_s) / self._lag_s)
