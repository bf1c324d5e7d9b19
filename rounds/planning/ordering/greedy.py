"""A good order by a plain rule: one block a pump, the cheapest to lose dropped when one would be late.

The rule of Moore (1968) over the whole row of blocks; all orders of a few blocks are tried, many are
improved by moving one at a time. Used where the exact search would grow beyond all measure.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.planning.ordering.search import Decision, Way

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rounds.planning.ordering.families import Families

MOST_PERMUTED = 5
"""Families up to which all orders of them are tried."""
_MOST_STEPS = 1_000_000
"""Looks at one visit, over all orders tried: about a second."""


@dataclass(frozen=True)
class _Job:
    """A visit in a row of blocks, in ticks."""

    place: int
    visit: int
    work: int
    due: int
    weight: int


def in_blocks(families: Families) -> Way:
    """The best way found that keeps the visits of each pump together."""
    places = range(len(families.families))
    if len(places) <= MOST_PERMUTED:
        return _best(families, itertools.permutations(places))
    order = sorted(places, key=lambda p: int(families.families[p].due.min()))
    return _climbed(families, order, max(1, _MOST_STEPS // families.visits**2))


def _best(families: Families, orders: Iterable[Sequence[int]]) -> Way:
    return min((_in_order(families, order) for order in orders), key=_rank)


def _rank(way: Way) -> tuple[tuple[int, int, int], int]:
    return way.cost, way.ticks


def _climbed(families: Families, order: list[int], tries: int) -> Way:
    """Move one block at a time to wherever it does best, from an order on, at most so many tries."""
    best = _in_order(families, order)
    for block, to in itertools.islice(itertools.permutations(tuple(order), 2), tries):
        moved = [p for p in order if p != block]
        moved.insert(order.index(to), block)
        way = _in_order(families, moved)
        if _rank(way) < _rank(best):
            best, order = way, moved
    return best


def _in_order(families: Families, order: Sequence[int]) -> Way:
    row = [job for place in order for job in _jobs(families, place)]
    while True:
        late, ticks = _first_late(families, row)
        if late is None:
            return _way(families, row, ticks)
        row.remove(max(row[: late + 1], key=lambda job: job.work / job.weight))


def _jobs(families: Families, place: int) -> list[_Job]:
    """The visits of one family, earliest due first, as plain numbers."""
    family = families.families[place]
    rows = zip(family.work.tolist(), family.due.tolist(), family.weight.tolist(), strict=True)
    return [_Job(place, visit, *numbers) for visit, numbers in enumerate(rows)]


def _first_late(families: Families, row: Sequence[_Job]) -> tuple[int | None, int]:
    """The first visit of a row that would be late, and the ticks of all when none is.

    Going back, a pump's set-up comes when it is left for another, and the first one's at the very end.
    """
    tick, in_hand = 0, None
    for number, job in enumerate(row):
        if job.place != in_hand and families.families[job.place].pump is not None:
            tick += 0 if in_hand is None else families.families[in_hand].setup
            in_hand = job.place
        tick += job.work
        if tick > job.due or tick + _first_setup(families, in_hand) > families.horizon:
            return number, tick
    return None, tick + _first_setup(families, in_hand)


def _first_setup(families: Families, place: int | None) -> int:
    if place is None or families.families[place].pump == families.mounted:
        return 0
    return families.families[place].setup


def _way(families: Families, row: Sequence[_Job], ticks: int) -> Way:
    pumps = [job.place for job in row if families.families[job.place].pump is not None]
    changes = len(set(pumps)) - (bool(pumps) and families.families[pumps[-1]].pump == families.mounted)
    cost = (families.weight - sum(job.weight for job in row), len(pumps), changes)
    return Way(tuple(Decision(job.place, job.visit, True) for job in row), cost, ticks)
