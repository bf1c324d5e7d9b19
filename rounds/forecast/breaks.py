"""Which breaks of a call sheet a tuning round pays in, and which bottles to touch in each.

Each bottle is a chain of breaks to touch it in, found exactly by dynamic programming: the cost of a
chain is the expected time it is out during takes that need it, plus a price for each visit. What
couples the bottles, the length of a break and the bother of opening a round at all, is met by taking
away the visits that gain least until it fits. Times in UTC seconds, cents off the nominal target.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rounds.belief.in_or_out import LIKELY_OUT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rounds.belief import Beliefs
    from rounds.forecast.callsheet import CallSheet, Slot
    from rounds.rig import Rig

    Floats = NDArray[np.float64]

VISIT_MIN = 2.0
"""A visit must save a needed bottle at least this many minutes of being out during takes."""
ROUND_MIN = 3.0
"""A round must save at least this many minutes beyond what its visits cost."""
VISIT_SD_CENTS = 2.5
"""How far from its aim a visit leaves a bottle, sd. Common practice, no source."""
USUAL_STROKES = 3.0
STEP_S = 120.0
"""Takes are looked at this often."""


@dataclass(frozen=True)
class BreakPlan:
    """One break: touch these bottles, or leave it (none)."""

    slot: Slot
    bottles: tuple[str, ...]
    saved_min: float
    """Bottle-minutes out during later takes that the round saves."""
    work_s: float


@dataclass(frozen=True)
class TakePlan:
    """One take, and how much will be in tune in it after the rounds before it."""

    slot: Slot
    expected_out: float
    """Largest expected number of needed bottles out at a moment of it."""
    doubtful: tuple[str, ...]


@dataclass(frozen=True)
class DayPlan:
    """The whole call sheet. Takes and breaks that are past are left out."""

    breaks: tuple[BreakPlan, ...]
    takes: tuple[TakePlan, ...]
    unknown: tuple[str, ...]
    """Needed bottles that were never heard: nothing can be said of them."""


@dataclass(frozen=True)
class _Frame:
    """The day on a grid: moments of the takes still to come, and the ends of the breaks."""

    now_s: float
    breaks: tuple[Slot, ...]
    takes: tuple[Slot, ...]
    moments_s: Floats
    take_of: NDArray[np.int64]
    step_min: Floats


@dataclass
class _Chain:
    """One bottle: its costs and the breaks it is touched in."""

    bottle: str
    costs: Floats
    """costs[a, b]: weighted minutes out from break a's end (0: now) until break b (last: the end)."""
    chances: dict[tuple[int, int], Floats]
    """The chance to be out at every moment, for a bottle touched at break a and next at break b."""
    needed: NDArray[np.bool_]
    """Whether a take needs the bottle, at every moment."""
    chosen: tuple[int, ...] = ()
    barred: set[int] = field(default_factory=set)

    def choose(self) -> None:
        """The cheapest chain of breaks that are not barred."""
        count = len(self.costs) - 1
        best = [0.0] * (count + 2)
        following = [count + 1] * (count + 2)
        for start in range(count, -1, -1):
            stops = [b for b in range(start + 1, count + 1) if b not in self.barred]
            totals = {b: self.costs[start, b] + VISIT_MIN + best[b] for b in stops}
            totals[count + 1] = self.costs[start, count + 1]
            following[start] = min(totals, key=lambda b: totals[b])
            best[start] = totals[following[start]]
        self.chosen = tuple(_walk(following, count))

    def cost(self) -> float:
        """Weighted minutes out and prices of the chosen chain."""
        return sum(float(self.costs[link]) for link in self.links()) + VISIT_MIN * len(self.chosen)

    def links(self) -> list[tuple[int, int]]:
        """The chosen chain as pairs of a break and the next."""
        return list(itertools.pairwise((0, *self.chosen, len(self.costs))))

    def gain(self, stop: int) -> float:
        """What one of its visits is worth: the cost without it less the cost with it."""
        without = _Chain(self.bottle, self.costs, self.chances, self.needed, barred=self.barred | {stop})
        without.choose()
        return without.cost() - self.cost()


