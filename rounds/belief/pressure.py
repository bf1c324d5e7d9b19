"""How much pressure may be in a bottle: everything that is not ruled out, and the highest of it. Pure.

A bottle's shell and the pressure in it are believed together, since neither can be heard alone. The law is
f² = (a + b p)/(1 + C p): the pressurised shell (Fung, Sechler & Kaplan 1957), loaded by the gas that moves
with it (Mir, Shakouri & Ashory 2020, SN Applied Sciences 2:134: gas pressure and density both count; an
enclosed gas adds some 0.08 of the mass of a 0.3 mm wall per bar for two waves round the bottle).

A thousand or so thinkable bottles, spread evenly and always the same ones, are held against what is known:

* a fill: from one pitch (or from empty) strokes led to another. Boyle's law tells the pressure they add;
* a gauge: what it showed at a pitch. It may be off, always by the same, and each reading by a little more.

Each thinkable bottle misses them by so many standard deviations; one miss counts only so far, since one
strike in fifty is misheard. What misses by no more than the best and three standard deviations is not ruled
out, and the upper bound is the highest pressure of any of these: 99.9 % for a normal error. The pitch itself
is the measure of what is still in the bottle, so nothing fades with time.

A gauge that is read in a wrong unit, or whose head is not seated, is wrong in the same way each time. So that
this happened costs once, however often it was read: a reading typed twice settles nothing. What settles it is
what does not come from that dial: strokes, the pitch, or the unit named by the player.

Units: Hz, kPa gauge, full strokes as counted; `stroke_kpa` is what one adds by Boyle with the volumes of the
rig file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from rounds.air import KPA_PER, KPA_PER_PSI, NOTHING_KPA, STIFFNESS_SHARE
from rounds.rig import READING_SD_KPA, SURE_SD

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Truths = NDArray[np.bool_]

POINTS, HIGHEST_POINTS = 1800, 900
"""So many are looked at each time, and so many more where the pressure is highest: that is the bound."""
FEW, STROKES_TOO = 40, 0.3
WIDER = (4.0, 2.0, 1.0)
"""The search begins with wider errors, else it would not find the few bottles that fit many fills."""
RULED_OUT = SURE_SD**2
"""Misses squared and added up: 99.9 % one-sided of a normal distribution."""
GUARD = 0.6
"""Added to it, for the gaps between the bottles that are thought of."""
MISHEARD = 10.0
"""One fill counts for no more: a strike may be misheard, or strokes miscounted. Our guess."""
MISCOUNTED = 13.0
"""The same of a fill that began empty: its beginning cannot be misheard. Our guess."""
CONFIRMED = 20.0
"""The same of a fill whose ends were heard twice: only a slip in counting is left. Our guess."""
NOT_DONE = 3.0
"""That fewer strokes went in than were asked for, where nobody said. A stiff bottle shows the same; nothing
where the pitch is as it was, which no bottle shows after some strokes. Our guess."""
WRONG_UNIT = 4.0
"""That readings are in another unit than they were taken in, or that the head was not seated. Our guess."""
SLIP = 13.0
"""One reading counts for no more: it may be a slip of the eye or the hand. Our guess."""
EMPTY_SHARE = (0.15, 0.70)
"""a / f² at the note: what the empty shell alone sounds like. Our guess."""
USUAL_SHARE, USUAL_SHARE_SD = 0.425, 0.16
"""Inside of that, the middle is likelier than the ends. Our guess."""
SLOPE, SLOPE_SD = (0.47, 1.65), 0.10
"""b, gas and all, beside that of a bottle as is usual for the note. Our guess."""
UNLIKE_ANY = 11.0
"""A slope unlike that of any bottle misses by no more: it takes more than a doubt to believe it, but what
strokes and gauges say twice is believed. Our guess."""
LIKELY_SLOPE_SD = 0.35
"""Of its logarithm, for what is likely rather than possible. Our guess."""
GAS_PER_KPA = (0.0, 0.00095)
"""C: none to a third more than the estimate for a 0.3 mm wall. Our guess."""
FOUND = (0.02, 30.0)
"""The pressure at the pitch that is looked at, beside the usual at the note: least and most. Our guess."""
LARGEST_NEED = 60.0
"""The pressure at the note beside the usual one, at the very most: heavy gas lets some never reach it."""
DELIVERED = (0.42, 2.2)
"""What a stroke adds beside Boyle's law with the rig's volumes: one may be wrong by half. Our guess."""
USUAL_DELIVERED, DELIVERED_SD = 1.0, 0.10
"""Of the logarithm: strokes fall a little short, and labels are a tenth off. Our guess."""
UNLIKELY_VOLUME = 7.0
"""A volume in the rig file that is plainly wrong misses by no more: it is not ruled out by itself."""
HAND_SD, LEAST_HAND = 0.08, 0.07
"""Error of strokes counted, as a share and in strokes. Common practice, no source."""
HOT = 0.35
"""Pumped quickly the gas is hot: the pitch may show so much more than the strokes leave in the end."""
EAR_CENTS = 4.0
GONE = 1e9
_LOGS = [[math.log(x) for x in (found, delivered)] for found, delivered in zip(FOUND, DELIVERED, strict=True)]
WIDEST = np.array([[0.05, GAS_PER_KPA[0], *_LOGS[0]], [0.80, GAS_PER_KPA[1], *_LOGS[1]]])
"""The points that are looked at first: least and most of a / f², C, and the logarithms of the last two."""
LEAST = np.array([0.02, GAS_PER_KPA[0], -12.0, -4.0])
MOST = np.array([0.85, GAS_PER_KPA[1], 6.0, 4.0])
MARGIN = np.array([0.02, 1e-5, 0.02, 0.02])


@dataclass(frozen=True)
class Fill:
    """Strokes between a known beginning and a pitch. `at_most`: as many may have gone in.

    `from_hz` or `from_kpa` is where it began, both None where nobody knows (then it is at least empty).
    """

    strokes: float
    to_hz: float
    from_hz: float | None = None
    from_kpa: float | None = None
    at_most: float | None = None
    begun_surely: bool = False
    ended_surely: bool = False
    """Whether two strikes agreed on its beginning, or it began empty; and on its end."""


@dataclass(frozen=True)
class DialReading:
    """What a gauge showed, and the pitch that was heard beside it, so many strokes later."""

    read_kpa: float
    to_hz: float
    strokes: float = 0.0
    unit: str | None = "psi"
    """What a bare number was taken for; None where the player named the unit."""

    @property
    def may_be_kpa(self) -> tuple[float, ...]:
        """What it showed if it was in another unit than it was taken in."""
        if self.unit is None:
            return ()
        shown = self.read_kpa / KPA_PER.get(self.unit, KPA_PER_PSI)
        return tuple(shown * each_kpa for unit, each_kpa in KPA_PER.items() if unit != self.unit)


@dataclass(frozen=True)
class Kind:
    """What is supposed of a bottle before anything is known: its note, and what is usual for it."""

    target_hz: float
    usual_kpa: float
    stroke_kpa: float
    gauge_sd_kpa: float


@dataclass(frozen=True, eq=False)
class Bottles:
    """The thinkable bottles that are not ruled out, as arrays of one length; `weight` adds up to one."""

    kind: Kind
    share: Floats
    gas: Floats
    need_kpa: Floats
    stroke_kpa: Floats
    as_read: Truths
    """Whether the newest gauge reading is what it seemed, if the bottle is this one."""
    weight: Floats

    def pressures_kpa(self, hz: float) -> Floats:
        """The pressure of each at a pitch; none below empty."""
        shells = _Shells(self.share, self.gas, self.need_kpa)
        return np.maximum(0.0, shells.pressures_kpa((hz / self.kind.target_hz) ** 2))


@dataclass(frozen=True, eq=False)
class _Shells:
    """f² = (a + b p)/(1 + C p), f² beside that of the note; b from the pressure at the note."""

    share: Floats
    gas: Floats
    need_kpa: Floats

    def pressures_kpa(self, relative: Floats | float) -> Floats:
        """Invert the law: p = (f² - a)/(b - C f²). Negative below empty."""
        return np.minimum((relative - self.share) / self._slope(relative), GONE)

    def ears_kpa(self, relative: Floats | float) -> Floats:
        """What a few cents are worth in pressure at a pitch."""
        return EAR_CENTS * math.log(2.0) / 600.0 * relative / self._slope(relative)

    def _slope(self, relative: Floats | float) -> Floats:
        return np.maximum(1e-9, (1.0 - self.share) / self.need_kpa + self.gas * (1.0 - relative))


@lru_cache(maxsize=1024)
def believed(
    kind: Kind,
    fills: tuple[Fill, ...],
    readings: tuple[DialReading, ...] = (),
    lowest_hz: float | None = None,
) -> Bottles:
    """The bottles that all fills leave thinkable. `lowest_hz`: the bottle was heard as low as this once."""
    ways = (True, False) if readings else (True,)
    found = [_Search(kind, fills, readings, lowest_hz, as_read=way).found() for way in ways]
    least = min(float(f.miss.min()) for f in found)
    kept = [f.kept(least + RULED_OUT + GUARD) for f in found]
    weight = np.concatenate([k.weight(kind, least) for k in kept])
    return Bottles(
        kind,
        np.concatenate([k.thought.shells.share for k in kept]),
        np.concatenate([k.thought.shells.gas for k in kept]),
        np.concatenate([k.thought.shells.need_kpa for k in kept]),
        np.concatenate([k.thought.stroke_kpa for k in kept]),
        np.concatenate([np.full(len(k.miss), way) for k, way in zip(kept, ways, strict=True)]),
        weight / weight.sum(),
    )


def _round_about(inside: Floats, count: int) -> tuple[Floats, float]:
    """The points to look at next, and the volume of their box: a little wider than what is not ruled out."""
    middle, widths = inside.mean(axis=0), np.ptp(inside, axis=0) + MARGIN
    away = (inside - middle) / widths
    axes = np.linalg.eigh(away.T @ away)[1]
    along = away @ axes
    low, high = along.min(axis=0), along.max(axis=0)
    margin = 0.1 * (high - low) + 0.02
    sides = high - low + 2.0 * margin
    at: Floats = middle + (low - margin + sides * _even_points(count)) @ axes.T * widths
    return np.clip(at, LEAST, MOST, out=at), float(np.prod(sides) * np.prod(widths))


@lru_cache(maxsize=2)
def _even_points(count: int) -> Floats:
    """Points spread evenly in four dimensions: an additive recurrence with the root of x⁵ = x + 1."""
    root = 1.1673039782614187
    steps = (1.0 / root) ** np.arange(1, 5)
    points: Floats = (0.5 + np.arange(1, count + 1)[:, None] * steps) % 1.0
    return points


@dataclass(frozen=True, eq=False)
class _Thought:
    """Bottles that are thought of: shells, and what a stroke adds."""

    shells: _Shells
    delivered: Floats
    """Logarithm of what a stroke adds beside Boyle's law with the rig's volumes."""
    stroke_kpa: Floats

    def slope_share(self, kind: Kind) -> Floats:
        """b, gas and all, beside the usual."""
        usual = (1.0 - STIFFNESS_SHARE) / kind.usual_kpa
        slope: Floats = (1.0 - self.shells.share) / self.shells.need_kpa / usual
        return slope

    def only(self, keep: Truths) -> _Thought:
        """Some of them."""
        shells = self.shells
        some = _Shells(shells.share[keep], shells.gas[keep], shells.need_kpa[keep])
        return _Thought(some, self.delivered[keep], self.stroke_kpa[keep])


@dataclass(frozen=True, eq=False)
class _Found:
    """What a search came to. `stands_for`: a volume for each point, none for those of the bound."""

    thought: _Thought
    miss: Floats
    stands_for: Floats

    def kept(self, at_most: float) -> _Found:
        """What misses by no more than that."""
        keep = self.miss <= at_most
        return _Found(self.thought.only(keep), self.miss[keep], self.stands_for[keep])

    def weight(self, kind: Kind, least: float) -> Floats:
        """How likely each is, the usual slope likelier."""
        unusual = np.log(self.thought.slope_share(kind)) / LIKELY_SLOPE_SD
        weight: Floats = self.stands_for * np.exp(-0.5 * (self.miss - least + unusual**2))
        return weight


class _Search:
    """What is known of one bottle, held against many that are thought of.

    A point is (a / f², C, log of the pressure at `at_relative`, log of what a stroke adds beside Boyle).
    """

    def __init__(
        self,
        kind: Kind,
        fills: tuple[Fill, ...],
        readings: tuple[DialReading, ...],
        lowest_hz: float | None,
        *,
        as_read: bool,
    ) -> None:
        self.kind, self.readings, self.as_read = kind, readings, as_read
        hz2 = kind.target_hz**2
        self.lowest = None if lowest_hz is None else lowest_hz**2 / hz2
        self.fills = _Fills(kind, fills) if fills else None
        ends = [r.to_hz for r in readings] or [f.to_hz for f in fills[-1:]]
        self.at_relative = max(0.3, ends[-1] ** 2 / hz2) if ends else 1.0
        self.read_to = _column(r.to_hz**2 / hz2 for r in readings)
        self.read_strokes = _column(r.strokes for r in readings)

    def found(self) -> _Found:
        """Look closer and closer, and once more where the pressure is highest: that is the bound."""
        at, volume = WIDEST[0] + (WIDEST[1] - WIDEST[0]) * _even_points(POINTS), 0.0
        for wider in WIDER:
            miss = self.missed(self.thought_of(at), wider)
            few = np.partition(miss, FEW)[FEW]
            at, volume = _round_about(at[miss <= max(miss.min() + RULED_OUT + 2.0 * GUARD, few)], POINTS)
        miss = self.missed(self.thought_of(at), 1.0)
        inside = at[miss <= miss.min() + RULED_OUT + GUARD]
        highest = inside[np.argsort(inside[:, 2] + STROKES_TOO * inside[:, 3])[-FEW:]]
        thought = self.thought_of(np.vstack((at, _round_about(highest, HIGHEST_POINTS)[0])))
        stands_for = np.repeat((volume / POINTS, 0.0), (POINTS, HIGHEST_POINTS))
        return _Found(thought, self.missed(thought, 1.0), stands_for)

    def thought_of(self, at: Floats) -> _Thought:
        """The bottles that points stand for."""
        share, gas, found, delivered = at.T
        found_kpa = self.kind.usual_kpa * np.exp(found)
        above_empty = np.maximum(0.01, self.at_relative - share)
        per_kpa = above_empty - found_kpa * gas * (1.0 - self.at_relative)
        largest = LARGEST_NEED * self.kind.usual_kpa
        need_kpa = np.minimum(largest, found_kpa * (1.0 - share) / np.maximum(1e-9, per_kpa))
        shells = _Shells(share, gas, need_kpa)
        return _Thought(shells, delivered, self.kind.stroke_kpa * np.exp(delivered))

    def missed(self, thought: _Thought, wider: float) -> Floats:
        """How far each misses all that is known, in standard deviations squared."""
        share = thought.shells.share
        unlike = _beyond(np.log(thought.slope_share(self.kind)), _logs(SLOPE), SLOPE_SD)
        miss = _beyond(share, EMPTY_SHARE, 0.05) + ((share - USUAL_SHARE) / USUAL_SHARE_SD) ** 2
        miss += np.minimum(UNLIKE_ANY, unlike)
        off = (thought.delivered - math.log(USUAL_DELIVERED)) / DELIVERED_SD
        miss += np.minimum(off * off, UNLIKELY_VOLUME) + _beyond(thought.delivered, _logs(DELIVERED), 0.03)
        if self.lowest is not None:
            miss += np.minimum(MISHEARD, _beyond(share, (0.0, self.lowest), 0.03))
        if self.fills is not None:
            miss += self.fills.missed(thought, wider)
        return miss + self._misread(thought, wider) if self.readings else miss

    def _misread(self, thought: _Thought, wider: float) -> Floats:
        """How far each misses the gauge, which may have been read in another unit, or not be seated.

        Whether the newest reading is what it seems is looked into apart: the two lie far from one another.
        """
        begun_kpa = thought.shells.pressures_kpa(self.read_to) - self.read_strokes * thought.stroke_kpa
        hand = HAND_SD * self.read_strokes * thought.stroke_kpa
        dial_var = len(self.readings) * self.kind.gauge_sd_kpa**2 + READING_SD_KPA**2
        var = wider**2 * (dial_var + hand**2 + thought.shells.ears_kpa(self.read_to) ** 2)
        shown_kpa = _column(r.read_kpa for r in self.readings)
        hot_kpa = HOT * self.read_strokes * thought.stroke_kpa
        over_kpa = np.maximum(0.0, begun_kpa - shown_kpa - hot_kpa)
        right = (np.maximum(0.0, shown_kpa - begun_kpa) ** 2 + over_kpa**2) / var
        other = np.full_like(right, SLIP)
        for place, reading in enumerate(self.readings):
            for may_be_kpa in reading.may_be_kpa:
                off = (begun_kpa[place] - may_be_kpa) ** 2 / (4.0 * var[place])
                other[place] = np.minimum(other[place], off)
            if reading.read_kpa <= NOTHING_KPA:
                other[place] = 0.0
        slips = np.minimum(right[:-1], SLIP).sum(axis=0)
        wrong = WRONG_UNIT + np.minimum(right, other)[:-1].sum(axis=0)
        if self.as_read:
            found: Floats = right[-1] + np.minimum(slips, wrong)
            return found
        misread: Floats = np.minimum(SLIP + slips, other[-1] + wrong)
        return misread


class _Fills:
    """Fills as arrays: one row a fill, one column a thinkable bottle."""

    def __init__(self, kind: Kind, fills: tuple[Fill, ...]) -> None:
        hz2 = kind.target_hz**2
        self.to = _column(f.to_hz**2 / hz2 for f in fills)
        self.heard = _column(f.from_hz is not None for f in fills) > 0.0
        self.begun = _column((f.from_hz or 0.0) ** 2 / hz2 for f in fills)
        self.begun_kpa = _column(f.from_kpa or 0.0 for f in fills)
        self.unknown_kpa = _column(math.inf if _begun_anywhere(f) else 0.0 for f in fills)
        self.counts = _column(_counts_for(f) for f in fills)
        self.strokes = _column(f.strokes for f in fills)
        self.most = _column(max(f.strokes, f.at_most or 0.0) for f in fills)
        self.may_be_more = bool((self.most > self.strokes).any())

    def missed(self, thought: _Thought, wider: float) -> Floats:
        """How far each misses all fills."""
        shells = thought.shells
        begun_kpa = np.where(self.heard, shells.pressures_kpa(self.begun), self.begun_kpa)
        gained_kpa = shells.pressures_kpa(self.to) - begun_kpa
        ear_var = shells.ears_kpa(self.to) ** 2 + np.where(self.heard, shells.ears_kpa(self.begun) ** 2, 0.0)

        def off_by(strokes: Floats) -> Floats:
            hand = np.where(strokes > 0.0, np.hypot(2.0 * HAND_SD * np.sqrt(strokes), LEAST_HAND), 0.0)
            var = wider**2 * (ear_var + (hand * thought.stroke_kpa) ** 2)
            pumped_kpa = strokes * thought.stroke_kpa
            short_kpa = np.maximum(0.0, pumped_kpa - gained_kpa)
            over_kpa = np.maximum(0.0, gained_kpa - (1.0 + HOT) * pumped_kpa - self.unknown_kpa)
            off: Floats = (short_kpa**2 + over_kpa**2) / var
            return off

        off = off_by(self.most)
        if self.may_be_more:
            off = np.minimum(off, off_by(self.strokes) + np.where(self.strokes > 0.0, NOT_DONE, 0.0))
        total: Floats = np.minimum(self.counts, off).sum(axis=0)
        return total


def _counts_for(fill: Fill) -> float:
    """How much one fill counts for at most."""
    if fill.begun_surely and fill.ended_surely:
        return CONFIRMED
    return MISHEARD if fill.from_kpa is None else MISCOUNTED


def _begun_anywhere(fill: Fill) -> bool:
    return fill.from_hz is None and fill.from_kpa is None


def _column(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=np.float64)[:, None]


def _logs(inside: tuple[float, float]) -> tuple[float, float]:
    return math.log(inside[0]), math.log(inside[1])


def _beyond(value: Floats, inside: tuple[float, float], sd: float) -> Floats:
    """Squared standard deviations outside a range, nothing inside."""
    off = np.maximum(0.0, np.maximum(inside[0] - value, value - inside[1])) / sd
    return off * off
