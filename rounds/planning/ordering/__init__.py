"""The order of visits, behind one `solve`: a problem in, the best order out.

`problem` words what is asked; `families` and `states` lay it out in whole numbers; `latest` bounds it,
`search` finds the exact order, `greedy` a good one where the exact search grows too large; `best` chooses
between them; `arrange` puts what was chosen into a row.
"""

from __future__ import annotations

from rounds.planning.ordering.arrange import all_on_time, at_risk, timed
from rounds.planning.ordering.best import AT_ONCE
from rounds.planning.ordering.problem import Visit, VisitOrder, VisitProblem
from rounds.planning.ordering.solving import describe, solve, work_ticks

__all__ = [
    "AT_ONCE",
    "Visit",
    "VisitOrder",
    "VisitProblem",
    "all_on_time",
    "at_risk",
    "describe",
    "solve",
    "timed",
    "work_ticks",
]
