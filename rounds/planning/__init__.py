"""Which bottles to touch, in which order, aimed where, with how many strokes: by the fewest connections."""

from __future__ import annotations

from rounds.planning.dose import Dose, dose
from rounds.planning.ordering import Visit, VisitOrder, VisitProblem, solve
from rounds.planning.plan import Asked, PlannedVisit, RoundPlan, plan_round
from rounds.planning.together import bottles_of_each, check_pumps, parallel_plans, side_by_side

__all__ = [
    "Asked",
    "Dose",
    "PlannedVisit",
    "RoundPlan",
    "Visit",
    "VisitOrder",
    "VisitProblem",
    "bottles_of_each",
    "check_pumps",
    "dose",
    "parallel_plans",
    "plan_round",
    "side_by_side",
    "solve",
]
