"""From bottles to a problem of order, and its answer back.

A bottle should hold through the whole block. One that cannot, or cannot any more for want of time,
should at least be in tune at the downbeat, so those left out are offered once more with only that to
keep; only who is left out then is sacrificed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.air import played_gauge_kpa
from rounds.planning.ordering import (
    AT_ONCE,
    Visit,
    VisitProblem,
    all_on_time,
    at_risk,
    describe,
    solve,
    timed,
    work_ticks,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.planning.beliefs_protocol import BeliefsProtocol
    from rounds.planning.ordering import VisitOrder
    from rounds.rig import Rig

PUMP_STRIKES = 3.0
"""Strikes of a visit with the pump: before, with the head on, after. Common practice, no source."""
PIN_STRIKES = 2.0
PIN_S = 2.0
"""Letting a little air out at the valve."""
WALK_S = 2.0
"""From one bottle to the next."""
FIRST_CHANGE_CENTS = 200.0
"""Change of a bottle while nothing was heard of any: it may be near its note, or just filled. Our guess."""
FAR_CENTS = 100.0
"""A change larger than this often takes a second visit, since nobody knows how much of it settles back."""
SECOND_VISITS = 0.35
"""Share of such bottles that take one, as played in two worlds (`tests.benchmarks.fills`)."""
GAUGE_S = 6.0
"""Reading a gauge. Common practice, no source."""
FIRST_GAUGES, GAUGED_FROM = 2.0, 0.45
"""So often a bottle is gauged that is brought from far to more than this share of its limit, as played in two
worlds."""
TWICE_CENTS = 600.0
"""Cents of a doubled squared frequency."""
_STEP_S = 0.5


def work_of(rig: Rig, beliefs: BeliefsProtocol, bottle_id: str, change_cents: float | None) -> float:
    """Seconds that a visit takes, second visits of bottles brought from far counted in.

    Args:
        change_cents: up to the aim; None for a bottle of which nothing is known.
    """
    bottle, habits = rig.bottle(bottle_id), rig.habits
    change = FIRST_CHANGE_CENTS if change_cents is None else change_cents
    if change <= 0.0:
        return WALK_S + PIN_S + PIN_STRIKES * habits.strike_s
    hz2 = rig.target_hz(bottle_id) ** 2 * (1.0 - math.exp2(-change / TWICE_CENTS))
    strokes = hz2 / max(1e-9, abs(beliefs.gain(bottle_id, bottle.pump).mean))
    far_s = _from_far_s(rig, bottle_id) if change > FAR_CENTS else 0.0
    return WALK_S + habits.connect_s + PUMP_STRIKES * habits.strike_s + strokes * habits.stroke_s + far_s


def _from_far_s(rig: Rig, bottle_id: str) -> float:
    """What comes on top where a bottle is brought from far: second visits, and gauges near its limit."""
    habits = rig.habits
    again_s = SECOND_VISITS * (WALK_S + habits.connect_s + PIN_STRIKES * habits.strike_s)
    may_read = rig.pump_of(bottle_id).gauge is not False
    high = played_gauge_kpa(rig.bottle(bottle_id).note.midi) > GAUGED_FROM * rig.limit_kpa(bottle_id)
    return again_s + (FIRST_GAUGES * GAUGE_S if high and may_read else 0.0)


def job(rig: Rig, bottle_id: str, pump: str | None, work_s: float, hold_s: float, weight: float) -> Visit:
    """A visit as the solver sees it, times in half seconds to keep its numbers small."""
    bottle = rig.bottle(bottle_id)
    return Visit(
        id=bottle_id,
        pump=pump,
        work_s=_STEP_S * round(work_s / _STEP_S),
        hold_s=_STEP_S * round(hold_s / _STEP_S),
        rail=bottle.rail,
        position_m=bottle.position_cm / 100.0,
        weight=weight,
    )


@dataclass(frozen=True)
class Solved:
    """The order, and who is in tune at the downbeat only."""

    order: VisitOrder
    short_lived: tuple[str, ...]


def solved(problem: VisitProblem, block_s: float, previous: Sequence[str] = ()) -> Solved:
    """Order visits that should hold through a block, or else be in tune at the downbeat.

    Args:
        previous: an order the player has seen, kept where it is as good.
    """
    whole = replace(problem, visits=tuple(replace(v, keep_s=block_s) for v in problem.visits))
    found = solve(whole, AT_ONCE)
    late = frozenset(found.left_out)
    if late:
        whole, found = _at_least_at_downbeat(whole, late)
    found = _steady(whole, found, previous)
    return Solved(found, tuple(i for i in found.order if i in late))


def _at_least_at_downbeat(problem: VisitProblem, late: frozenset[str]) -> tuple[VisitProblem, VisitOrder]:
    """Offer the late ones once more; put those that hold for a part of the block last, if that is free."""
    visits = tuple(replace(v, keep_s=0.0) if v.id in late else v for v in problem.visits)
    eased = replace(problem, visits=visits)
    found = solve(eased, AT_ONCE)
    short = set(found.order) & late
    together_s = sum(v.work_s for v in eased.visits if v.id in short) + sum(problem.setup_s.values())
    kept = tuple(
        replace(v, keep_s=max(0.0, v.hold_s - problem.quarantine_s - together_s)) if v.id in short else v
        for v in eased.visits
    )
    pressed = replace(eased, visits=kept)
    last = solve(pressed, AT_ONCE)
    same = (last.late_weight, last.connections, last.pump_changes)
    if same == (found.late_weight, found.connections, found.pump_changes):
        return pressed, last
    return eased, found


def _steady(problem: VisitProblem, found: VisitOrder, previous: Sequence[str]) -> VisitOrder:
    """The visits in the order the player has seen, new ones put in, if nothing is lost by that."""
    by_id = {v.id: v for v in problem.visits}
    fresh = [by_id[i] for i in found.order]
    kept = [by_id[i] for i in _put_in(found.order, previous)]
    told = describe(problem, kept, found.proved)
    times, before = timed(problem, kept[::-1]), timed(problem, fresh[::-1])
    same = told.pump_changes <= found.pump_changes and all_on_time(problem, times)
    fits = work_ticks(problem, kept) <= work_ticks(problem, fresh)
    return told if same and fits and at_risk(problem, times) <= at_risk(problem, before) else found


def _put_in(order: Sequence[str], previous: Sequence[str]) -> list[str]:
    """The previous order without what is done; what is new comes after its neighbour in the new order."""
    kept = [i for i in previous if i in set(order)]
    if not kept:
        return list(order)
    for place, i in enumerate(order):
        if i not in kept:
            kept.insert(kept.index(order[place - 1]) + 1 if place else 0, i)
    return kept
