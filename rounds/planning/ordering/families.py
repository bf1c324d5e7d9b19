"""A problem of order in whole numbers, visits sorted into families.

A family is the visits of one pump; inside it, counted back from the downbeat, the earliest due
goes first (moving a visit with a later due date behind one with an earlier never makes anything
late and never adds a set-up; Monma & Potts 1989). Visits by the pin are a family that needs no
pump in hand. Whole numbers, so that two sums that are equal compare equal.

Time is counted back from the end of all visits: a visit of work p with due date d ends, going
back, at or before d, which says that its hold starts late enough.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rounds.planning.ordering.problem import CAUTIOUS_HOLD

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rounds.planning.ordering.problem import Visit, VisitProblem

    Whole = NDArray[np.int64]

TICKS_PER_S = 1_000_000
"""Times are read to a microsecond."""
_FINEST_WEIGHT = 1e-6
_MOST_WEIGHT_UNITS = 10**10


@dataclass(frozen=True)
class Family:
    """Visits of one pump (or of the pin), earliest due first."""

    pump: str | None
    visits: tuple[int, ...]
    """Places of the visits in the problem."""
    work: Whole
    due: Whole
    cautious_due: Whole
    """Due dates if every hold were a quarter shorter."""
    weight: Whole
    setup: int
    """Ticks for taking the pump in hand."""

    def __len__(self) -> int:
        return len(self.visits)

    def weighing(self, unit: int, nearest: bool) -> Family:
        """The same with rounded weights."""
        rounded = np.maximum(1, (self.weight + unit // 2) // unit) if nearest else self.weight // unit
        return replace(self, weight=rounded)


@dataclass(frozen=True)
class Families:
    """All families, pumps first, and the ticks there are from now to the end of all visits."""

    families: tuple[Family, ...]
    horizon: int
    mounted: str | None

    @property
    def visits(self) -> int:
        """How many visits are to be decided on."""
        return sum(len(f) for f in self.families)

    @property
    def weight(self) -> int:
        """Weight of all visits together."""
        return sum(int(f.weight.sum()) for f in self.families)

    def column(self, name: str) -> Whole:
        """One number of every visit, family after family: `work`, `due`, `cautious_due` or `weight`."""
        return np.concatenate([getattr(f, name) for f in self.families])

    @property
    def pumps(self) -> int:
        """How many families need a pump in hand; they come first."""
        return sum(f.pump is not None for f in self.families)

    def only_pin(self) -> Families:
        """The same with no pump visit made."""
        return replace(self, families=tuple(f for f in self.families if f.pump is None))

    def merged(self) -> Families:
        """The same as if no set-up took time: one family, earliest due first. Never harder."""
        due = self.column("due")
        order = np.argsort(due, kind="stable")
        one = Family(
            pump=None,
            visits=tuple(int(v) for v in np.concatenate([f.visits for f in self.families])[order]),
            work=self.column("work")[order],
            due=due[order],
            cautious_due=due[order],
            weight=self.column("weight")[order],
            setup=0,
        )
        return replace(self, families=(one,))

    def weighing(self, unit: int, nearest: bool = False) -> Families:
        """The same with weights rounded to whole units: down (never harder), or to the nearest above 0."""
        return replace(self, families=tuple(f.weighing(unit, nearest) for f in self.families))


def to_ticks(seconds: float) -> int:
    """Seconds as whole ticks."""
    return round(seconds * TICKS_PER_S)


def start_due(problem: VisitProblem, visit: Visit, hold_share: float = 1.0) -> int:
    """The latest tick, going back, at which a visit may start so that its bottle still holds."""
    held = to_ticks(visit.hold_s * hold_share)
    return held - to_ticks(visit.keep_s) - to_ticks(problem.quarantine_s)


def families_of(problem: VisitProblem) -> Families:
    """Sort a problem into families, without the visits that can only be left out."""
    most = sum(to_ticks(v.work_s) for v in problem.visits)
    most += len(problem.visits) * max((to_ticks(s) for s in problem.setup_s.values()), default=0)
    horizon = most
    if problem.available_s is not None:
        horizon = min(most, to_ticks(problem.available_s) - to_ticks(problem.quarantine_s))
    weights = _weight_units([v.weight for v in problem.visits])
    by_pump: dict[str | None, list[int]] = {}
    for i, visit in enumerate(problem.visits):
        hopeless = start_due(problem, visit) < 0 or to_ticks(visit.work_s) > horizon
        if weights[i] > 0 and not hopeless:
            by_pump.setdefault(visit.pump, []).append(i)
    pumps = sorted(by_pump, key=lambda p: (p is None, p or ""))
    return Families(
        tuple(_family(problem, pump, by_pump[pump], weights, horizon) for pump in pumps),
        horizon,
        problem.mounted,
    )


def _family(
    problem: VisitProblem, pump: str | None, places: Sequence[int], weights: Sequence[int], horizon: int
) -> Family:
    work = {i: to_ticks(problem.visits[i].work_s) for i in places}
    due = {i: min(horizon, start_due(problem, problem.visits[i]) + work[i]) for i in places}
    ordered = sorted(places, key=lambda i: (due[i], work[i], i))
    visits = [problem.visits[i] for i in ordered]
    ticks = np.array([work[i] for i in ordered], dtype=np.int64)
    return Family(
        pump=pump,
        visits=tuple(ordered),
        work=ticks,
        due=np.array([due[i] for i in ordered], dtype=np.int64),
        cautious_due=np.array([start_due(problem, v, CAUTIOUS_HOLD) for v in visits], dtype=np.int64) + ticks,
        weight=np.array([weights[i] for i in ordered], dtype=np.int64),
        setup=0 if pump is None else to_ticks(problem.setup_s.get(pump, 0.0)),
    )


def _weight_units(weights: Sequence[float]) -> list[int]:
    """Weights as whole numbers without a common factor, to a millionth or to 1e-10 of their sum."""
    unit = max(_FINEST_WEIGHT, sum(weights) / _MOST_WEIGHT_UNITS)
    whole = [round(w / unit) for w in weights]
    common = math.gcd(*whole) or 1
    return [w // common for w in whole]
