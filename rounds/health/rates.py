"""How fast one bottle loses pitch, from stretches of its readings in which nobody touched it.

The belief's filter takes a wild fall for a slip of the ear and says little of it, which is right
for tuning and wrong here: a bottle that falls a hundred cents between rounds is just what is looked
for. So rates are taken from the readings themselves, freed of temperature and of what settles and creeps
after air was moved.

Levels in linear cents (`rounds.belief.priors`), rates in cents per minute, times in seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.belief.pooling import Told
from rounds.belief.priors import CREEP, PRESSURE_X, SETTLING
from rounds.belief.track import CREEP_FROM_MIN, SETTLE_MIN, Move

if TYPE_CHECKING:
    from rounds.rig import Group

LEAST_MIN, MOST_MIN = 3.0, 240.0
"""Stretches shorter than this are all noise and settling; longer ones may hide that the bottle was let
down."""
STRETCHES_KEPT = 100
READING_VAR = 1.0
"""Variance of a reading whose own is not known."""
ROOM_VAR = 0.5
"""Variance that the room adds to a reading's own. A guess."""
WALK_VAR_PER_MIN: dict[Group, float] = {"bass": 0.5**2, "middle": 0.25**2, "top": 0.4**2}
"""Variance per minute of what comes and goes without a leak. Guesses from the world of
`rounds.simulation`."""
CREEP_DOUBT = 0.006
"""Sd of the share that creeps away, between bottles of one rig. A guess."""
SETTLED_VAR = 3.0**2
"""A reading after which more than this was still to settle, cents², begins no stretch that could be
longer."""
FILLED_LOW = -100.0
"""Linear cents off the note from which down a bottle counts as filled low."""
LEAST_SHARE = 0.2
"""Of the pressure at its note: a bottle filled lower than this counts as filled so far."""
TEMP_DOUBT_K = 1.0
"""What the air may have done unseen while no temperature is given."""
READ_OFF_DOUBT_K = 0.3
"""Thermometers are read to half a degree, and a door opens between two looks. A guess."""
PER_KELVIN_DOUBT = 0.25
_HUBER = 2.0


@dataclass(frozen=True)
class Level:
    """A reading as it counts here; `gas_c` is the gas temperature, None when unknown."""

    at_s: float
    x: float
    gas_c: float | None
    var: float = READING_VAR
    moves: tuple[Move, ...] = ()
    """The air moved last before it, which settles yet."""


@dataclass(frozen=True)
class Rate:
    """What one stretch of so many minutes says. `falls`: how many readings came after its first."""

    per_min: float
    var: float
    minutes: float
    falls: int = 1


def rate_between(first: Level, last: Level, per_kelvin: float, group: Group) -> Rate | None:
    """The rate that a stretch shows; None when it is too short or too long."""
    minutes = (last.at_s - first.at_s) / 60.0
    if not LEAST_MIN <= minutes <= MOST_MIN:
        return None
    warmer = 0.0
    doubt_k = TEMP_DOUBT_K
    if first.gas_c is not None and last.gas_c is not None:
        warmer = last.gas_c - first.gas_c
        doubt_k = READ_OFF_DOUBT_K + PER_KELVIN_DOUBT * abs(warmer)
    settled = _settled(first, last)
    change = last.x - first.x - per_kelvin * warmer - settled.mean
    var = first.var + last.var + settled.var + WALK_VAR_PER_MIN[group] * minutes + (per_kelvin * doubt_k) ** 2
    middle = 0.5 * (first.x + last.x)
    share = max(LEAST_SHARE, 1.0 + middle / PRESSURE_X) if middle < FILLED_LOW else 1.0
    return Rate(change / minutes / share, var / (minutes * share) ** 2, minutes)


def began_unsettled(first: Level, last: Level) -> bool:
    """Whether the bottle settled so much after the first reading that the last one is a better start."""
    return _settled(first, last).var > SETTLED_VAR and last.at_s - first.at_s >= 60.0 * LEAST_MIN


def _settled(first: Level, last: Level) -> Told:
    """What settles and creeps back of earlier air moves within a stretch, and how uncertain that is."""
    settling = creeping = 0.0
    for move in first.moves:
        ages = [max(0.0, level.at_s - move.at_s) / 60.0 for level in (first, last)]
        settling += move.x * (math.exp(-ages[0] / SETTLE_MIN) - math.exp(-ages[1] / SETTLE_MIN))
        creeping += move.x * math.log((CREEP_FROM_MIN + ages[1]) / (CREEP_FROM_MIN + ages[0]))
    mean = -SETTLING.mean * settling - CREEP.mean * creeping
    return Told(mean, (SETTLING.sd * settling) ** 2 + (CREEP_DOUBT * creeping) ** 2)


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
