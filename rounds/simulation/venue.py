"""The air of an invented venue: lights that warm it, an evening that cools it, doors that open.

Temperatures in degrees Celsius, times in seconds on the clock of the world. All numbers are of our
own invention, chosen to be ordinary.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True)
class Door:
    """A door that opens: the air drops at once and comes back slowly."""

    at_s: float
    drop_k: float
    back_s: float = 300.0


@dataclass(frozen=True)
class Venue:
    """Air temperature as a function of time from `start_s`."""

    base_c: float = 21.0
    lights_k: float = 0.0
    """How much the lights warm the stage in the end."""
    lights_s: float = 1500.0
    evening_k_per_h: float = 0.0
    """How fast the evening cools it (positive is cooling)."""
    doors: tuple[Door, ...] = ()
    start_s: float = 0.0

    def temp_c(self, at_s: float) -> float:
        """Air temperature at a time."""
        run_s = max(0.0, at_s - self.start_s)
        lights = self.lights_k * -math.expm1(-run_s / self.lights_s)
        doors = sum(d.drop_k * math.exp(-(at_s - d.at_s) / d.back_s) for d in self.doors if d.at_s <= at_s)
        return self.base_c + lights - self.evening_k_per_h * run_s / 3600.0 - doors


STEADY = Venue()
"""A room where the temperature stays."""


def filming_venue(rng: np.random.Generator, start_s: float = 0.0, hours: float = 4.0) -> Venue:
    """A day of filming: lights come on, the evening cools, a door opens about every 40 minutes."""
    times_s = start_s + rng.uniform(0.0, hours * 3600.0, rng.poisson(hours * 1.5))
    doors = tuple(
        Door(float(t), float(rng.uniform(0.4, 1.5)), float(rng.uniform(200, 500))) for t in sorted(times_s)
    )
    return Venue(
        base_c=float(rng.uniform(17.0, 24.0)),
        lights_k=float(rng.uniform(2.0, 5.0)),
        lights_s=float(rng.uniform(1200.0, 2700.0)),
        evening_k_per_h=float(rng.uniform(0.3, 1.2)),
        doors=doors,
        start_s=start_s,
    )
