"""The order of visits (first version: blocks of one pump, earliest due first in reversed time)."""

from __future__ import annotations

import heapq
import itertools
from typing import TYPE_CHECKING

from rounds.planning.problem import VisitOrder

if TYPE_CHECKING:
    from rounds.planning.problem import Visit, VisitProblem


def solve(problem: VisitProblem) -> VisitOrder:
    """Whom to visit and in which order."""
    pumps = sorted({v.pump or "" for v in problem.visits})
    tried = (_blocks(problem, order) for order in itertools.permutations(pumps))
    return min(tried, key=lambda o: (o.late_weight, o.connections, o.pump_changes))


def _due(visit: Visit) -> float:
    return visit.hold_s - visit.keep_s + visit.work_s


def _blocks(problem: VisitProblem, pumps: tuple[str, ...]) -> VisitOrder:
    """One block a pump, counted back from the downbeat; the longest visit goes when one would be late."""
    room = float("inf") if problem.available_s is None else problem.available_s
    clock, changes, chosen = problem.quarantine_s, 0, []
    for pump in pumps:
        setup = 0.0 if pump in ("", problem.mounted) else problem.setup_s.get(pump, 0.0)
        block: list[tuple[float, int, Visit]] = []
        spent = 0.0
        for i, visit in enumerate(sorted((v for v in problem.visits if (v.pump or "") == pump), key=_due)):
            heapq.heappush(block, (-visit.work_s, i, visit))
            spent += visit.work_s
            if clock + spent > _due(visit) or clock + spent + setup > room:
                spent += heapq.heappop(block)[0]
        if block:
            chosen += sorted((v for _, _, v in block), key=_due)
            clock += spent + setup
            changes += pump not in ("", problem.mounted)
    ids = {v.id for v in chosen}
    return VisitOrder(
        order=tuple(v.id for v in reversed(chosen)),
        left_out=tuple(v.id for v in problem.visits if v.id not in ids),
        late_weight=sum(v.weight for v in problem.visits if v.id not in ids),
        connections=sum(v.pump is not None for v in chosen),
        pump_changes=changes,
        finish_before_downbeat_s=problem.quarantine_s,
        work_s=clock - problem.quarantine_s,
    )