def _walk(following: Sequence[int], count: int) -> list[int]:
    stops: list[int] = []
    at = following[0]
    while at <= count:
        stops.append(at)
        at = following[at]
    return stops


def plan_breaks(
    rig: Rig,
    beliefs: Beliefs,
    sheet: CallSheet,
    now_s: float,
    *,
    temp_c: float | None = None,
    shift_cents: float = 0.0,
) -> DayPlan:
    """Choose breaks and bottles for the rest of a call sheet."""
    frame = _frame(sheet, now_s)
    weights = _weights(rig, frame)
    known = [i for i in weights if beliefs.heard(i)]
    chains = [_chain(rig, beliefs, frame, i, weights[i], now_s, temp_c, shift_cents) for i in known]
    for chain in chains:
        chain.choose()
    _fit(rig, frame, chains)
    _drop_poor_rounds(rig, frame, chains)
    return DayPlan(
        breaks=tuple(_break_plan(rig, frame, chains, k) for k in range(len(frame.breaks))),
        takes=tuple(_take_plan(frame, chains, k) for k in range(len(frame.takes))),
        unknown=tuple(i for i in weights if i not in set(known)),
    )


def _frame(sheet: CallSheet, now_s: float) -> _Frame:
    takes = tuple(s for s in sheet.takes if s.end_s > now_s)
    breaks = tuple(s for s in sheet.breaks if s.end_s > now_s)
    moments: list[float] = []
    take_of: list[int] = []
    steps: list[float] = []
    for k, take in enumerate(takes):
        start_s = max(now_s, take.start_s)
        count = max(1, round((take.end_s - start_s) / STEP_S))
        step_s = (take.end_s - start_s) / count
        moments += [start_s + (j + 0.5) * step_s for j in range(count)]
        take_of += [k] * count
        steps += [step_s / 60.0] * count
    return _Frame(now_s, breaks, takes, np.array(moments), np.array(take_of, dtype=np.int64), np.array(steps))


def _weights(rig: Rig, frame: _Frame) -> dict[str, Floats]:
    """For each bottle that a take needs, its weight at every moment."""
    pieces = {p.name: p for p in rig.pieces}
    rows = {b.id: np.zeros(len(frame.moments_s)) for b in rig.bottles}
    for k, take in enumerate(frame.takes):
        piece = pieces.get(take.name)
        for bottle_id, weight in rig.needed_for((piece,) if piece is not None else ()).items():
            rows[bottle_id][frame.take_of == k] = weight
    return {i: row for i, row in rows.items() if row.any()}


def _chain(
    rig: Rig,
    beliefs: Beliefs,
    frame: _Frame,
    bottle_id: str,
    weights: Floats,
    now_s: float,
    temp_c: float | None,
    shift_cents: float,
) -> _Chain:
    ends_s = [b.end_s for b in frame.breaks]
    moments_s = frame.moments_s
    minutes = [(t - now_s) / 60.0 for t in (*moments_s, *ends_s)]
    means, sds = beliefs.path(bottle_id, now_s, minutes, temp_c)
    count, last = len(moments_s), len(ends_s) + 1
    paths = _Paths(means[:count], sds[:count], rig.bottle(bottle_id).tolerance_cents, shift_cents)
    costs = np.zeros((last, last + 1))
    chances: dict[tuple[int, int], Floats] = {}
    for start in range(last):
        mean, sd = (float(v[count + start - 1]) for v in (means, sds))
        back = beliefs.settling(bottle_id, shift_cents - mean).mean
        since_s = now_s if start == 0 else ends_s[start - 1]
        for stop in range(start + 1, last + 1):
            until_s = np.inf if stop == last else ends_s[stop - 1]
            inside = (moments_s >= since_s) & (moments_s < until_s)
            out = paths.untouched() if start == 0 else paths.touched(mean, sd, back, inside)
            chances[start, stop] = out
            costs[start, stop] = float(np.sum((out * weights * frame.step_min)[inside]))
    return _Chain(bottle_id, costs, chances, weights > 0.0)


