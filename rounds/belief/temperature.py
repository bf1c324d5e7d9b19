"""The air temperature and what the gas in a bottle has taken up of it.

The air is a level with a slope that dies away (lights warm, evenings cool, neither for ever) plus a
passing part (a door opens, and the room recovers): three states in a Kalman filter. Gas follows the
air with a lag of minutes, in closed form under whatever the air is believed to do. Missing
temperature is missing: the gas is None until the first reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

SLOPE_LASTS_MIN = 45.0
"""A trend of the air is believed to die away with this time constant."""
PASSING_LASTS_MIN = 12.0
"""So is a draught."""
SLOPE_SHARE = 0.006
"""Variance that the slope gains per minute, (K/min)² per min, as a share of what the level gains."""
FIRST_SLOPE_VAR = 0.02**2
FIRST_READ_VAR = 0.2**2
"""How well a thermometer tells the air at the bottles, K², before it is learned."""
FIRST_RESTLESS = 0.004
"""Variance per minute that the level gains, K², before it is learned; the passing part gains
PASSING_SHARE times as much."""
PASSING_SHARE = 2.0
UNKNOWN_VAR_PER_MIN = 0.01
"""Variance per minute of an air temperature that nobody reads, K²."""
READ_FLOOR_VAR, RESTLESS_FLOOR = 0.03**2, 0.0004
FIRST_INFORMATION = 2.0
FORGETTING = 0.998
MOST_SURPRISE = 12.0
"""Squared surprise past which a temperature teaches no more: a door is not the usual."""

AT_ONCE_MIN = 1e-6
"""Two readings this close have no slope between them that a float could hold."""


@dataclass(slots=True)
class Ramp:
    """The air on a straight line between two readings, and the gas as it stood at the first."""

    from_s: float
    start: float
    rate_per_min: float
    gas: dict[float, float]

    def gas_at(self, at_s: float, lag: float) -> float:
        """Gas temperature at a time on the line."""
        minutes = max(0.0, at_s - self.from_s) / 60.0
        behind = self.gas[lag] - (self.start - self.rate_per_min * lag)
        air = self.start + self.rate_per_min * minutes
        return air - self.rate_per_min * lag + behind * math.exp(-minutes / lag)


class Air:
    """Air temperature as level, slope and passing part, with the gas temperature for each lag in use."""

    __slots__ = (
        "at_s",
        "gas",
        "level",
        "passing",
        "ramp",
        "read_info",
        "read_s",
        "read_var",
        "restless",
        "restless_info",
        "slope",
        "v00",
        "v01",
        "v02",
        "v11",
        "v12",
        "v22",
    )  # fmt: skip

    def __init__(self, lags_min: tuple[float, ...]) -> None:
        self.gas: dict[float, float] = dict.fromkeys(lags_min, math.nan)
        self.level = math.nan
        self.slope = self.passing = 0.0
        self.v00 = self.v01 = self.v02 = self.v12 = self.v22 = 0.0
        self.v11 = FIRST_SLOPE_VAR
        self.read_var, self.read_info = FIRST_READ_VAR, FIRST_INFORMATION
        self.restless, self.restless_info = FIRST_RESTLESS, FIRST_INFORMATION
        self.at_s = 0.0
        self.read_s: float | None = None
        self.ramp: Ramp | None = None

    def copy(self) -> Air:
        """An independent copy."""
        twin = object.__new__(Air)
        for name in Air.__slots__:
            setattr(twin, name, getattr(self, name))
        twin.gas = dict(self.gas)
        return twin

    @property
    def temp_c(self) -> float | None:
        """The air temperature at the last reading, smoothed; None before the first."""
        return None if self.read_s is None else self.level + self.passing

    def read(self, at_s: float, temp_c: float) -> None:
        """Take in a temperature reading."""
        if self.read_s is None:
            self.level, self.v00 = temp_c, self.read_var
            self.at_s = self.read_s = at_s
            self.gas = dict.fromkeys(self.gas, temp_c)
            return
        before, since = self.level + self.passing, self.at_s
        self._advance(at_s)
        self._correct(temp_c - self.level - self.passing, max(0.0, at_s - since) / 60.0)
        self.read_s = at_s
        self._ramp((at_s - since) / 60.0, before, self.level + self.passing)

    def _advance(self, to_s: float) -> None:
        """Let time pass for the air; the gas is moved afterwards, along the ramp that was."""
        minutes = (to_s - self.at_s) / 60.0
        self.at_s = to_s
        if minutes <= 0.0:
            return
        fade = math.exp(-minutes / SLOPE_LASTS_MIN)
        reach = SLOPE_LASTS_MIN * (1.0 - fade)
        keep = math.exp(-minutes / PASSING_LASTS_MIN)
        self.level += self.slope * reach
        self.slope *= fade
        self.passing *= keep
        self.v00 += 2.0 * reach * self.v01 + reach * reach * self.v11 + self.restless * minutes
        self.v01 = fade * (self.v01 + reach * self.v11)
        self.v02 = keep * (self.v02 + reach * self.v12)
        self.v11 = fade * fade * self.v11 + SLOPE_SHARE * self.restless * minutes
        self.v12 *= fade * keep
        passing = 0.5 * PASSING_SHARE * self.restless * PASSING_LASTS_MIN
        self.v22 = keep * keep * self.v22 + passing * (1.0 - keep * keep)

    def _correct(self, innovation: float, minutes: float) -> None:
        """The Kalman update by one reading of level plus passing part."""
        g0, g1, g2 = self.v00 + self.v02, self.v01 + self.v12, self.v02 + self.v22
        spread = g0 + g2 + self.read_var
        self._learn(minutes, innovation * innovation / spread, spread)
        spread = g0 + g2 + self.read_var
        self.level += g0 / spread * innovation
        self.slope += g1 / spread * innovation
        self.passing += g2 / spread * innovation
        self.v00 -= g0 * g0 / spread
        self.v01 -= g0 * g1 / spread
        self.v02 -= g0 * g2 / spread
        self.v11 -= g1 * g1 / spread
        self.v12 -= g1 * g2 / spread
        self.v22 -= g2 * g2 / spread

    def _learn(self, minutes: float, surprise: float, spread: float) -> None:
        """Learn how noisy the thermometer is (from short gaps) and how restless the air (from long ones)."""
        half = 0.5 * (surprise if surprise < MOST_SURPRISE else MOST_SURPRISE) - 0.5
        share = self.read_var / spread
        self.read_info = FORGETTING * self.read_info + 0.5 * share * share
        step = half * share / self.read_info
        found = self.read_var * math.exp(0.3 if step > 0.3 else -0.3 if step < -0.3 else step)
        self.read_var = min(1.0, max(READ_FLOOR_VAR, found))
        share = (1.0 + PASSING_SHARE) * self.restless * minutes / spread
        share = share if share < 1.0 else 1.0
        self.restless_info = FORGETTING * self.restless_info + 0.5 * share * share
        step = half * share / self.restless_info
        found = self.restless * math.exp(0.5 if step > 0.5 else -0.5 if step < -0.5 else step)
        self.restless = min(1.0, max(RESTLESS_FLOOR, found))

    def _ramp(self, minutes: float, start: float, end: float) -> None:
        """Move the gas along a straight line of the air from start to end."""
        if minutes <= AT_ONCE_MIN:
            return
        rate = (end - start) / minutes
        self.ramp = Ramp(self.at_s - 60.0 * minutes, start, rate, self.gas)
        moved = {}
        for lag, gas in self.gas.items():
            behind = gas - start + rate * lag
            moved[lag] = end - rate * lag + behind * math.exp(-minutes / lag)
        self.gas = moved

    def gas_in_hindsight(self, at_s: float, lag: float) -> float | None:
        """Gas temperature at a time between the last two readings, now that the later one is known."""
        return None if self.ramp is None else self.ramp.gas_at(at_s, lag)

    def gas_at(self, to_s: float, lag: float) -> float | None:
        """Gas temperature at a time not before the last reading, as trend and draught go on."""
        if self.read_s is None:
            return None
        minutes = (to_s - self.at_s) / 60.0
        if minutes <= 0.0:
            return self.gas[lag]
        final = self.level + self.slope * SLOPE_LASTS_MIN
        swing = -self.slope * SLOPE_LASTS_MIN / (1.0 - lag / SLOPE_LASTS_MIN)
        passing = self.passing / (1.0 - lag / PASSING_LASTS_MIN)
        own = self.gas[lag] - final - swing - passing
        return (
            final
            + swing * math.exp(-minutes / SLOPE_LASTS_MIN)
            + passing * math.exp(-minutes / PASSING_LASTS_MIN)
            + own * math.exp(-minutes / lag)
        )

    def unseen_min(self, from_s: float, to_s: float) -> float:
        """Minutes between two times in which nobody read the thermometer."""
        since_s = from_s if self.read_s is None else max(from_s, self.read_s)
        return max(0.0, to_s - since_s) / 60.0

    def ahead_var(self, minutes: float, lag: float) -> float:
        """Variance (K²) of the gas's change in unread minutes, beside what the trend foretells."""
        fade = math.exp(-minutes / lag)
        followed = max(0.0, minutes - 2.0 * lag * (1.0 - fade) + 0.5 * lag * (1.0 - fade * fade))
        a0, a1 = 1.0 - fade, _after_trend(minutes, lag)
        bent = SLOPE_SHARE * self.restless * a1 * a1 * minutes / 3.0
        if self.read_s is None:
            return UNKNOWN_VAR_PER_MIN * followed + FIRST_SLOPE_VAR * a1 * a1 + bent
        keep = math.exp(-minutes / PASSING_LASTS_MIN)
        a2 = (keep - fade) / (1.0 - lag / PASSING_LASTS_MIN)
        known = a0 * (a0 * self.v00 + 2.0 * (a1 * self.v01 + a2 * self.v02))
        known += a1 * (a1 * self.v11 + 2.0 * a2 * self.v12) + a2 * a2 * self.v22
        return (
            known
            + self.restless * followed
            + bent
            + PASSING_SHARE * self.restless * _passing_var(minutes, lag)
        )


def _after_trend(minutes: float, lag: float) -> float:
    """What the gas takes up of a trend of the air that is 1 K/min now and dies away."""
    fade = math.exp(-minutes / SLOPE_LASTS_MIN)
    swing = SLOPE_LASTS_MIN / (1.0 - lag / SLOPE_LASTS_MIN)
    return SLOPE_LASTS_MIN - swing * fade + (swing - SLOPE_LASTS_MIN) * math.exp(-minutes / lag)


def _passing_var(minutes: float, lag: float) -> float:
    """Variance of the gas after white noise of unit strength into the passing part."""
    fast, slow = 1.0 / lag, 1.0 / PASSING_LASTS_MIN
    total = 0.5 / slow * -math.expm1(-2.0 * slow * minutes)
    total -= 2.0 / (slow + fast) * -math.expm1(-(slow + fast) * minutes)
    total += 0.5 / fast * -math.expm1(-2.0 * fast * minutes)
    return max(0.0, total) / (1.0 - lag / PASSING_LASTS_MIN) ** 2
