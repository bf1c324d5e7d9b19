"""The best way through a problem of order: bound it by a table, then search it exactly.

Weights that are small whole numbers (after a common factor is taken out) are tabled one by one, and
the table alone then tells the least weight late. Odd weights are tabled in coarser units: rounded to
the nearest they give a good answer, rounded down a bound, and the search between the two is exact.
Only when that search grows beyond all measure, or the pumps are too many for any table, is the good
answer given, and marked as not proved.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.planning.ordering.greedy import in_blocks
from rounds.planning.ordering.latest import latest_starts
from rounds.planning.ordering.search import Search, TooMany, Way
from rounds.planning.ordering.states import States

if TYPE_CHECKING:
    from rounds.planning.ordering.families import Families, Family
    from rounds.planning.ordering.latest import LatestStarts

MOST_ENTRIES = 30_000_000
"""Size of the table of latest starts (corners not cut) up to which weights are taken as they are."""
COARSE_ENTRIES = 4_000_000
COARSE_BUDGETS = 150
"""Size of the table when weights are rounded."""
_MOST_MERGED = 4000


@dataclass(frozen=True)
class Limits:
    """How far the search for a proved answer may go before a good one is given instead.

    States are counts of visits decided for each pump, times pumps in hand. They multiply with every pump:
    with ten pumps there is no table of them any more.
    """

    states: int
    odd_states: int
    """The same where weights are odd."""
    labels: int


THOROUGH = Limits(states=1_500_000, odd_states=200_000, labels=1_500_000)
"""For one who waits for an answer: some seconds at most."""
AT_ONCE = Limits(states=30_000, odd_states=30_000, labels=100_000)
"""For a plan made anew after every strike: nobody must see it being made."""


@dataclass(frozen=True)
class Found:
    """A way, and whether it is proved to be the best."""

    way: Way
    proved: bool = True

    @property
    def rank(self) -> tuple[tuple[int, int, int], int]:
        """For comparing: cost first, then time."""
        return self.way.cost, self.way.ticks


def best_way(families: Families, limits: Limits = THOROUGH) -> Found:
    """The best way, with pumps, by the pin alone, or doing nothing at all."""
    found = [Found(Way((), (families.weight, 0, 0), 0))]
    if families.visits:
        found += _with_pumps(families, limits)
        found += _by_pin_alone(families, limits, min(f.way.cost[0] for f in found))
    return min(found, key=lambda f: f.rank)


def _by_pin_alone(families: Families, limits: Limits, least: int) -> list[Found]:
    """No pump is taken in hand at all (the search always takes one), where that may leave out `least`."""
    pin = families.only_pin()
    if not pin.visits or pin.visits == families.visits or families.weight - pin.weight > least:
        return []
    found = best_way(pin, limits)
    weight, connections, changes = found.way.cost
    cost = (weight + families.weight - pin.weight, connections, changes)
    decisions = tuple(replace(d, family=len(families.families) - 1) for d in found.way.decisions)
    return [Found(Way(decisions, cost, found.way.ticks), found.proved)]


def _with_pumps(families: Families, limits: Limits) -> list[Found]:
    """The best way on which the first pump counts as chosen from the start, if there is one."""
    states = States(families)
    if states.count * states.planes > limits.states:
        return [Found(in_blocks(families), proved=False)]
    tick = common_tick(families)
    unit, least = _unit_and_bound(families, tick, _budgets(families, MOST_ENTRIES))
    if unit == 1:
        table = _table_from(states, least, tick)
        limit = table.least_budget()
        way = None if limit is None else Search(states, table, 1, tick, None).run(limit)
        return [] if way is None else [Found(way)]
    most = min(COARSE_BUDGETS, _budgets(families, COARSE_ENTRIES))
    unit, least = _unit_and_bound(families, tick, most)
    return _with_odd_weights(families, unit, least, tick, limits)


def _with_odd_weights(families: Families, unit: int, least: int, tick: int, limits: Limits) -> list[Found]:
    guess, states = _with_rounded_weights(families, unit, limits), States(families)
    if states.count * states.planes > limits.odd_states:
        return [Found(guess, proved=False)]
    limit = guess.cost[0]
    table = latest_starts(States(families.weighing(unit)), least, limit // unit, tick)
    try:
        way = Search(states, table, unit, tick, limits.labels).run(limit)
    except TooMany:
        finer, _ = _unit_and_bound(families, tick, _budgets(families, MOST_ENTRIES))
        return [Found(_with_rounded_weights(families, finer, limits), proved=False)]
    return [Found(way or guess)]


def _with_rounded_weights(families: Families, unit: int, limits: Limits) -> Way:
    """A way that is best for weights rounded to the nearest unit, at its true weight."""
    rounded = families.weighing(unit, nearest=True)
    if rounded.weight >= families.weight:
        return in_blocks(families)
    found = min(
        (f.way for f in _with_pumps(rounded, limits)), key=lambda w: w.cost, default=in_blocks(families)
    )
    return replace(found, cost=(_weight_left(families, found), *found.cost[1:]))


def _budgets(families: Families, entries: int) -> int:
    """How many budgets a table of so many entries can hold."""
    states = States(families)
    return max(1, entries // (states.count * states.planes))


def _weight_left(families: Families, way: Way) -> int:
    made = sum(int(families.families[d.family].weight[d.visit]) for d in way.decisions if d.made)
    return families.weight - made


def _unit_and_bound(families: Families, tick: int, most: int) -> tuple[int, int]:
    """The finest unit of weight with at most so many budgets to table, and a lower bound in it.

    The bound is the least weight late as if no set-up took time.
    """
    unit = max(1, families.weight // _MOST_MERGED)
    while True:
        merged = families.weighing(unit).merged()
        bound = _least_late(merged.families[0])
        if bound is None:
            least = latest_starts(States(merged), 0, merged.weight, tick).least_budget()
            bound = merged.weight if least is None else least
        if bound <= most:
            return unit, bound
        unit = max(unit + 1, unit * bound // most)


def _least_late(row: Family) -> int | None:
    """Least weight late in one row, earliest due first, when all weigh alike; None where they do not.

    Moore, J. M. (1968), An n job, one machine sequencing algorithm: where one is late, drop the longest.
    """
    if row.weight.min() != row.weight.max():
        return None
    made: list[int] = []
    tick = 0
    for work, due in zip(row.work.tolist(), row.due.tolist(), strict=True):
        heapq.heappush(made, -work)
        tick += work
        if tick > due:
            tick += heapq.heappop(made)
    return int(row.weight[0]) * (len(row) - len(made))


def _table_from(states: States, least: int, tick: int) -> LatestStarts:
    """A table large enough to begin with, from a lower bound upwards."""
    total = states.families.weight
    budgets = min(total, least + 2)
    while True:
        table = latest_starts(states, least, budgets, tick)
        if table.least_budget() is not None or budgets >= total:
            return table
        budgets = min(total, budgets + max(2, budgets // 8))


def common_tick(families: Families) -> int:
    """The largest step of which all times are multiples."""
    numbers = [int(x) for f in families.families for a in (f.work, f.due) for x in a]
    numbers += [f.setup for f in families.families] + [families.horizon]
    return math.gcd(*numbers) or 1
