"""Whether a bottle is good enough to be left: in its band now or at the downbeat, no visit planned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.guide.filling import (
    stands_off,
)

if TYPE_CHECKING:
    from rounds.guide.situation import Situation
    from rounds.rig import Bottle

ACCEPT_SHARE = 0.3
"""A visit is good when the pitch is within this share of the tolerance around the aim."""
REVISIT_SHARE = 0.6
"""The same with the pump off again, inside the band: below this another connection is not worth it."""
SECOND_WORTH = 0.4
"""A bottle left in tune by its visit is visited again only to save so many bottles out, in expectation."""
ACCEPT_FLOOR_CENTS = 2.0
ROUGH_FROM_CENTS = 100.0
"""A change larger than this is made in two visits, a rough one and, once it has settled, a fine one."""
ROUGH_SHARE = 0.08


def inside(now: Situation, bottle_id: str, at_s: float) -> bool:
    level = now.beliefs.level(bottle_id, at_s)
    return abs(level.mean - now.state.shift_cents) <= now.rig.bottle(bottle_id).tolerance_cents


def inside_at_downbeat(now: Situation, bottle_id: str) -> bool:
    return inside(now, bottle_id, max(now.now_s, now.downbeat_s or now.now_s))


def planned(now: Situation, bottle_id: str) -> bool:
    """Whether a bottle is to be visited: by the plan, or as it was pumped and stands too far off."""
    return any(v.bottle == bottle_id for v in now.plan.visits) or stands_off(now, bottle_id)


def worth_another(now: Situation, bottle_id: str) -> bool:
    """Whether a bottle just visited, and in tune, gains so much by another visit that nobody wonders."""
    return any(v.bottle == bottle_id and v.saves > SECOND_WORTH for v in now.plan.visits)


def roughly_cents(now: Situation, bottle_id: str) -> float:
    """How close is enough while a bottle is brought from far off: it settles and is heard again."""
    start = now.state.visit_from_cents
    if start is None or bottle_id != now.state.target:
        return 0.0
    change = abs(start - now.aim_of(bottle_id))
    return ROUGH_SHARE * change if change > ROUGH_FROM_CENTS else 0.0


def good_enough(now: Situation, bottle: Bottle, error_cents: float, on: bool) -> bool:
    """Whether more work on the bottle is not worth it now.

    The plan leaving the bottle alone is enough: then it is in the band, or it settles into it. With
    the pump off again a small miss is not worth another connection.
    """
    visited = bottle.id in now.state.visited
    if stands_off(now, bottle.id):
        return abs(error_cents) <= ACCEPT_SHARE * bottle.tolerance_cents
    if not planned(now, bottle.id) and (visited or (not on and inside_at_downbeat(now, bottle.id))):
        return True
    if visited and not on and inside_at_downbeat(now, bottle.id) and not worth_another(now, bottle.id):
        return True
    share = ACCEPT_SHARE if on or not visited else REVISIT_SHARE
    enough_cents = max(ACCEPT_FLOOR_CENTS, share * bottle.tolerance_cents, roughly_cents(now, bottle.id))
    return abs(error_cents) <= enough_cents
