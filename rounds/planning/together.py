"""Two people, two pumps: a plan for each, done at the same time.

Each has the bottles of their own pumps, so nobody waits for a pump; the reference shifts for both
alike. Pumps are shared out by work, bottles never heard counted as if they needed air.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.planning.plan import RoundPlan, plan_round
from rounds.planning.problem_of import work_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rounds.planning.beliefs_protocol import BeliefsProtocol
    from rounds.planning.plan import Asked
    from rounds.rig import Rig


def parallel_plans(rig: Rig, beliefs: BeliefsProtocol, asked: Asked, people: int) -> tuple[RoundPlan, ...]:
    """One plan per person, to be done at the same time.

    Raises:
        BadInput: there are more people than pumps.
    """
    check_pumps(rig, people)
    everything = plan_round(rig, beliefs, asked)
    if people == 1:
        return (everything,)
    settled = replace(asked, shift_cents=everything.shift_cents)
    pumps_of = _shares(_work(rig, beliefs, everything), people)
    plans = [_share_of(rig, beliefs, settled, pumps) for pumps in pumps_of]
    return tuple(
        replace(p, shift_saves=everything.shift_saves, shift_refused=everything.shift_refused) for p in plans
    )


def check_pumps(rig: Rig, people: int) -> None:
    """See that each has a pump.

    Raises:
        BadInput: there are more people than pumps.
    """
    if people > len(rig.pumps):
        raise BadInput(f"{people} people need as many pumps; {rig.name} has {len(rig.pumps)}")


def bottles_of_each(
    rig: Rig, beliefs: BeliefsProtocol, asked: Asked, people: int
) -> tuple[tuple[str, ...], ...]:
    """All bottles of the rig, by the person whose pumps they have; nothing to share for one person.

    Raises:
        BadInput: there are more people than pumps.
    """
    check_pumps(rig, people)
    if people == 1:
        return ()
    pumps_of = _shares(_work(rig, beliefs, plan_round(rig, beliefs, asked)), people)
    return tuple(tuple(b.id for b in rig.bottles if b.pump in pumps) for pumps in pumps_of)


def side_by_side(plans: Sequence[RoundPlan]) -> RoundPlan:
    """Plans of several people as one: what is left to do, and how long it takes when all work at once."""
    spare = [p.finish_before_downbeat_s for p in plans if p.finish_before_downbeat_s is not None]
    return replace(
        plans[0],
        visits=tuple(v for p in plans for v in p.visits),
        left_alone={b: why for p in plans for b, why in p.left_alone.items()},
        sacrificed=tuple(b for p in plans for b in p.sacrificed),
        listen=tuple(b for p in plans for b in p.listen),
        work_s=max(p.work_s for p in plans),
        finish_before_downbeat_s=min(spare, default=None),
        connections=sum(p.connections for p in plans),
        pump_changes=sum(p.pump_changes for p in plans),
        short_lived=tuple(b for p in plans for b in p.short_lived),
        pumps=tuple(p for plan in plans for p in plan.pumps),
    )


def _share_of(rig: Rig, beliefs: BeliefsProtocol, asked: Asked, pumps: Sequence[str]) -> RoundPlan:
    """The plan of the person who has these pumps."""
    theirs = {b: w for b, w in asked.needed.items() if rig.has_bottle(b) and rig.bottle(b).pump in pumps}
    mounted = asked.mounted if asked.mounted in pumps else None
    found = plan_round(rig, beliefs, replace(asked, needed=theirs, mounted=mounted))
    return replace(found, pumps=tuple(pumps))


def _work(rig: Rig, beliefs: BeliefsProtocol, plan: RoundPlan) -> dict[str, float]:
    """Seconds of work for each pump."""
    work = {p.id: 0.0 for p in rig.pumps}
    for visit in plan.visits:
        work[rig.bottle(visit.bottle).pump] += visit.work_s
    for bottle in plan.listen:
        work[rig.bottle(bottle).pump] += rig.habits.strike_s
        if not beliefs.heard(bottle):
            work[rig.bottle(bottle).pump] += work_of(rig, beliefs, bottle, None)
    return work


def _shares(work: Mapping[str, float], people: int) -> list[list[str]]:
    """Pumps per person, so that the longest share of the work is as short as can be."""
    best: list[list[str]] = []
    longest = math.inf
    for whose in itertools.product(range(people), repeat=len(work)):
        shares = [
            [p for p, who in zip(work, whose, strict=True) if who == person] for person in range(people)
        ]
        most = max(sum(work[p] for p in share) for share in shares)
        if all(shares) and most < longest:
            best, longest = shares, most
    return best