@dataclass(frozen=True)
class _Paths:
    """A bottle's path at the moments of the takes, and the chance to be out on it."""

    means: Floats
    sds: Floats
    tolerance: float
    centre: float

    def untouched(self) -> Floats:
        """Left alone."""
        return self._out(self.means, self.sds)

    def touched(self, mean_then: float, sd_then: float, back: float, inside: NDArray[np.bool_]) -> Floats:
        """Tuned at a time, aimed so that the drift over some moments lies about the middle of the band."""
        drift = self.means - mean_then + back
        grown = np.maximum(0.0, self.sds**2 - sd_then**2)
        span = drift[inside] if inside.any() else np.zeros(1)
        aim = float(np.clip(-0.5 * (span.max() + span.min()), -self.tolerance, self.tolerance))
        return self._out(self.centre + aim + drift, np.sqrt(VISIT_SD_CENTS**2 + grown))

    def _out(self, means: Floats, sds: Floats) -> Floats:
        from scipy.special import ndtr  # slow to import, and faces must start fast

        wide = np.maximum(sds, 1e-6)
        high = self.centre + self.tolerance
        low = self.centre - self.tolerance
        return np.asarray(ndtr((low - means) / wide) + ndtr((means - high) / wide))


def _visit_s(rig: Rig) -> float:
    habits = rig.habits
    return 3.0 * habits.strike_s + habits.connect_s + USUAL_STROKES * habits.stroke_s


def _room(rig: Rig, slot: Slot, now_s: float) -> int:
    """How many visits fit into what is left of a break."""
    return max(0, int((slot.end_s - max(now_s, slot.start_s) - rig.habits.quarantine_s) // _visit_s(rig)))


def _fit(rig: Rig, frame: _Frame, chains: list[_Chain]) -> None:
    """Bar the visits that gain least from breaks too short for all of them."""
    crowded = True
    while crowded:
        crowded = False
        for k, slot in enumerate(frame.breaks, 1):
            inside = sorted((c for c in chains if k in c.chosen), key=lambda c: c.gain(k))
            for chain in inside[: max(0, len(inside) - _room(rig, slot, frame.now_s))]:
                chain.barred.add(k)
                chain.choose()
                crowded = True


def _drop_poor_rounds(rig: Rig, frame: _Frame, chains: list[_Chain]) -> None:
    """Give up rounds that save too little, the poorest first."""
    while True:
        savings = {k: _round_gain(chains, k) for k in range(1, len(frame.breaks) + 1)}
        poor = {k: s for k, s in savings.items() if s is not None and s < ROUND_MIN}
        if not poor:
            return
        worst = min(poor, key=lambda k: poor[k])
        for chain in chains:
            chain.barred.add(worst)
            chain.choose()
        _fit(rig, frame, chains)


def _round_gain(chains: list[_Chain], k: int) -> float | None:
    gains = [c.gain(k) for c in chains if k in c.chosen]
    return sum(gains) if gains else None


def _break_plan(rig: Rig, frame: _Frame, chains: list[_Chain], index: int) -> BreakPlan:
    touched = [c for c in chains if index + 1 in c.chosen]
    saved = sum(c.gain(index + 1) + VISIT_MIN for c in touched)
    names = tuple(c.bottle for c in touched)
    return BreakPlan(frame.breaks[index], names, saved, _visit_s(rig) * len(names))


def _take_plan(frame: _Frame, chains: list[_Chain], index: int) -> TakePlan:
    here = np.flatnonzero(frame.take_of == index)
    start_s = frame.takes[index].start_s
    rows: dict[str, Floats] = {}
    for chain in chains:
        if chain.needed[here[0]]:
            link = [a for a in chain.links() if a[0] == 0 or frame.breaks[a[0] - 1].end_s <= start_s][-1]
            rows[chain.bottle] = chain.chances[link][here]
    expected = sum(rows.values()) if rows else np.zeros(len(here))
    doubtful = tuple(i for i, row in rows.items() if row.max() >= LIKELY_OUT)
    return TakePlan(frame.takes[index], float(np.max(expected)), doubtful)
