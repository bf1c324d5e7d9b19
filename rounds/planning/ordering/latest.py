"""The latest start from which the rest can still be done, for every state and every budget of weight.

Going back from the downbeat: for each state, pump in hand and budget of weight that may still be
left out, the latest tick at which one may be there. It is the exact answer to "least weight late"
when weights are small whole numbers, and a lower bound, by which the search in `labels` is pruned,
when they are not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.planning.ordering.families import Whole
    from rounds.planning.ordering.states import States, Step

    Ticks = NDArray[np.floating]

_EXACT_IN_SINGLE = 2**24
"""Whole numbers up to here are exact in single precision, which is twice as fast."""


@dataclass(frozen=True)
class LatestStarts:
    """`layers[K][plane, state, column]`: latest tick.

    Column 0 stands for a budget that is too small; column j for the budget low[K] + j - 1. Budgets
    above the last column are as good as the last one.
    """

    layers: list[Ticks]
    low: list[int]
    budgets: int
    """The largest budget tabled."""

    def at(self, layer: int, plane: Whole, state: Whole, budget: Whole) -> Ticks:
        """Latest ticks for given states and budgets."""
        table = self.layers[layer]
        column = _within(budget - self.low[layer] + 1, table.shape[2] - 1)
        found: Ticks = table[plane, state, column]
        return found

    def least_budget(self) -> int | None:
        """Least weight late from the very beginning, None when it is above the table."""
        enough = np.flatnonzero(self.layers[0][:, 0, :].max(axis=0) >= 0.0)
        return self.low[0] + int(enough[0]) - 1 if len(enough) else None


def latest_starts(states: States, least: int, most: int, tick: int = 1) -> LatestStarts:
    """Fill the table from the last layer to the first, for start budgets from `least` to `most`.

    Args:
        tick: common divisor of all times; keeps the numbers small.
    """
    builder = _Builder(states, least, most, tick)
    layers = [builder.last()]
    for layer in range(states.layers - 2, -1, -1):
        layers.append(builder.before(layers[-1], layer))
    layers.reverse()
    return LatestStarts(layers, builder.low, most)


class _Builder:
    """Fills one layer from the next."""

    def __init__(self, states: States, least: int, most: int, tick: int) -> None:
        self.states, self.tick = states, tick
        families = states.families
        self.horizon = families.horizon // tick
        small = self.horizon < _EXACT_IN_SINGLE
        self.dtype: np.dtype[np.floating] = np.dtype(np.float32 if small else np.float64)
        self.leaving: Ticks = (states.leaving // tick).astype(self.dtype)
        self.due: list[Ticks] = [(f.due // tick).astype(self.dtype)[:, None] for f in families.families]
        self.work: list[Ticks] = [(f.work // tick).astype(self.dtype)[:, None] for f in families.families]
        weights = np.sort(np.concatenate([f.weight for f in families.families]))[::-1]
        self.one_weight = int(weights[0]) if weights[0] == weights[-1] else None
        heaviest = np.concatenate(([0], np.cumsum(weights)))
        # Before layer K at most the K heaviest were left out, after it at most the rest.
        self.low = [max(0, least - int(w)) for w in heaviest]
        self.high = [min(most, int(w)) for w in heaviest[::-1]]

    def _empty(self, layer: int) -> Ticks:
        columns = max(0, self.high[layer] - self.low[layer] + 1) + 1
        shape = (self.states.planes, self.states.size(layer), columns)
        return np.full(shape, -np.inf, dtype=self.dtype)

    def last(self) -> Ticks:
        """Everything decided: the first pump must have been taken in hand."""
        layer = self.states.layers - 1
        table = self._empty(layer)
        table[:, :, 1:] = (self.horizon - np.where(self.states.charged, self.leaving, 0))[:, None, None]
        return table

    def before(self, after: Ticks, layer: int) -> Ticks:
        """Layer `layer` from layer + 1."""
        table = self._empty(layer)
        same = self._columns(after, layer, np.zeros(1, dtype=np.int64))[0]
        for family, step in enumerate(self.states.steps[layer]):
            if not len(step.here):
                continue
            best = np.maximum(self._made(after, family, step, same), self._left(after, layer, family, step))
            if len(step.here) == table.shape[1]:
                np.maximum(table, best, out=table)
            else:
                table[:, step.here] = np.maximum(table[:, step.here], best)
        return table

    def _columns(self, after: Ticks, layer: int, weight: Whole) -> Whole:
        """The column of the next layer that holds each column's budget less a weight."""
        width = max(0, self.high[layer] - self.low[layer] + 1) + 1
        budget = self.low[layer] - 1 + np.arange(width) - weight[:, None]
        columns = _within(budget - self.low[layer + 1] + 1, after.shape[2] - 1)
        columns[:, 0] = 0
        return columns

    def _made(self, after: Ticks, family: int, step: Step, same: Whole) -> Ticks:
        due, work = self.due[family][step.nth], self.work[family][step.nth]
        if self.states.families.families[family].pump is None:
            pinned: Ticks = np.minimum(after[:, step.there][:, :, same], due) - work
            return pinned
        start: Ticks = np.minimum(after[family, step.there][:, same], due) - work
        charge = self.leaving.copy()
        charge[family] = 0
        charged: Ticks = start[None] - charge[:, None, None]
        return charged

    def _left(self, after: Ticks, layer: int, family: int, step: Step) -> Ticks:
        if self.one_weight is not None:
            columns = self._columns(after, layer, np.array([self.one_weight]))[0]
            return after[:, step.there][:, :, columns]
        weight = self.states.families.families[family].weight[step.nth]
        columns = self._columns(after, layer, weight)
        return after[:, step.there[:, None], columns]


def _within(columns: Whole, last: int) -> Whole:
    """Columns kept between 0 and the last one (`numpy.clip` takes three times as long on short arrays)."""
    return np.minimum(np.maximum(columns, 0), last)
