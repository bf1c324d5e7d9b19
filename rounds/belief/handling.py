"""What air moves teach: the gain of a stroke, of a small let-out, and what a pump head takes.

Numbers are in linear cents (see `rounds.belief.priors`), one for each bottle and key; the key of a
gain is the pump's id after a word, since a pump may be called "head" or "out". Bottles of a group
share what they learn as a ratio to their priors, since a pump that leaks does so on every bottle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.belief import pooling
from rounds.belief.priors import (
    GAIN_DOUBT,
    HALF_NEPER_CENTS,
    HEAD,
    JOIN,
    LET_OUT_DOUBT,
    OUT,
    prior_gain_hz2,
)
from rounds.belief.scales import UNDOUBTED
from rounds.gauss import Gauss

if TYPE_CHECKING:
    from rounds.belief.priors import Prior
    from rounds.belief.scales import Surprise
    from rounds.belief.track import Track
    from rounds.rig import Rig

STROKE_DOUBT = 0.12
"""Relative sd of one stroke against the next of the same pump on the same bottle."""
LEAST_SHARE, MOST_SHARE = 0.1, 5.0
"""A learned number stays within these shares of its prior: one slip must not turn a pump around."""
LEAST_VAR_SHARE = 1e-4
OVERRULED_CENTS = 15.0
OVERRULED_SHARE = 0.3
"""A reading overrules the one before when it differs by so many linear cents, and the level follows it to
within this share of the difference."""
LESSON_S = 120.0
"""For so long a lesson can be taken back: later, the air may have gone by itself."""


@dataclass(slots=True)
class Learned:
    """A number of one bottle: its prior and what is believed now."""

    prior: Gauss
    mean: float
    var: float

    @property
    def now(self) -> Gauss:
        """As a distribution."""
        return Gauss(self.mean, math.sqrt(self.var))


@dataclass(frozen=True, slots=True)
class Part:
    """One number that a lesson changed: what it was before, and how often it entered."""

    key: str
    coefficient: float
    mean: float
    var: float


@dataclass(frozen=True, slots=True)
class Lesson:
    """What the newest reading after an air move taught, to be taken back if that reading was wrong."""

    at_s: float
    expected: Gauss
    """The level before that reading."""
    parts: tuple[Part, ...]


def pump_key(pump_id: str) -> str:
    """The key of what a stroke of a pump does."""
    return f"pump {pump_id}"


class Handling:
    """Everything that air moves taught, by bottle and key."""

    def __init__(self, rig: Rig, priors: dict[str, Prior]) -> None:
        self.rig = rig
        self.priors = priors
        self._pumps = {pump_key(p.id): p for p in rig.pumps}
        self.learned: dict[tuple[str, str], Learned] = {}
        self.lessons: dict[str, Lesson] = {}

    def copy(self) -> Handling:
        """An independent copy."""
        twin = Handling(self.rig, self.priors)
        twin.learned = {k: Learned(v.prior, v.mean, v.var) for k, v in self.learned.items()}
        twin.lessons = dict(self.lessons)
        return twin

    def forget(self, bottle_id: str) -> None:
        """A cap or bottle was replaced."""
        self.lessons.pop(bottle_id, None)
        for key in [k for k in self.learned if k[0] == bottle_id]:
            del self.learned[key]

    def exchange(self, one: str, other: str, ratio: float) -> None:
        """Two bottles changed places: each takes along what air does to it.

        `ratio` is the squared target frequency at the other place over that at the one: numbers are in linear
        cents, which count in the place's target.
        """
        went = {k: v for k, v in self.learned.items() if k[0] in (one, other)}
        self.forget(one)
        self.forget(other)
        for (was_at, key), known in went.items():
            to, scale = (other, 1.0 / ratio) if was_at == one else (one, ratio)
            self.learned[to, key] = Learned(
                self._prior(to, key), scale * known.mean, scale * scale * known.var
            )

    def strokes(self, bottle_id: str, track: Track, strokes: float, pump_id: str | None) -> None:
        """Air moved by a number of strokes."""
        key = OUT if strokes < 0.0 or pump_id is None else pump_key(pump_id)
        known = self._entry(bottle_id, key)
        slip_var = abs(strokes) * (STROKE_DOUBT * known.mean) ** 2
        track.jump(strokes * known.mean, strokes * strokes * known.var + slip_var)
        track.pending[key] = track.pending.get(key, 0.0) + strokes

    def head(self, bottle_id: str, track: Track, key: str) -> None:
        """The little air that a connection costs. It is no air move that needs another strike."""
        known = self._entry(bottle_id, key)
        moved = track.moved
        track.jump(known.mean, known.var)
        track.moved = moved
        track.pending[key] = track.pending.get(key, 0.0) + 1.0

    def learn(self, bottle_id: str, track: Track, surprise: Surprise, expected: Gauss) -> None:
        """Give each number that entered the level since the last reading its share of the surprise."""
        if not track.pending or track.at_s is None:
            return
        known = {key: self.learned[bottle_id, key] for key in track.pending}
        parts = tuple(Part(key, track.pending[key], k.mean, k.var) for key, k in known.items())
        self.lessons[bottle_id] = Lesson(track.at_s, expected, parts)
        self._teach(bottle_id, parts, surprise.innovation, surprise.spread)
        track.pending.clear()

    def reconsider(self, bottle_id: str, track: Track, x: float, expected: Gauss) -> None:
        """A reading with no air moved before it: where it overrules the one before, so does its lesson."""
        lesson = self.lessons.get(bottle_id)
        if lesson is None or track.at_s is None:
            return
        apart = abs(x - expected.mean)
        if apart < OVERRULED_CENTS or abs(x - track.level) > OVERRULED_SHARE * apart:
            return
        del self.lessons[bottle_id]
        if track.at_s - lesson.at_s <= LESSON_S:
            for part in lesson.parts:
                known = self.learned[bottle_id, part.key]
                known.mean, known.var = part.mean, part.var
            innovation = x - lesson.expected.mean
            spread = max(lesson.expected.var, UNDOUBTED * innovation * innovation)
            self._teach(bottle_id, lesson.parts, innovation, spread)

    def _teach(self, bottle_id: str, parts: tuple[Part, ...], innovation: float, spread: float) -> None:
        for part in parts:
            known = self.learned[bottle_id, part.key]
            lever = part.coefficient * known.var / spread
            low, high = sorted((LEAST_SHARE * known.prior.mean, MOST_SHARE * known.prior.mean))
            known.mean = min(high, max(low, known.mean + lever * innovation))
            left = known.var - lever * part.coefficient * known.var
            known.var = max(left, LEAST_VAR_SHARE * known.prior.var)

    def now(self, bottle_id: str, key: str) -> Gauss:
        """What is believed of a number, from the bottle itself or else from its group."""
        known = self.learned.get((bottle_id, key))
        return self._from_group(bottle_id, key) if known is None else known.now

    def _entry(self, bottle_id: str, key: str) -> Learned:
        known = self.learned.get((bottle_id, key))
        if known is None:
            start = self._from_group(bottle_id, key)
            known = Learned(self._prior(bottle_id, key), start.mean, start.var)
            self.learned[bottle_id, key] = known
        return known

    def _prior(self, bottle_id: str, key: str) -> Gauss:
        prior = self.priors[bottle_id]
        if key in (HEAD, JOIN):
            return prior.head_x
        bottle = self.rig.bottle(bottle_id)
        # A pump that the rig has no more: what the bottle is pumped with now is the nearest.
        pump = self._pumps.get(key) or self.rig.pump(bottle.pump)
        x = HALF_NEPER_CENTS * prior_gain_hz2(self.rig, bottle, pump) / prior.target_hz2
        return Gauss(x, x * (LET_OUT_DOUBT if key == OUT else GAIN_DOUBT))

    def _from_group(self, bottle_id: str, key: str) -> Gauss:
        """The prior, moved by what the other bottles of the group said."""
        own = self._prior(bottle_id, key)
        doubt = own.sd / abs(own.mean)
        group = self.priors[bottle_id].group
        says = []
        for (other, other_key), known in self.learned.items():
            if other_key == key and other != bottle_id and self.priors[other].group == group:
                scale = abs(known.prior.mean)
                ratio = Gauss(abs(known.mean) / scale, math.sqrt(known.var) / scale)
                says.append(pooling.told(Gauss(1.0, doubt), ratio))
        share = pooling.pooled(Gauss(1.0, doubt), (s for s in says if s is not None))
        return Gauss(share.mean * own.mean, share.sd * abs(own.mean))
