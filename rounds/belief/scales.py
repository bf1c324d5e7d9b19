"""How noisy readings are and how far bottles wander, learned by group from the readings themselves.

A grid of guesses (room noise by walk) runs beside each bottle's filter as so many local-level
filters, and a group adds up how likely each guess made its readings. That costs one row of numbers a
bottle and needs no steps, starting values or convergence: only the way surprises follow each other
tells a noisy ear from a wandering bottle, and a gradient walked through them one by one came out
wrong by half in the first hours, when it matters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from rounds.gauss import Gauss
    from rounds.rig import Group

    Floats = NDArray[np.float64]

_ROOM = (0.05, 0.3, 1.0, 2.2, 4.0, 7.0, 11.0, 17.0, 27.0, 45.0)
"""Variance of a reading beyond its own u95, cents²."""
_WALK = (0.01, 0.04, 0.1, 0.2, 0.4, 0.8, 1.6, 3.5, 8.0)
"""Variance of unexplained drift per minute."""
ROOM_GRID: Floats = np.repeat(np.array(_ROOM), len(_WALK))
WALK_GRID: Floats = np.tile(np.array(_WALK), len(_ROOM))
_LOG_ROOM, _LOG_WALK = np.log(ROOM_GRID), np.log(WALK_GRID)
ROOM_GUESS, ROOM_DOUBT = 2.2, 1.3
WALK_GUESS: dict[Group, float] = {"bass": 0.3, "middle": 0.07, "top": 0.2}
WALK_DOUBT = 1.2
"""First guesses of the two variances, and sd of their logarithms. The middle holds best: common
practice, no source."""
FORGETTING = 0.9985
"""Share of what was added up that is kept at each reading of a group: rooms and weather change."""
WRONG_SHARE, WRONG_SD = 0.02, 60.0
"""One reading in fifty is of something else (another bottle, a slip), this far off in cents."""
UNLIKE_SHARE = 0.1
"""So many bottles leak unlike their group: a bad cap, a valve that does not close. Our guess."""
FARTHEST = 80.0
"""Squares of deviations are cut here, lest a density become zero."""
UNDOUBTED = 0.25
"""Where nothing is known to doubt a reading by, its surprise counts as two sd at most: variance by square."""
VAGUE_VAR = 400.0
"""Variance of a level that a reading may only set, not judge."""
FIRST_LANDED_VAR = 9.0**2
LEAST_LANDED_VAR = 2.0
LANDED_PRIOR = 5.0
"""The first guess of where unknown air leaves a bottle counts as this many landings."""
LANDED_MEMORY = 300.0
CALIBRATION_PRIOR = 3.0
"""The variances as worked out count as this many foretold readings that they fitted."""
CALIBRATION_MEMORY = 0.997
SURPRISE_CUT, SURPRISE_LEFT = 9.0, 0.976
"""Wild readings judge no forecast; the mean square of a standard normal cut there."""
LEAST_WIDENING, MOST_WIDENING = 0.9, 3.0
"""Hardly less than one: the learned variances are themselves uncertain, and the air to come is foretold worse
than the air that was read with a strike."""
OFTEN, SELDOM = 4, 24
"""Readings of a group between two looks at the grid, at first and at last: many readings change little."""


@dataclass(slots=True)
class Surprise:
    """A reading minus what was expected, and the variance that was expected of it."""

    innovation: float
    spread: float


@dataclass(slots=True)
class Since:
    """What a filter expects of a bottle since its last reading, beside leak and walk."""

    minutes: float = 0.0
    leak_min: float = 0.0
    """Minutes, stretched by the pressure that drives the leak."""
    drift: float = 0.0
    drift_var: float = 0.0


LEVEL, LEVEL_VAR, SHARED_VAR, LEAK, LEAK_VAR = range(5)
"""Rows of what a bottle is believed to do under every guess."""


class Guesses:
    """One bottle's level and leak under every guess. The leak is in, since a leak not yet known looks
    like a bottle that wanders."""

    __slots__ = ("known", "state")

    def __init__(self, leak: Gauss) -> None:
        self.state: Floats = np.zeros((5, len(ROOM_GRID)))
        self.state[LEAK] = leak.mean
        self.state[LEAK_VAR] = leak.var
        self.known = False

    def copy(self) -> Guesses:
        """An independent copy (its array is never changed in place)."""
        twin = object.__new__(Guesses)
        twin.known, twin.state = self.known, self.state
        return twin

    def set(self, reading: float, own_var: float) -> None:
        """Nothing was known of the level: it is where the reading says."""
        state = self.state.copy()
        state[LEVEL] = reading
        state[LEVEL_VAR] = ROOM_GRID + own_var
        state[SHARED_VAR] = 0.0
        self.state = state


@dataclass(slots=True)
class Reading:
    """A reading that waits to be held against the guesses. `judges`: the level was known before it."""

    guesses: Guesses
    x: float
    since: Since
    own_var: float
    judges: bool


def followed(readings: Sequence[Reading]) -> Floats:
    """Let every guess follow readings of different bottles; a row of log likelihoods for each.

    All at once, since an operation on the grid of one bottle costs hardly less than on those of ten.
    """
    before = np.empty((5, len(readings), len(ROOM_GRID)))
    for k, r in enumerate(readings):
        before[:, k] = r.guesses.state
    level, level_var, shared_var, leak, leak_var = before
    rows = [
        (r.x, r.own_var, s.minutes, s.leak_min, s.drift, s.drift_var) for r in readings for s in (r.since,)
    ]
    x, own_var, minutes, leak_min, drift, drift_var = np.array(rows).T[:, :, None]
    shared = shared_var + leak_min * leak_var
    var = level_var + leak_min * (shared_var + shared) + WALK_GRID * minutes + drift_var
    spread = var + (ROOM_GRID + own_var)
    expected = level + leak_min * leak + drift
    innovation = x - expected
    square = innovation * innovation
    surprise = square / spread
    right = (1.0 - WRONG_SHARE) * np.exp(-0.5 * surprise) / np.sqrt(spread)
    wide = spread + WRONG_SD * WRONG_SD
    total = right + WRONG_SHARE * np.exp(-0.5 * np.minimum(FARTHEST, square / wide)) / np.sqrt(wide)
    weight = right / total
    pull = weight / spread
    step = pull * innovation
    shrink = pull * (1.0 - (1.0 - weight) * surprise)
    kept = var * shrink
    after = np.empty_like(before)
    after[LEVEL] = expected + var * step
    after[LEVEL_VAR] = var - var * kept
    after[SHARED_VAR] = shared - shared * kept
    after[LEAK] = leak + shared * step
    after[LEAK_VAR] = leak_var - shared * shared * shrink
    for k, reading in enumerate(readings):
        reading.guesses.state = after[:, k]
    likelihoods: Floats = np.log(total)
    return likelihoods


def chance_right(innovation: float, spread: float, as_its_group: Surprise | None = None) -> float:
    """The chance that a reading so far from what was expected is right.

    Args:
        innovation: reading minus what was expected.
        spread: variance of that.
        as_its_group: the same if it is like its group, as most are, where it was heard too seldom to tell.
    """
    wide = spread + WRONG_SD * WRONG_SD
    likely = _density(innovation, spread)
    if as_its_group is not None:
        alike = _density(as_its_group.innovation, as_its_group.spread)
        likely = UNLIKE_SHARE * likely + (1.0 - UNLIKE_SHARE) * alike
    right = (1.0 - WRONG_SHARE) * likely
    wrong = WRONG_SHARE * math.exp(-0.5 * min(FARTHEST, innovation * innovation / wide)) / math.sqrt(wide)
    return right / (right + wrong)


def _density(innovation: float, spread: float) -> float:
    return math.exp(-0.5 * innovation * innovation / spread) / math.sqrt(spread)


def _next_judging(readings: Iterator[tuple[int, Reading]]) -> tuple[int, Reading] | None:
    """The next of a bottle's readings that judges, with its place; those before it just set the level."""
    for place, reading in readings:
        if reading.judges:
            return place, reading
        reading.guesses.set(reading.x, reading.own_var)
    return None


