"""The order of visits: exact in weight late, connections and pump changes.

Dynamic programming over counts of families, after Monma & Potts 1989; Moore 1968 is the case of one
pump, equal weights and no set-up. Set-ups run backwards here: the pump of the last block (the first
in reversed time) is charged when it is left, and the pump of the very first visit at the end unless
it is in hand already. Charging on arrival, as in the textbook, is wrong in this direction.

docs/planning.md words the contract, every interpretation of it, and the proof.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

from rounds.planning.ordering.arrange import arranged, timed
from rounds.planning.ordering.best import THOROUGH, best_way
from rounds.planning.ordering.families import TICKS_PER_S, families_of, to_ticks
from rounds.planning.ordering.problem import VisitOrder

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.planning.ordering.best import Limits
    from rounds.planning.ordering.problem import Visit, VisitProblem


def solve(problem: VisitProblem, limits: Limits = THOROUGH) -> VisitOrder:
    """Which bottles to visit and in which order, within the limits proved to be the best."""
    families = families_of(problem)
    found = best_way(families, limits)
    made = [families.families[d.family].visits[d.visit] for d in found.way.decisions if d.made]
    backwards = arranged(problem, [problem.visits[i] for i in made])
    return describe(problem, backwards[::-1], found.proved)


def describe(problem: VisitProblem, order: Sequence[Visit], proved: bool = True) -> VisitOrder:
    """An order of doing with all its costs; the visits not in it are left out."""
    ids = {v.id for v in order}
    out = [v for v in problem.visits if v.id not in ids]
    return VisitOrder(
        order=tuple(v.id for v in order),
        left_out=tuple(v.id for v in out),
        late_weight=math.fsum(v.weight for v in out),
        connections=sum(v.pump is not None for v in order),
        pump_changes=pump_changes(problem, order),
        finish_before_downbeat_s=problem.quarantine_s,
        work_s=work_ticks(problem, order) / TICKS_PER_S,
        proved=proved,
    )


def pump_changes(problem: VisitProblem, order: Sequence[Visit]) -> int:
    """How often a pump is taken in hand, the first time included unless it is in hand already."""
    pumps = [problem.mounted, *(v.pump for v in order if v.pump is not None)]
    return sum(a != b for a, b in itertools.pairwise(pumps))


def work_ticks(problem: VisitProblem, order: Sequence[Visit]) -> int:
    """From the first hand movement to the end of the last visit."""
    times = timed(problem, order[::-1])
    first = next((v.pump for v in order if v.pump is not None), None)
    setup = 0.0 if first is None or first == problem.mounted else problem.setup_s.get(first, 0.0)
    return (times[-1].end if times else 0) + to_ticks(setup)
