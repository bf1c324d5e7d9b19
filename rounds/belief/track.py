"""One bottle's state as a Kalman filter, written out by hand.

State: level x (linear cents, see `rounds.belief.priors`), leak per minute, x per kelvin, settling
share, creep share. Only the level moves by itself; the other four are coefficients of known
regressors, so the transition is L += h·θ and touches one row of the covariance. That is why it is
unrolled in plain numbers: 5 × 5 numpy matrices cost thirty times as much per event.

Since a strike can be wrong (another bottle, a slip of the mallet), a reading is believed by the
chance that it is right (probabilistic data association: Bar-Shalom & Tse 1975), and two wild
readings that agree are believed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import TYPE_CHECKING

from rounds.belief.priors import HALF_NEPER_CENTS, PRESSURE_X
from rounds.belief.scales import FARTHEST, UNDOUBTED, Guesses, Since, Surprise, chance_right

if TYPE_CHECKING:
    from rounds.belief.priors import Prior
    from rounds.belief.scales import Scales

SETTLE_MIN = 1.25
"""Time constant of settling, minutes (a minute or so: common practice, no source)."""
CREEP_FROM_MIN = 1.0
"""Creep runs as ln(1 + t / this)."""
LEAK_WANDER = 2e-6
"""Growth per minute of the variance of the leak rate: valves and caps age."""
MOVES_KEPT = 3
"""Air moves whose creep is still followed, one by one."""
LONGEST_STEP_MIN = 240.0
"""Past this much unseen time a leak says little: the bottle may have been let down or pumped."""
UNSEEN_SD = 60.0
"""Sd that the level gains then; the next reading is believed and teaches no leak."""
FIRST_SD = 250.0
"""Level of a bottle never heard, linear cents around the target."""
DOUBTED_BELOW = 0.9
"""A vetted reading likelier right than this is simply believed: a doubt of 2 % would leave a level that was
never read before open by a semitone. Rows of a log keep that doubt, and a wrong first one is overruled."""
WILD_SHARE = 0.2
"""A reading that no stroke explains: strokes miscounted (one in twenty) or another bottle (one in fifty). It
is believed, with this share of its square as variance, so that the next may take it back."""
FEW = 3
"""With fewer readings than this, two rows of a log that contradict each other are held to be wrong alike."""
CARRIED_SD = 10.0
"""Sd of what becomes of the pitch of a bottle that is taken off its rail and put onto another. A guess."""
LEAST_DRIFT_MIN = 3.0
"""A drift over less than this tells nothing of a leak."""
ODD_Z = 2.0
"""A reading further off than this many sd makes one ask whether the leak is still what it was. Our guess."""
ALIKE = 2.5
"""Two drifts within this factor of each other tell of the same change. Our guess."""
LEAST_LEFT = 0.6
"""A prior is only divided out of a coefficient while the readings make up for this much of it."""
SURMISE_SHARE = 0.7
"""Sd, in tolerances, of where a bottle stood that was tuned without being read first."""


@dataclass(slots=True)
class Move:
    """An air move whose creep is followed: when, and how many linear cents."""

    at_s: float
    x: float


class Track:
    """The filter of one bottle. `a` is the upper triangle of the covariance, row by row."""

    __slots__ = (
        "a00", "a01", "a02", "a03", "a04", "a11", "a12", "a13", "a14", "a22", "a23", "a24",
        "a33", "a34", "a44", "at_s", "creep", "guesses",
        "jump_var", "landed", "leak", "level", "moved", "moves", "odd_leak",
        "pending", "per_k", "read_s", "readings", "settle", "settling", "since", "suspect", "teff", "unseen",
    )  # fmt: skip

    def __init__(self, prior: Prior) -> None:
        self.level = 0.0
        self.leak = prior.leak_per_min.mean
        self.per_k = prior.per_kelvin.mean
        self.settling = prior.settling.mean
        self.creep = prior.creep.mean
        self.a00 = FIRST_SD * FIRST_SD
        self.a11 = prior.leak_per_min.var
        self.a22 = prior.per_kelvin.var
        self.a33 = prior.settling.var
        self.a44 = prior.creep.var
        self.a01 = self.a02 = self.a03 = self.a04 = self.a12 = self.a13 = self.a14 = 0.0
        self.a23 = self.a24 = self.a34 = 0.0
        self.at_s: float | None = None
        self.read_s: float | None = None
        self.readings = 0
        self.teff: float | None = None
        self.settle = 0.0
        self.moves: list[Move] = []
        self.moved = False
        self.landed = False
        self.unseen = False
        self.jump_var = 0.0
        self.pending: dict[str, float] = {}
        self.suspect: float | None = None
        self.odd_leak: float | None = None
        self.guesses = Guesses(prior.leak_per_min)
        self.since = Since()

    def copy(self) -> Track:
        """An independent copy."""
        twin = object.__new__(Track)
        for name, value in zip(Track.__slots__, _ALL(self), strict=True):
            setattr(twin, name, value)
        twin.moves = [Move(m.at_s, m.x) for m in self.moves]
        twin.pending = dict(self.pending)
        twin.guesses = self.guesses.copy()
        twin.since = replace(self.since)
        return twin

    def state(self) -> Track:
        """A copy of state and covariance alone, which is enough to lean on."""
        twin = object.__new__(Track)
        for name, value in zip(_STATE, _STATE_OF(self), strict=True):
            setattr(twin, name, value)
        return twin

    def regressors(self, to_s: float, teff: float | None) -> tuple[float, float, float, float]:
        """How much of leak, per_k, settling and creep the level takes up until a time."""
        at_s = self.at_s if self.at_s is not None else to_s
        dt = min(LONGEST_STEP_MIN, (to_s - at_s) / 60.0)
        h_leak = dt * max(0.05, 1.0 + self.level / PRESSURE_X)
        h_temp = 0.0 if teff is None or self.teff is None else teff - self.teff
        h_settle = self.settle * math.expm1(-dt / SETTLE_MIN)
        h_creep = 0.0
        for move in self.moves:
            age = (at_s - move.at_s) / 60.0
            h_creep -= move.x * math.log1p(dt / (CREEP_FROM_MIN + age))
        return h_leak, h_temp, h_settle, h_creep

    def advance(self, to_s: float, teff: float | None, noise_var_per_min: float, temp_var: float) -> None:
        """Let time pass. A time before the last one is never believed: the clock is set, nothing drifts."""
        if self.at_s is None or to_s <= self.at_s:
            self._set_clock(to_s)
            self.teff = teff if teff is not None else self.teff
            return
        minutes = (to_s - self.at_s) / 60.0
        h1, h2, h3, h4 = self.regressors(to_s, teff)
        a11, a12, a13, a14, a22 = self.a11, self.a12, self.a13, self.a14, self.a22
        a23, a24, a33, a34, a44 = self.a23, self.a24, self.a33, self.a34, self.a44
        driven = h2 * self.per_k + h3 * self.settling + h4 * self.creep
        self.level += h1 * self.leak + driven
        v1 = a11 * h1 + a12 * h2 + a13 * h3 + a14 * h4
        v2 = a12 * h1 + a22 * h2 + a23 * h3 + a24 * h4
        v3 = a13 * h1 + a23 * h2 + a33 * h3 + a34 * h4
        v4 = a14 * h1 + a24 * h2 + a34 * h3 + a44 * h4
        cross = self.a01 * h1 + self.a02 * h2 + self.a03 * h3 + self.a04 * h4
        temp_var *= self.per_k * self.per_k
        self.a00 += (
            2.0 * cross + h1 * v1 + h2 * v2 + h3 * v3 + h4 * v4 + noise_var_per_min * minutes + temp_var
        )
        since = self.since
        since.minutes += minutes
        since.leak_min += h1
        since.drift += driven
        since.drift_var += h2 * h2 * a22 + h3 * h3 * a33 + h4 * h4 * a44 + temp_var
        self.a01 += v1
        self.a02 += v2
        self.a03 += v3
        self.a04 += v4
        if minutes > LONGEST_STEP_MIN:
            self.a00 += UNSEEN_SD * UNSEEN_SD
            self.a01 = self.a02 = self.a03 = self.a04 = 0.0
            self.unseen = True
            self.guesses.known = False
        self.a11 += LEAK_WANDER * minutes
        self.settle += h3
        self.at_s = to_s
        if teff is not None:
            self.teff = teff

    def ahead(
        self, to_s: float, teff: float | None, noise_var_per_min: float, temp_var: float
    ) -> tuple[float, float]:
        """Level and variance at a later time, nothing changed: what `advance` would lead to."""
        minutes = 0.0 if self.at_s is None else max(0.0, to_s - self.at_s) / 60.0
        h1, h2, h3, h4 = self.regressors(to_s, teff) if minutes > 0.0 else (0.0, 0.0, 0.0, 0.0)
        level = self.level + h1 * self.leak + h2 * self.per_k + h3 * self.settling + h4 * self.creep
        var = self.a00 + h1 * h1 * self.a11 + h2 * h2 * self.a22 + h3 * h3 * self.a33 + h4 * h4 * self.a44
        twice = h1 * (self.a01 + h2 * self.a12 + h3 * self.a13 + h4 * self.a14)
        twice += h2 * (self.a02 + h3 * self.a23 + h4 * self.a24) + h3 * (self.a03 + h4 * self.a34)
        var += 2.0 * (twice + h4 * self.a04)
        var += noise_var_per_min * minutes + temp_var * self.per_k * self.per_k
        return level, var + (UNSEEN_SD * UNSEEN_SD if minutes > LONGEST_STEP_MIN else 0.0)

    def _set_clock(self, to_s: float) -> None:
        """The clock was set back: keep the ages of what happened."""
        if self.at_s is not None and to_s < self.at_s:
            for move in self.moves:
                move.at_s += to_s - self.at_s
        self.at_s = to_s

    def jump(self, x: float, var: float) -> None:
        """Air moved: the level jumps by x, known to within var; settling and creep start from it."""
        self.level += x
        self.a00 += var
        self.since.drift += x
        self.since.drift_var += var
        self.jump_var += var
        self.settle += x
        if self.at_s is not None:
            self.moves.append(Move(self.at_s, x))
            if len(self.moves) > MOVES_KEPT:
                oldest = self.moves.pop(0)
                self.moves[0].x += oldest.x
        self.moved = True

    def lean(self, index: int, precision: float, says: float) -> None:
        """Replace the prior of a coefficient by its group's, as one more reading of that coefficient.

        The reading says `says` with a precision that is negative where the group is vaguer than the prior.
        """
        row = self._row(index)
        if precision * row[index] < -LEAST_LEFT:
            return
        value = (self.leak, self.per_k, self.settling, self.creep)[index - 1]
        spread = 1.0 / precision + row[index]
        self._gain((says - value) / spread, 1.0 / spread, row)

    def _row(self, index: int) -> tuple[float, float, float, float, float]:
        if index == 1:
            return self.a01, self.a11, self.a12, self.a13, self.a14
        if index == 2:
            return self.a02, self.a12, self.a22, self.a23, self.a24
        if index == 3:
            return self.a03, self.a13, self.a23, self.a33, self.a34
        return self.a04, self.a14, self.a24, self.a34, self.a44

    def land(self, x: float, var: float) -> None:
        """Air moved by an unknown amount, and the level is now near x.

        The next reading tells where it landed and nothing of where it was before: of what was not known of
        the jump, it makes up for the landing alone.
        """
        before = self.level
        self.a00 = self.a01 = self.a02 = self.a03 = self.a04 = 0.0
        self.jump(x - before, 0.0)
        self.a00 = var
        self.jump_var = var
        self.landed = True
        self.guesses.known = False

    def moved_to(self, left: Prior, place: Prior, ratio: float) -> Track:
        """The filter of the same bottle at another place, whose target is another.

        The pitch is known from before to within what carrying it does, and is to be heard; leak, settling and
        the like stay where both places have one prior.

        Args:
            left: the prior of the place it stood at.
            place: that of the place it stands at now.
            ratio: squared target frequency of the place left over that of the new one.
        """
        moved = Track(place)
        moved.at_s, moved.teff = self.at_s, self.teff
        if self.readings:
            moved.level = HALF_NEPER_CENTS * (ratio - 1.0) + ratio * self.level
            moved.a00 = min(moved.a00, ratio * ratio * self.a00 + CARRIED_SD * CARRIED_SD)
        if left.leak_per_min == place.leak_per_min:
            moved.leak, moved.settling, moved.creep = self.leak, self.settling, self.creep
            moved.a11, moved.a33, moved.a44 = self.a11, self.a33, self.a44
        return moved

    def emptied(self, x: float, var: float) -> None:
        """All its air is out: it stands at x, and nothing settles or creeps any more."""
        self.level, self.a00, self.jump_var, self.settle = x, var, 0.0, 0.0
        self.a01 = self.a02 = self.a03 = self.a04 = 0.0
        self.moves.clear()
        self.pending.clear()
        self.moved, self.landed, self.guesses.known = True, False, False

    def surmise(self, tolerance: float) -> None:
        """Air was moved though nothing was read: the bottle was probably out, on the side it drifts to."""
        if abs(self.level) >= tolerance:
            return
        side = math.copysign(1.0, self.leak)
        spread = self.a00 + (SURMISE_SHARE * tolerance) ** 2
        row = (self.a00, self.a01, self.a02, self.a03, self.a04)
        self._gain((side * tolerance - self.level) / spread, 1.0 / spread, row)

    def read(
        self,
        x: float,
        own_var: float,
        scales: Scales,
        *,
        usual_sd: float | None = None,
        agreed: bool = False,
        as_its_group: tuple[float, float] | None = None,
    ) -> Surprise:
        """Take in a reading with its own variance; returns how far it was from what was expected.

        Args:
            usual_sd: how far off rows of this log usually are, for a row, which may hold anything.
                None: the session knew what it listened for.
            agreed: it was heard again, so that nothing believed before speaks against it.
            as_its_group: level and variance if it is like its group, where it was heard too seldom to tell.
        """
        landed, vetted, since_min = self.landed, usual_sd is None, self.since.leak_min
        if usual_sd is not None and not self.readings and not self.moved:
            self.a00 = min(self.a00, usual_sd * usual_sd)
        innovation = x - self.level
        self._judge(x, innovation, own_var, scales)
        var = own_var + scales.room_var
        wild_var = 0.0
        if self._leak_changed(innovation, var, since_min):
            weight, self.suspect = 1.0, None
        elif agreed or self.unseen or (self.moved and not landed):
            weight, wild = 1.0, self.moved and chance_right(innovation, self.a00 + var) < 0.5
            wild_var = WILD_SHARE * innovation * innovation if wild else 0.0
            self._widen(innovation, var)
        else:
            alike = None if as_its_group is None else Surprise(x - as_its_group[0], as_its_group[1] + var)
            weight = self._weight(x, innovation, var, alike, vetted=vetted)
            if usual_sd is not None and weight < 0.5 and 0 < self.readings < FEW and not landed:
                weight = self._one_of_two(x, innovation, usual_sd)
        spread = self.a00 + var
        step = weight * innovation / spread
        self._attribute_jump(step)
        shrink = weight / spread - weight * (1.0 - weight) * (innovation / spread) ** 2
        self._gain(step, shrink, (self.a00, self.a01, self.a02, self.a03, self.a04))
        self.a00 += wild_var
        self.read_s = self.at_s
        self.readings += 1
        self.moved = self.unseen = False
        return Surprise(weight * innovation, spread)

    def _leak_changed(self, innovation: float, var: float, since_min: float) -> bool:
        """Whether it drifted too fast, or too slowly, as it did before: a leak began, a cap seated itself.

        One such reading may be of something else. Two that tell of the same change are believed, and the leak
        is open by as much.
        """
        if self.moved or since_min < LEAST_DRIFT_MIN:
            return False
        off = innovation / since_min
        odd = innovation * innovation > ODD_Z * ODD_Z * (self.a00 + var)
        before, self.odd_leak = self.odd_leak, off if odd else None
        if not odd or before is None or not 1.0 / ALIKE < off / before < ALIKE:
            return False
        self.a11 += off * off
        self.a01 += since_min * off * off
        self.a00 += since_min * since_min * off * off
        self.odd_leak = None
        return True

    def _widen(self, innovation: float, var: float) -> None:
        """Nothing is known to doubt the reading by: the level may be half as far off as it says, by 1 sd."""
        self.a00 = max(self.a00, UNDOUBTED * innovation * innovation - var)

    def _weight(
        self, x: float, innovation: float, var: float, alike: Surprise | None, *, vetted: bool
    ) -> float:
        """The chance that a reading is of this bottle at all, unless something speaks for it."""
        weight = chance_right(innovation, self.a00 + var, alike)
        if weight > 0.5:
            self.suspect = None
            return 1.0 if vetted and weight > DOUBTED_BELOW else weight
        if self._agrees(x, var):
            self.suspect = None
            self.a00 += innovation * innovation
            return 1.0
        self.suspect = x
        return weight

    def _one_of_two(self, x: float, innovation: float, usual_sd: float) -> float:
        """Of two rows that contradict each other either may be wrong: the likelier nearer the usual places.

        The level is left open as far as they are apart, until a third row tells.
        """
        self.a00 += innovation * innovation
        apart = min(FARTHEST, max(-FARTHEST, 0.5 * (x * x - self.level * self.level) / (usual_sd * usual_sd)))
        return 1.0 / (1.0 + math.exp(apart))

    def _agrees(self, x: float, var: float) -> bool:
        """Whether the reading before was doubted and said the same."""
        return self.suspect is not None and abs(x - self.suspect) < 2.0 * math.sqrt(2.0 * var) + 3.0

    def _judge(self, x: float, innovation: float, own_var: float, scales: Scales) -> None:
        """Let the group learn from the reading how noisy and how restless it is."""
        if self.landed:
            scales.landed(innovation, own_var)
        scales.take(self.guesses, x, self.since, own_var)
        self.landed = False
        self.since = Since()

    def _attribute_jump(self, step: float) -> None:
        """Correct what settling and creep started from by the share of the innovation that was the jump."""
        if self.jump_var <= 0.0:
            return
        correction = step * self.jump_var
        self.settle += correction
        if self.moves:
            self.moves[-1].x += correction
        self.jump_var = 0.0

    def _gain(self, step: float, shrink: float, row: tuple[float, float, float, float, float]) -> None:
        """Move the state along a row of the covariance by a step, and take its square out of it."""
        g0, g1, g2, g3, g4 = row
        self.level += g0 * step
        self.leak += g1 * step
        self.per_k += g2 * step
        self.settling += g3 * step
        self.creep += g4 * step
        s0, s1, s2, s3 = g0 * shrink, g1 * shrink, g2 * shrink, g3 * shrink
        self.a00 -= g0 * s0
        self.a01 -= g1 * s0
        self.a02 -= g2 * s0
        self.a03 -= g3 * s0
        self.a04 -= g4 * s0
        self.a11 -= g1 * s1
        self.a12 -= g2 * s1
        self.a13 -= g3 * s1
        self.a14 -= g4 * s1
        self.a22 -= g2 * s2
        self.a23 -= g3 * s2
        self.a24 -= g4 * s2
        self.a33 -= g3 * s3
        self.a34 -= g4 * s3
        self.a44 -= g4 * g4 * shrink


_ALL = attrgetter(*Track.__slots__)
_STATE = (*Track.__slots__[:15], "level", "leak", "per_k", "settling", "creep")
_STATE_OF = attrgetter(*_STATE)
