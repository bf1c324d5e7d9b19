"""Two people, two pumps: a plan for each, done at the same time, and one microphone between them.

Each has the bottles of their own pumps, so nobody waits for a pump; the reference shifts for both
alike. A strike belongs to the bottle whose believed pitch explains it; where both would, nobody's
reading is taken and both are asked to strike again, one after the other.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.planning.plan import plan_round

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.gauss import Gauss
    from rounds.planning.knows import Knows
    from rounds.planning.plan import Asked, RoundPlan
    from rounds.rig import Rig

SURELY = 20.0
"""One bottle must explain a pitch this many times better than any other."""
ROOM_SD_CENTS = 5.0
"""What the room adds to where a bottle is heard. Common practice, no source."""
FARTHEST_SDS = 4.0
"""A pitch farther than this from a bottle is not that bottle's."""


@dataclass(frozen=True)
class Listened:
    """A bottle somebody was sent to strike, and where its pitch is believed, cents off its target."""

    bottle: str
    target_hz: float
    level: Gauss


def whose_strike(hz: float, sent_to: Sequence[Listened]) -> str | None:
    """The bottle a pitch belongs to among those that people stand at; None when it cannot be told."""
    odds = sorted(((_density(hz, s), s.bottle) for s in sent_to), reverse=True)
    if not odds or odds[0][0] <= 0.0:
        return None
    clear = len(odds) == 1 or odds[0][0] > SURELY * odds[1][0]
    return odds[0][1] if clear else None


def _density(hz: float, sent: Listened) -> float:
    sd = math.hypot(sent.level.sd, ROOM_SD_CENTS)
    z = (1200.0 * math.log2(hz / sent.target_hz) - sent.level.mean) / sd
    return math.exp(-0.5 * z * z) / sd if abs(z) <= FARTHEST_SDS else 0.0


def parallel_plans(rig: Rig, beliefs: Knows, asked: Asked, people: int) -> tuple[RoundPlan, ...]:
    """One plan per person, to be done at the same time.

    Raises:
        BadInput: there are more people than pumps.
    """
    if people > len(rig.pumps):
        raise BadInput(f"{people} people need as many pumps; {rig.name} has {len(rig.pumps)}")
    everything = plan_round(rig, beliefs, asked)
    if people == 1:
        return (everything,)
    settled = replace(asked, shift_cents=everything.shift_cents)
    plans = [_share_of(rig, beliefs, settled, pumps) for pumps in _shares(rig, everything, people)]
    return tuple(
        replace(p, shift_saves=everything.shift_saves, shift_refused=everything.shift_refused) for p in plans
    )


def _share_of(rig: Rig, beliefs: Knows, asked: Asked, pumps: Sequence[str]) -> RoundPlan:
    """The plan of the person who has these pumps."""
    theirs = {b: w for b, w in asked.needed.items() if rig.has_bottle(b) and rig.bottle(b).pump in pumps}
    mounted = asked.mounted if asked.mounted in pumps else None
    found = plan_round(rig, beliefs, replace(asked, needed=theirs, mounted=mounted))
    return replace(found, pumps=tuple(pumps))


def _shares(rig: Rig, plan: RoundPlan, people: int) -> list[list[str]]:
    """Pumps per person, so that the longest share of the work is as short as can be."""
    work = {p.id: 0.0 for p in rig.pumps}
    for visit in plan.visits:
        work[rig.bottle(visit.bottle).pump] += visit.work_s
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
