"""Whom to touch, in which order, aimed where, with how many strokes: the fewest connections that do."""

from __future__ import annotations

from rounds.planning.dose import Dose, dose
from rounds.planning.order import solve
from rounds.planning.plan import Asked, PlannedVisit, RoundPlan, plan_round
from rounds.planning.problem import Visit, VisitOrder, VisitProblem
from rounds.planning.together import Listened, parallel_plans, whose_strike

__all__ = [
    "Asked",
    "Dose",
    "Listened",
    "PlannedVisit",
    "RoundPlan",
    "Visit",
    "VisitOrder",
    "VisitProblem",
    "dose",
    "parallel_plans",
    "plan_round",
    "solve",
    "whose_strike",
]
