"""The exact search: all undominated ways through the states, least cost first.

Cost is one whole number made of digits, so that comparing numbers compares in the order of
importance: weight late, connections, pump changes, and, where there are not too many visits, how many
would be late if holds were a quarter shorter. Of two ways to the same state with the same pump
in hand, one that is no earlier and no cheaper goes. A way that cannot be finished within the weight
allowed goes too, by the table of latest starts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.planning.ordering.families import Whole
    from rounds.planning.ordering.latest import LatestStarts
    from rounds.planning.ordering.states import States

MOST_WITH_RISK = 80
"""With more visits the search leaves slack to `arrange`: minding it would take ten times as long."""
_LARGEST = 2**62
_MORE_THAN_ALL = np.array([2**63 - 1])


class TooMany(Exception):
    """The search needs more labels than it was allowed."""


@dataclass(frozen=True)
class Decision:
    """One visit, made or left out: family by place, visit by its place in the family."""

    family: int
    visit: int
    made: bool


@dataclass(frozen=True)
class Way:
    """Decisions in the reversed order of doing, and their cost."""

    decisions: tuple[Decision, ...]
    cost: tuple[int, int, int]
    """Weight late, connections, pump changes."""
    ticks: int


class _Labels(NamedTuple):
    """Labels of one layer: state and pump in hand, tick, cost, the label before, the move that led here."""

    state: Whole
    plane: Whole
    tick: Whole
    cost: Whole
    parent: Whole
    move: Whole

    def pick(self, which: Whole) -> _Labels:
        """Some of the labels, in a given order."""
        return _Labels(*(c[which] for c in self))


@dataclass(frozen=True)
class _Trail:
    """What of a layer is kept to trace the way back."""

    parent: NDArray[np.int32]
    move: NDArray[np.int8]


class Search:
    """Forward search through the layers with a limit on the weight late."""

    def __init__(
        self, states: States, table: LatestStarts, unit: int, tick: int, most_labels: int | None
    ) -> None:
        self.states, self.table, self.unit, self.tick = states, table, unit, tick
        self.most_labels = most_labels
        self.digit = states.families.visits + 2
        self.pumps = states.families.pumps
        self.with_risk = states.families.visits <= MOST_WITH_RISK
        columns = ("work", "due", "cautious_due", "weight")
        self.work, self.due, self.cautious_due, self.weight = map(states.families.column, columns)

    def run(self, weight_limit: int) -> Way | None:
        """A best way; None when there is none within the limit.

        Raises:
            TooMany: more labels than allowed.
        """
        planes = np.arange(self.states.planes, dtype=np.int64)
        none = np.zeros_like(planes)
        labels = _Labels(none, planes, none, none, none, none)
        trails: list[_Trail] = []
        total = 0
        for layer in range(self.states.layers - 1):
            labels = self._after(labels, layer, weight_limit)
            trails.append(_Trail(labels.parent.astype(np.int32), labels.move.astype(np.int8)))
            total += len(labels.tick)
            if not len(labels.tick):
                return None
            if self.most_labels is not None and total > self.most_labels:
                raise TooMany
        return self._best(labels, trails)

    def _after(self, labels: _Labels, layer: int, weight_limit: int) -> _Labels:
        moves = self.states.moves[layer]
        place, who = np.nonzero(moves.open[:, labels.state])
        state = labels.state[who]
        row, there = moves.row[place, state], moves.there[place, state]
        before = labels.pick(who)
        left = _Labels(
            there, before.plane, before.tick, before.cost + self.weight[row] * self.digit**3, who, 2 * place
        )
        made = self._made(before, place, row, there, who)
        joined = _Labels(*map(np.concatenate, zip(left, made, strict=True)))
        return self._kept(joined, layer + 1, weight_limit)

    def _made(self, before: _Labels, place: Whole, row: Whole, there: Whole, who: Whole) -> _Labels:
        """The visits made; those that come too late are not among them."""
        by_pump = place < self.pumps
        changes = by_pump & (before.plane != place)
        tick = before.tick + changes * self.states.leaving[before.plane] + self.work[row]
        cost = before.cost + self.digit**2 * by_pump + self.digit * changes
        if self.with_risk:
            cost = cost + (tick > self.cautious_due[row])
        plane = np.where(by_pump, place, before.plane)
        made = _Labels(there, plane, tick, cost, who, 2 * place + 1)
        return made.pick(np.flatnonzero(tick <= self.due[row]))

    def _kept(self, labels: _Labels, layer: int, weight_limit: int) -> _Labels:
        """Without labels that cannot be finished within the limit, and without dominated ones."""
        budget = (weight_limit - labels.cost // self.digit**3) // self.unit
        latest = self.table.at(layer, labels.plane, labels.state, budget)
        alive = labels.pick(np.flatnonzero(labels.tick // self.tick <= latest))
        code = alive.state * self.states.planes + alive.plane
        # Of two that are equal, the one by an earlier family, left out rather than made.
        order = np.lexsort((alive.move, alive.cost, alive.tick, code))
        staged = _staged(alive.cost[order], code[order])
        before = np.minimum.accumulate(np.concatenate((_MORE_THAN_ALL, staged)))[:-1]
        return alive.pick(order[staged < before])

    def _best(self, labels: _Labels, trails: list[_Trail]) -> Way:
        charged = self.states.charged[labels.plane]
        cost = labels.cost + self.digit * charged
        at = int(np.lexsort((labels.tick, cost))[0])
        rest, changes = divmod(int(cost[at]) // self.digit, self.digit)
        weight, connections = divmod(rest, self.digit)
        ticks = int(labels.tick[at] + charged[at] * self.states.leaving[labels.plane[at]])
        return Way(self._trace(at, trails), (weight, connections, changes), ticks)

    def _trace(self, at: int, trails: list[_Trail]) -> tuple[Decision, ...]:
        counts = [len(f) for f in self.states.families.families]
        decisions = []
        for trail in reversed(trails):
            family, made = divmod(int(trail.move[at]), 2)
            counts[family] -= 1
            decisions.append(Decision(family, counts[family], bool(made)))
            at = int(trail.parent[at])
        return tuple(reversed(decisions))


def _staged(cost: Whole, code: Whole) -> Whole:
    """Costs lowered from state to state, so that one running minimum serves all states in turn."""
    if not len(cost):
        return cost
    low = cost - cost.min()
    if (int(low.max()) + 1) * (int(code.max()) + 1) >= _LARGEST:
        low = np.unique(cost, return_inverse=True)[1].astype(np.int64)
    staged: Whole = low - code * (int(low.max()) + 1)
    return staged
