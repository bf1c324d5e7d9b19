"""The states of the search for an order: how many visits of each family are decided, layer by layer.

A layer holds the states with equally many decided visits. Within a layer a state is a number; a
plane is the pump in hand. Both the table of latest starts and the search walk the same layers, so
each step of either is a handful of numpy operations on all states of a layer at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.planning.ordering.families import Families, Whole


@dataclass(frozen=True)
class Moves:
    """Deciding on the next visit of each family, from every state of a layer.

    Arrays of shape (families, states of the layer). Where a family has no visit left, `open` is false,
    `there` is one past the states of the next layer, and `row` is that of some other visit.
    """

    open: NDArray[np.bool_]
    there: Whole
    """The state of the next layer that this leads to."""
    row: Whole
    """Which visit is decided on: its row in the columns of all families one after the other."""


class States:
    """All states of a problem."""

    def __init__(self, families: Families) -> None:
        self.families = families
        self.layers = families.visits + 1

    @cached_property
    def planes(self) -> int:
        """One per pump in hand; one all the same when there are only visits by the pin."""
        return max(1, sum(f.pump is not None for f in self.families.families))

    @cached_property
    def leaving(self) -> Whole:
        """Ticks it costs to leave a plane, going back: the set-up of its pump."""
        pumps = [f.setup for f in self.families.families if f.pump is not None]
        return np.array(pumps or [0], dtype=np.int64)

    @cached_property
    def charged(self) -> NDArray[np.bool_]:
        """Planes whose pump must be taken in hand before the very first visit: all but the mounted."""
        pumps = [f.pump != self.families.mounted for f in self.families.families if f.pump is not None]
        return np.array(pumps or [False])

    @cached_property
    def count(self) -> int:
        """How many states there are, planes not counted."""
        return math.prod(self._dims)

    @cached_property
    def _dims(self) -> tuple[int, ...]:
        return tuple(len(f) + 1 for f in self.families.families)

    @cached_property
    def _counts(self) -> list[Whole]:
        """Decided visits per family, of every state of the box."""
        return [c.ravel() for c in np.indices(self._dims, dtype=np.int64)]

    @cached_property
    def _by_layer(self) -> list[Whole]:
        layer_of = np.sum(self._counts, axis=0)
        order = np.argsort(layer_of, kind="stable")
        return np.split(order, np.cumsum(np.bincount(layer_of, minlength=self.layers))[:-1])

    @cached_property
    def _place(self) -> Whole:
        """Every state's number within its layer."""
        place = np.empty(self.count, dtype=np.int64)
        for states in self._by_layer:
            place[states] = np.arange(len(states))
        return place

    def size(self, layer: int) -> int:
        """How many states a layer has."""
        return len(self._by_layer[layer])

    @cached_property
    def moves(self) -> list[Moves]:
        """For every layer but the last, what can be decided on."""
        order = np.concatenate(self._by_layer[:-1])
        lengths = np.array(self._dims)[:, None] - 1
        strides = np.array([math.prod(self._dims[i + 1 :]) for i in range(len(self._dims))])[:, None]
        nth = np.stack(self._counts)[:, order]
        open_ = nth < lengths
        row = np.minimum(nth, lengths - 1) + np.cumsum(np.concatenate(([[0]], lengths[:-1])))[:, None]
        sizes = np.array([len(states) for states in self._by_layer])
        there = self._place[np.minimum(order + strides, self.count - 1)]
        there = np.where(open_, there, np.repeat(sizes[1:], sizes[:-1]))
        ends = np.cumsum(sizes[:-1])[:-1]
        parts = (np.split(columns, ends, axis=1) for columns in (open_, there, row))
        return [Moves(*layer) for layer in zip(*parts, strict=True)]
