"""Arrange the visits that were chosen: most slack, then least walking, at no loss of what was found.

The search fixes whom to visit and how the pumps follow each other. Inside a stretch with one pump
the order is still free as far as due dates allow. Slack: fewest bottles late if every hold were a
quarter shorter. Walking: the next bottle is the nearest that may be next. Both are good
orders, not proved best ones. Everything here runs in reversed time, as in `families`.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.planning.ordering.families import start_due, to_ticks
from rounds.planning.ordering.problem import CAUTIOUS_HOLD

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rounds.planning.beliefs_protocol import Floats
    from rounds.planning.ordering.families import Whole
    from rounds.planning.ordering.problem import Visit, VisitProblem

RAIL_STEP_M = 1.0
"""Walking from one rail to the next. Common practice, no source."""


@dataclass(frozen=True)
class Timed:
    """One visit on the reversed clock: it starts at `start` and ends at `end`, going back."""

    visit: Visit
    start: int
    end: int


def timed(problem: VisitProblem, backwards: Sequence[Visit]) -> list[Timed]:
    """Put visits, last one first, on the reversed clock, pumps taken in hand between them."""
    tick, pump, found = 0, None, []
    for visit in backwards:
        if visit.pump is not None:
            if pump not in (None, visit.pump):
                tick += to_ticks(problem.setup_s.get(pump, 0.0))
            pump = visit.pump
        end = tick + to_ticks(visit.work_s)
        found.append(Timed(visit, tick, end))
        tick = end
    return found


def all_on_time(problem: VisitProblem, times: Sequence[Timed]) -> bool:
    """Whether every bottle holds as long as it must."""
    return all(t.start <= start_due(problem, t.visit) for t in times)


def at_risk(problem: VisitProblem, times: Sequence[Timed]) -> int:
    """How many bottles would not hold if holds were a quarter shorter."""
    return sum(t.start > start_due(problem, t.visit, CAUTIOUS_HOLD) for t in times)


def distance_m(one: Visit, other: Visit) -> float:
    """Walking from bottle to bottle."""
    return abs(one.position_m - other.position_m) + RAIL_STEP_M * abs(one.rail - other.rail)


def walk_m(visits: Sequence[Visit]) -> float:
    """Walking through all visits."""
    return sum(distance_m(a, b) for a, b in itertools.pairwise(visits))


def arranged(problem: VisitProblem, backwards: list[Visit]) -> list[Visit]:
    """The same visits, last one first, with more slack and less walking where there is room."""
    careful = _by_cautious_due(problem, backwards)
    times, careful_times = timed(problem, backwards), timed(problem, careful)
    if all_on_time(problem, careful_times) and at_risk(problem, careful_times) < at_risk(problem, times):
        backwards, times = careful, careful_times
    nearer = _nearest_next(problem, times)
    return nearer if walk_m(nearer) < walk_m(backwards) else backwards


def _by_cautious_due(problem: VisitProblem, backwards: Sequence[Visit]) -> list[Visit]:
    """Pumps follow each other as before; each pump's visits go by their due dates at shorter holds."""

    def due(visit: Visit) -> int:
        return start_due(problem, visit, CAUTIOUS_HOLD) + to_ticks(visit.work_s)

    queues: dict[str | None, Iterator[Visit]] = {
        pump: iter(sorted((v for v in backwards if v.pump == pump), key=due))
        for pump in {v.pump for v in backwards}
    }
    return [next(queues[v.pump]) for v in backwards]


def _nearest_next(problem: VisitProblem, times: Sequence[Timed]) -> list[Visit]:
    order: list[Visit] = []
    for stretch in _stretches(times):
        order += _walked(problem, stretch, order[-1] if order else None)
    return order


def _stretches(times: Sequence[Timed]) -> Iterator[list[Timed]]:
    """Cut where another pump is taken in hand."""
    stretch: list[Timed] = []
    pump = None
    for t in times:
        if pump is not None and t.visit.pump not in (None, pump):
            yield stretch
            stretch, pump = [], None
        stretch.append(t)
        pump = t.visit.pump or pump
    yield stretch


def _walked(problem: VisitProblem, stretch: Sequence[Timed], here: Visit | None) -> list[Visit]:
    """Take the nearest visit that delays none of those before it too much, again and again."""
    visits = [t.visit for t in stretch]
    slack = np.array([_slack(problem, t) for t in stretch], dtype=np.int64)
    work = np.array([t.end - t.start for t in stretch], dtype=np.int64)
    rail = np.array([v.rail for v in visits], dtype=float)
    place = np.array([v.position_m for v in visits], dtype=float)
    left = np.arange(len(visits))
    order: list[Visit] = []
    while len(left):
        if here is None:
            chosen = 0
        else:
            away = np.abs(place[left] - here.position_m) + RAIL_STEP_M * np.abs(rail[left] - here.rail)
            chosen = _nearest(away, work[left], slack[left])
        slack[left[:chosen]] -= work[left[chosen]]
        here = visits[left[chosen]]
        order.append(here)
        left = np.delete(left, chosen)
    return order


def _nearest(away: Floats, work: Whole, slack: Whole) -> int:
    """The nearest of those that may go first: all before it can wait for its work."""
    tightest = np.concatenate(([np.iinfo(np.int64).max], np.minimum.accumulate(slack)[:-1]))
    return int(np.where(work <= tightest, away, np.inf).argmin())


def _slack(problem: VisitProblem, t: Timed) -> int:
    """How much later, going back, it may start and still hold if holds are shorter; 0: it is at risk."""
    return max(0, start_due(problem, t.visit, CAUTIOUS_HOLD) - t.start)
