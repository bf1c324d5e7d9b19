"""A number that is not known exactly: a normal distribution in one line.

Everything the tool predicts is one of these, so that no part can forget how sure it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

Z95 = 1.959963984540054
"""Half-width in standard deviations of the central 95 %: u95 = Z95 × sd."""


@dataclass(frozen=True, slots=True)
class Gauss:
    """A normal distribution."""

    mean: float
    sd: float

    @property
    def var(self) -> float:
        """The variance."""
        return self.sd * self.sd

    def scaled(self, factor: float) -> Gauss:
        """The distribution of this number times a known one."""
        return Gauss(self.mean * factor, self.sd * abs(factor))

    def plus(self, other: Gauss) -> Gauss:
        """The distribution of the sum of two independent numbers."""
        return Gauss(self.mean + other.mean, math.hypot(self.sd, other.sd))

    def below(self, limit: float) -> float:
        """Probability of lying below a limit."""
        return normal_cdf((limit - self.mean) / self.sd) if self.sd > 0.0 else float(self.mean < limit)

    def outside(self, half_width: float, centre: float = 0.0) -> float:
        """Probability of lying further than half_width from centre."""
        if self.sd <= 0.0:
            return float(abs(self.mean - centre) > half_width)
        high = (centre + half_width - self.mean) / self.sd
        low = (centre - half_width - self.mean) / self.sd
        return min(1.0, max(0.0, normal_cdf(-high) + normal_cdf(low)))


def normal_cdf(z: float) -> float:
    """Distribution function of the standard normal."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
