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
    from rounds.planning.ordering.states import Moves, States

    Ticks = NDArray[np.floating]

_EXACT_IN_SINGLE = 2**24
"""Whole numbers up to here are exact in single precision, which is twice as fast."""
_NO_WEIGHT = np.array(0)


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
    """Fills one layer from the next. Each layer has one state more than there are: one that is never met."""

    def __init__(self, states: States, least: int, most: int, tick: int) -> None:
        self.states, families = states, states.families
        self.pumps, self.planes = families.pumps, np.arange(families.pumps)[:, None]
        self.horizon = families.horizon // tick
        small = self.horizon < _EXACT_IN_SINGLE
        self.dtype: np.dtype[np.floating] = np.dtype(np.float32 if small else np.float64)
        self.leaving: Ticks = (states.leaving // tick).astype(self.dtype)
        self.charge: Ticks = np.tile(self.leaving[:, None], (1, states.planes))
        np.fill_diagonal(self.charge, 0)
        self.due: Ticks = (families.column("due") // tick).astype(self.dtype)
        self.work: Ticks = (families.column("work") // tick).astype(self.dtype)
        self.weight = families.column("weight")
        weights = np.sort(self.weight)[::-1]
        self.one_weight = int(weights[0]) if weights[0] == weights[-1] else None
        heaviest = np.concatenate(([0], np.cumsum(weights)))
        # Before layer K at most the K heaviest were left out, after it at most the rest.
        self.low = [max(0, least - int(w)) for w in heaviest]
        self.high = [min(most, int(w)) for w in heaviest[::-1]]

    def _empty(self, layer: int) -> Ticks:
        shape = (self.states.planes, self.states.size(layer) + 1, self._width(layer))
        return np.full(shape, -np.inf, dtype=self.dtype)

    def _width(self, layer: int) -> int:
        return max(0, self.high[layer] - self.low[layer] + 1) + 1

    def last(self) -> Ticks:
        """Everything decided: the first pump must have been taken in hand."""
        layer = self.states.layers - 1
        table = self._empty(layer)
        table[:, :-1, 1:] = (self.horizon - np.where(self.states.charged, self.leaving, 0))[:, None, None]
        return table

    def before(self, after: Ticks, layer: int) -> Ticks:
        """Layer `layer` from layer + 1."""
        table, moves = self._empty(layer), self.states.moves[layer]
        best = table[:, :-1]
        same = self._columns(after, layer, _NO_WEIGHT)
        np.maximum(self._left(after, layer, moves), self._by_pump(after, same, moves), out=best)
        if len(moves.there) > self.pumps:
            np.maximum(best, self._by_pin(after, same, moves), out=best)
        return table

    def _columns(self, after: Ticks, layer: int, weight: Whole) -> Whole:
        """The column of the next layer that holds each column's budget less a weight."""
        budget = self.low[layer] - 1 + np.arange(self._width(layer)) - weight[..., None]
        columns = _within(budget - self.low[layer + 1] + 1, after.shape[2] - 1)
        columns[..., 0] = 0
        return columns

    def _by_pump(self, after: Ticks, same: Whole, moves: Moves) -> Ticks:
        """The best visit with a pump, which is in hand from there on."""
        if not self.pumps:
            return np.full(1, -np.inf, dtype=self.dtype)
        row = moves.row[: self.pumps]
        start = after[self.planes, moves.there[: self.pumps]][:, :, same]
        start = np.minimum(start, self.due[row][..., None]) - self.work[row][..., None]
        best: Ticks = (start - self.charge[..., None, None]).max(axis=1)
        return best

    def _by_pin(self, after: Ticks, same: Whole, moves: Moves) -> Ticks:
        row = moves.row[-1]
        start = after[:, moves.there[-1]][:, :, same]
        best: Ticks = np.minimum(start, self.due[row][:, None]) - self.work[row][:, None]
        return best

    def _left(self, after: Ticks, layer: int, moves: Moves) -> Ticks:
        """The best visit to leave out."""
        if self.one_weight is not None:
            columns = self._columns(after, layer, np.array(self.one_weight))
            alike: Ticks = after[:, moves.there].max(axis=1)[:, :, columns]
            return alike
        columns = self._columns(after, layer, self.weight[moves.row])
        odd: Ticks = after[:, moves.there[..., None], columns].max(axis=1)
        return odd


def _within(columns: Whole, last: int) -> Whole:
    """Columns kept between 0 and the last one (`numpy.clip` takes three times as long on short arrays)."""
    return np.minimum(np.maximum(columns, 0), last)
