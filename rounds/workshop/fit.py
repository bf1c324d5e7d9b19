"""Which bottle of the shelf plays which note: an exact assignment.

In this order of importance, whatever the rest costs: as many notes filled as the shelf allows, as
few of them beyond the reliable range as possible, and pressures as close to the usual ones as
possible (the sum of |log2(pressure / usual pressure)|). The three are one cost with weights that
cannot outvote each other, solved by `scipy.optimize.linear_sum_assignment`; every note also has a
"no bottle" column of its own, so a note is left empty by choice of the optimum, not by accident.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.notes import STANDARD_A4_HZ
from rounds.rig import USUAL_BARREL_ML
from rounds.workshop.range import BEYOND, REFUSED, need_on_line, usual_need, usual_shell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.notes import Note
    from rounds.workshop.range import Need
    from rounds.workshop.shelf import ShelfLine

_LEAST_KPA = 1.0
_MOST_OCTAVES = 10.0
"""Pressures ten octaves off count no more than that, so the last term stays below the weights."""


@dataclass(frozen=True)
class Fit:
    """A note and the shelf line that plays it; without a line it is what the usual bottle needs."""

    need: Need
    line: ShelfLine | None


@dataclass(frozen=True)
class ShelfPlan:
    """The assignment, low to high, and how many bottles of each line (by id) are left over."""

    fits: tuple[Fit, ...]
    left_over: dict[str, int]

    @property
    def unfilled(self) -> tuple[Note, ...]:
        """Notes that no bottle of the shelf plays."""
        return tuple(f.need.note for f in self.fits if f.line is None)


def misfit(need: Need) -> float:
    """How far a pressure is from the usual one of its note, 0 to 1."""
    usual_kpa = max(_LEAST_KPA, usual_shell(need.note).gauge_kpa(need.hz))
    octaves = abs(math.log2(max(_LEAST_KPA, need.gauge_kpa or 0.0) / usual_kpa))
    return min(octaves, _MOST_OCTAVES) / _MOST_OCTAVES


def cost_of(need: Need, notes: int) -> float:
    """The cost of one bottle at one note among so many notes; `empty_cost` is that of none."""
    if need.standing in REFUSED:
        return 2.0 * empty_cost(notes)
    return misfit(need) + (notes + 1.0 if need.standing in BEYOND else 0.0)


def empty_cost(notes: int) -> float:
    """The cost of leaving a note empty: more than all other notes together can cost."""
    return (notes + 1.0) ** 2


def fit_shelf(
    notes: Sequence[Note],
    shelf: Sequence[ShelfLine],
    *,
    barrel_ml: float = USUAL_BARREL_ML,
    a4_hz: float = STANDARD_A4_HZ,
) -> ShelfPlan:
    """Give every note the bottle that serves the whole instrument best."""
    needs = [[need_on_line(n, line, barrel_ml=barrel_ml, a4_hz=a4_hz) for line in shelf] for n in notes]
    chosen = _assign([[cost_of(n, len(notes)) for n in row] for row in needs], [line.count for line in shelf])
    fits = tuple(
        Fit(usual_need(note, barrel_ml=barrel_ml, a4_hz=a4_hz), None) if k is None else Fit(row[k], shelf[k])
        for note, row, k in zip(notes, needs, chosen, strict=True)
    )
    return ShelfPlan(fits, {line.id: line.count - chosen.count(k) for k, line in enumerate(shelf)})


def _assign(costs: list[list[float]], counts: list[int]) -> list[int | None]:
    """For each row the index of its column, each column used at most its count times; None: left empty."""
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    n = len(costs)
    columns = [k for k, count in enumerate(counts) for _ in range(min(count, n))]
    matrix = np.full((n, len(columns) + n), empty_cost(n))
    for i, row in enumerate(costs):
        matrix[i, : len(columns)] = [row[k] for k in columns]
    _, picked = linear_sum_assignment(matrix)
    return [columns[j] if j < len(columns) else None for j in picked]