class Scales:
    """What the readings of one group say about all guesses, and about where unknown air leaves bottles."""

    __slots__ = (
        "count", "group", "landed_count", "landed_mean", "landed_var", "likelihood", "missed",
        "missed_weight", "queue", "room_var", "waiting", "walk_var",
    )  # fmt: skip

    def __init__(self, group: Group) -> None:
        self.group = group
        self.likelihood: Floats = np.zeros(len(ROOM_GRID))
        self.queue: list[Reading] = []
        """Readings taken since the last look at the grid; nothing that is asked depends on them yet."""
        self.count = self.waiting = 0
        self.missed = self.missed_weight = CALIBRATION_PRIOR
        self.landed_mean = 0.0
        self.landed_var = FIRST_LANDED_VAR
        self.landed_count = LANDED_PRIOR
        self.room_var = self.walk_var = 0.0
        self._look()

    def copy(self) -> Scales:
        """An independent copy, of scales whose queue is empty."""
        twin = object.__new__(Scales)
        for name in Scales.__slots__:
            setattr(twin, name, getattr(self, name))
        twin.queue = []
        return twin

    def take(self, guesses: Guesses, x: float, since: Since, own_var: float) -> None:
        """Count one reading of a bottle; now and then, look at the grid anew."""
        judges = guesses.known and since.drift_var <= VAGUE_VAR
        guesses.known = True
        self.queue.append(Reading(guesses, x, since, own_var, judges))
        if not judges:
            return
        self.count += 1
        self.waiting += 1
        if self.waiting >= min(SELDOM, max(OFTEN, self.count // 20)):
            self.waiting = 0
            self.work_off()
            self._look()

    def work_off(self) -> None:
        """Let the guesses follow all readings in the queue, as many bottles at once as there are."""
        waiting: dict[int, list[tuple[int, Reading]]] = {}
        for place, reading in enumerate(self.queue):
            waiting.setdefault(id(reading.guesses), []).append((place, reading))
        self.queue = []
        rows: dict[int, Floats] = {}
        todo = [iter(readings) for readings in waiting.values()]
        while todo:
            judging = [(own, found) for own in todo if (found := _next_judging(own)) is not None]
            todo = [own for own, _ in judging]
            if judging:
                places, readings = zip(*(found for _, found in judging), strict=True)
                rows.update(zip(places, followed(readings), strict=True))
        for place in sorted(rows):
            self.likelihood = FORGETTING * self.likelihood + rows[place]

    def _look(self) -> None:
        """Room noise and walk as the mean of their logarithms over the guesses."""
        room, walk = math.log(ROOM_GUESS), math.log(WALK_GUESS[self.group])
        prior = ((_LOG_ROOM - room) / ROOM_DOUBT) ** 2 + ((_LOG_WALK - walk) / WALK_DOUBT) ** 2
        odds = self.likelihood - 0.5 * prior
        weights = np.exp(odds - odds.max())
        weights /= weights.sum()
        self.room_var = math.exp(float(weights @ _LOG_ROOM))
        self.walk_var = math.exp(float(weights @ _LOG_WALK))

    def foretold(self, innovation: float, level_var: float, own_var: float) -> None:
        """A reading met what was foretold of the bottle: how well did the variance fit?"""
        noise = own_var + self.room_var
        spread = level_var + noise
        square = innovation * innovation / SURPRISE_LEFT
        if square > SURPRISE_CUT * spread:
            return
        share = level_var / spread
        self.missed = CALIBRATION_MEMORY * self.missed + (square - noise) / spread * share
        self.missed_weight = CALIBRATION_MEMORY * self.missed_weight + share * share

    @property
    def widening(self) -> float:
        """Factor of forecast variances, from how foretold levels were missed so far."""
        return min(MOST_WIDENING, max(LEAST_WIDENING, self.missed / self.missed_weight))

    def landed(self, off: float, own_var: float) -> None:
        """A first reading after air moved by an unknown amount, off where such moves usually lead."""
        limit = 3.0 * math.sqrt(self.landed_var + self.room_var + own_var)
        off = min(limit, max(-limit, off))
        self.landed_count = min(LANDED_MEMORY, self.landed_count + 1.0)
        self.landed_mean += off / self.landed_count
        found = off * off - self.room_var - own_var
        self.landed_var += (found - self.landed_var) / self.landed_count
        self.landed_var = max(LEAST_LANDED_VAR, self.landed_var)
