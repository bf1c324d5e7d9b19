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
class Step:
    """Deciding on the next visit of one family from the states `here` of a layer (others have none left)."""

    here: Whole
    there: Whole
    """The states of the next layer that this leads to."""
    nth: Whole
    """Which visit of the family is decided on."""


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
    def steps(self) -> list[list[Step]]:
        """For every layer but the last, the step of each family."""
        return [self._steps_from(states) for states in self._by_layer[:-1]]

    def _steps_from(self, states: Whole) -> list[Step]:
        steps = []
        for i, family in enumerate(self.families.families):
            stride = int(np.prod(self._dims[i + 1 :], dtype=np.int64))
            nth = self._counts[i][states]
            here = np.flatnonzero(nth < len(family))
            steps.append(Step(here, self._place[states[here] + stride], nth[here]))
        return steps
