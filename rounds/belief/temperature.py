"""The air temperature and what the gas in a bottle has taken up of it.

The air is followed as a level and a slope that dies away (lights warm, evenings cool, and neither
for ever); gas follows the air with a lag of minutes, exactly, under whatever the air is believed to
do. Missing temperature is missing: `teff` is None until the first reading.
"""

from __future__ import annotations

import math

SLOPE_LASTS_MIN = 45.0
"""A trend of the air is believed to die away with this time constant."""
READ_SD_K = 0.2
"""How well a thermometer tells the air at the bottles."""
LEVEL_VAR_PER_MIN = 0.004
"""Doors and draughts: variance of the air per minute, K²."""
SLOPE_VAR_PER_MIN = 1.2e-5
"""Variance gained by the slope per minute, (K/min)² per min."""
FIRST_SLOPE_VAR = 0.02**2
UNKNOWN_VAR_PER_MIN = 0.02
"""Variance per minute of an air temperature that nobody reads, K²."""


class Air:
    """Air temperature as level and slope, with the gas temperature for each lag in use."""

    __slots__ = ("at_s", "gas", "read_s", "slope", "temp", "v00", "v01", "v11")

    def __init__(self, lags_min: tuple[float, ...]) -> None:
        self.gas: dict[float, float | None] = dict.fromkeys(lags_min)
        self.temp: float | None = None
        self.slope = 0.0
        self.v00 = self.v01 = 0.0
        self.v11 = FIRST_SLOPE_VAR
        self.at_s = 0.0
        self.read_s: float | None = None

    def copy(self) -> Air:
        """An independent copy."""
        twin = object.__new__(Air)
        for name in Air.__slots__:
            setattr(twin, name, getattr(self, name))
        twin.gas = dict(self.gas)
        return twin

    def read(self, at_s: float, temp_c: float) -> None:
        """Take in a temperature reading."""
        if self.temp is None:
            self.temp = temp_c
            self.v00 = READ_SD_K * READ_SD_K
            self.at_s = self.read_s = at_s
            self.gas = dict.fromkeys(self.gas, temp_c)
            return
        before, since = self.temp, self.at_s
        self._advance(at_s)
        spread = self.v00 + READ_SD_K * READ_SD_K
        innovation = temp_c - self.temp
        k0, k1 = self.v00 / spread, self.v01 / spread
        self.temp += k0 * innovation
        self.slope += k1 * innovation
        self.v11 -= k1 * self.v01
        self.v01 *= 1.0 - k0
        self.v00 *= 1.0 - k0
        self.read_s = at_s
        self._ramp((at_s - since) / 60.0, before, self.temp)

    def _advance(self, to_s: float) -> None:
        """Let time pass for level and slope; the gas is moved afterwards, along the ramp that was."""
        minutes = (to_s - self.at_s) / 60.0
        self.at_s = to_s
        if minutes <= 0.0 or self.temp is None:
            return
        fade = math.exp(-minutes / SLOPE_LASTS_MIN)
        reach = SLOPE_LASTS_MIN * (1.0 - fade)
        self.temp += self.slope * reach
        self.slope *= fade
        self.v00 += 2.0 * reach * self.v01 + reach * reach * self.v11 + LEVEL_VAR_PER_MIN * minutes
        self.v01 = fade * (self.v01 + reach * self.v11)
        self.v11 = fade * fade * self.v11 + SLOPE_VAR_PER_MIN * minutes

    def _ramp(self, minutes: float, start: float, end: float) -> None:
        """Move the gas along a straight line of the air from start to end."""
        if minutes <= 0.0:
            return
        rate = (end - start) / minutes
        for lag, gas in self.gas.items():
            if gas is not None:
                behind = gas - (start - rate * lag)
                self.gas[lag] = end - rate * lag + behind * math.exp(-minutes / lag)

    def gas_at(self, to_s: float, lag: float) -> float | None:
        """Gas temperature at a time not before the last reading, as the trend goes on."""
        gas = self.gas.get(lag)
        if gas is None or self.temp is None:
            return None
        minutes = max(0.0, (to_s - self.at_s) / 60.0)
        final = self.temp + self.slope * SLOPE_LASTS_MIN
        swing = self.slope * SLOPE_LASTS_MIN / (1.0 - lag / SLOPE_LASTS_MIN)
        trend = math.exp(-minutes / SLOPE_LASTS_MIN)
        return final - swing * trend + (gas - final + swing) * math.exp(-minutes / lag)

    def air_at(self, to_s: float) -> float | None:
        """Air temperature at a time not before the last reading, as the trend goes on."""
        if self.temp is None:
            return None
        minutes = max(0.0, (to_s - self.at_s) / 60.0)
        return self.temp - self.slope * SLOPE_LASTS_MIN * math.expm1(-minutes / SLOPE_LASTS_MIN)

    def unseen_var(self, from_s: float, to_s: float) -> float:
        """Variance (K²) of how far the gas may have moved between two times without being seen."""
        if self.read_s is None:
            return UNKNOWN_VAR_PER_MIN * max(0.0, to_s - from_s) / 60.0
        unseen_s = to_s - max(from_s, self.read_s)
        return LEVEL_VAR_PER_MIN * max(0.0, unseen_s) / 60.0

    def ahead_var(self, from_s: float, to_s: float) -> float:
        """Variance (K²) of the air's change from one time to a later one, both after the last reading."""
        minutes = max(0.0, (to_s - from_s) / 60.0)
        if self.temp is None:
            return UNKNOWN_VAR_PER_MIN * minutes
        reach = -SLOPE_LASTS_MIN * math.expm1(-minutes / SLOPE_LASTS_MIN)
        return reach * reach * self.v11 + LEVEL_VAR_PER_MIN * minutes + SLOPE_VAR_PER_MIN * minutes**3 / 3.0
