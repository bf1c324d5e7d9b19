"""How noisy readings are, how far bottles wander, how far off they stand after air moved: learned.

Three variances a group, each as its logarithm, climb the likelihood of the readings by recursive
natural-gradient steps (score over accumulated information). The derivative of each filter's level
and variance by each logarithm is carried along in `Slopes`, since only the way surprises follow
each other tells a noisy ear from a wandering bottle.
"""

from __future__ import annotations

import math

ROOM, WALK, LANDED = 0, 1, 2
FIRST_LOGS = (math.log(1.8**2), math.log(0.4), math.log(9.0**2))
"""Variance of a reading beyond its own u95; of the walk per minute; of where unknown air leaves a bottle."""
LOWEST_LOGS = (math.log(0.05**2), math.log(0.02), math.log(1.0))
HIGHEST_LOGS = (math.log(12.0**2), math.log(40.0), math.log(300.0**2))
FIRST_INFORMATION = (3.0, 3.0, 3.0)
"""Information the starting values count for; a variance known from n clean draws has n/2."""
FORGETTING = 0.998
LONGEST_STEP = 0.25
STEP_EVERY = 4
"""Readings gathered for one step; the steps are as long together, and the sums cost less."""
WILD = 2.5
"""Surprises teach as if no larger than this many standard deviations."""
TAMED_SQUARE = 0.97756
"""Expected square of a standard normal when squares are cut at WILD²."""
HOPELESS = 5.0
"""Past this many standard deviations a reading teaches no variance: it is another bottle's, or air moved."""


class Slopes:
    """Derivatives of one filter's variance and level by the three logarithms."""

    __slots__ = ("level", "var")

    def __init__(self) -> None:
        self.var = [0.0, 0.0, 0.0]
        self.level = [0.0, 0.0, 0.0]

    def copy(self) -> Slopes:
        """An independent copy."""
        twin = Slopes()
        twin.var = list(self.var)
        twin.level = list(self.level)
        return twin

    def land(self, landed_var: float) -> None:
        """The level was forgotten and stands where air moved by an unknown amount left it."""
        self.var = [0.0, 0.0, landed_var]
        self.level = [0.0, 0.0, 0.0]


class Scales:
    """The three variances of one group."""

    __slots__ = (
        "info", "landed_count", "landed_mean", "landed_var", "logs", "room_var", "score", "waiting",
        "walk_var",
    )  # fmt: skip

    def __init__(self) -> None:
        self.logs = list(FIRST_LOGS)
        a, b, c = FIRST_INFORMATION
        self.info = [a, 0.0, 0.0, b, 0.0, c]
        self.score = [0.0, 0.0, 0.0]
        self.waiting = 0
        self.landed_mean = 0.0
        self.landed_count = 6.0
        self._exponentiate()

    def copy(self) -> Scales:
        """An independent copy."""
        twin = Scales()
        twin.logs, twin.info = list(self.logs), list(self.info)
        twin.score, twin.waiting = list(self.score), self.waiting
        twin.landed_mean, twin.landed_count = self.landed_mean, self.landed_count
        twin._exponentiate()
        return twin

    def _exponentiate(self) -> None:
        self.room_var, self.walk_var, self.landed_var = (math.exp(v) for v in self.logs)

    def landed_off(self, innovation: float) -> None:
        """How far off the first reading after air moved by an unknown amount was."""
        limit = 3.0 * math.sqrt(self.landed_var + self.room_var)
        self.landed_count = min(400.0, self.landed_count + 1.0)
        self.landed_mean += min(limit, max(-limit, innovation)) / self.landed_count

    def learn(self, slopes: Slopes, innovation: float, level_var: float, read_var: float) -> None:
        """Climb by one reading, and carry the filter's slopes past it."""
        spread = level_var + read_var
        inv = 1.0 / spread
        gain = level_var * inv
        d0, d1, d2 = slopes.var
        l0, l1, l2 = slopes.level
        room = self.room_var
        s0, s1, s2 = (d0 + room) * inv, d1 * inv, d2 * inv
        surprise = innovation * innovation * inv
        if surprise < HOPELESS * HOPELESS:
            tame = min(1.0, WILD / math.sqrt(surprise + 1e-12))
            square = surprise * tame * tame / TAMED_SQUARE
            self._climb((s0, s1, s2), (l0, l1, l2), innovation * inv * tame, square, inv)
        keep = 1.0 - gain
        inv2 = inv * inv * innovation
        slopes.level = [
            keep * l0 + (d0 * read_var - level_var * room) * inv2,
            keep * l1 + d1 * read_var * inv2,
            keep * l2 + d2 * read_var * inv2,
        ]
        keep *= keep
        slopes.var = [keep * d0 + gain * gain * room, keep * d1, keep * d2]

    def _climb(
        self,
        s: tuple[float, float, float],
        level: tuple[float, float, float],
        normalised: float,
        surprise: float,
        inv: float,
    ) -> None:
        """Add one reading's score and information, and step now and then."""
        s0, s1, s2 = s
        l0, l1, l2 = level
        half = 0.5 * (surprise - 1.0)
        g = self.score
        g[0] += half * s0 + normalised * l0
        g[1] += half * s1 + normalised * l1
        g[2] += half * s2 + normalised * l2
        f = self.info
        f[0] = FORGETTING * f[0] + 0.5 * s0 * s0 + l0 * l0 * inv
        f[1] = FORGETTING * f[1] + 0.5 * s0 * s1 + l0 * l1 * inv
        f[2] = FORGETTING * f[2] + 0.5 * s0 * s2 + l0 * l2 * inv
        f[3] = FORGETTING * f[3] + 0.5 * s1 * s1 + l1 * l1 * inv
        f[4] = FORGETTING * f[4] + 0.5 * s1 * s2 + l1 * l2 * inv
        f[5] = FORGETTING * f[5] + 0.5 * s2 * s2 + l2 * l2 * inv
        self.waiting += 1
        if self.waiting >= STEP_EVERY:
            self._step()

    def _step(self) -> None:
        step = _solve(self.info, self.score)
        self.score = [0.0, 0.0, 0.0]
        self.waiting = 0
        for i in range(3):
            bounded = min(LONGEST_STEP, max(-LONGEST_STEP, step[i]))
            self.logs[i] = min(HIGHEST_LOGS[i], max(LOWEST_LOGS[i], self.logs[i] + bounded))
        self._exponentiate()


def _solve(f: list[float], g: list[float]) -> tuple[float, float, float]:
    """Solve a symmetric 3 × 3 system given as its upper triangle."""
    a, b, c, d, e, i = f
    ca, cb, cc = d * i - e * e, c * e - b * i, b * e - c * d
    det = a * ca + b * cb + c * cc
    cd, ce, ci = a * i - c * c, b * c - a * e, a * d - b * b
    return (
        (ca * g[0] + cb * g[1] + cc * g[2]) / det,
        (cb * g[0] + cd * g[1] + ce * g[2]) / det,
        (cc * g[0] + ce * g[1] + ci * g[2]) / det,
    )
