"""What is worth hearing again before the downbeat: what settles, what is in doubt, what was heard enough."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.belief.air_log import NOTHING_KNOWN
from rounds.guide.enough import good_enough, inside, inside_at_downbeat
from rounds.guide.filling import bass_last, is_a_fill, is_far, left_unheard
from rounds.guide.instructions import (
    SETTLES_S,
)
from rounds.guide.lateness import in_time
from rounds.guide.round import MOST_ASKED, MOST_IN_A_ROW
from rounds.planning.walking import walking_order

if TYPE_CHECKING:
    from rounds.guide.round import RoundState
    from rounds.guide.situation import Situation
    from rounds.planning.plan import PlannedVisit
    from rounds.rig import Bottle

SETTLED_AGAIN_S = 120.0
"""A bottle heard longer ago than this may be asked for again before the downbeat, if it is doubtful."""
DOUBT = 0.25
"""Chance of being out above which an accepted bottle is struck once more before the downbeat."""
LAST_LOOK_S = 240.0
"""So long before the downbeat it is asked where the accepted bottles will be then, not where they are now."""
WORTH_ASKING = 0.3
"""It is struck once more only when its sd passes this share of the tolerance: else nothing new is learned."""


def must_hear(state: RoundState, bottle_id: str) -> bool:
    return bottle_id not in state.heard or bottle_id in state.moved


def asked_enough(now: Situation, bottle_id: str) -> bool:
    """Whether it was struck so often that nobody is sent to it again; the last strike is kept for its air."""
    kept = 1 if must_hear(now.state, bottle_id) else 0
    return now.state.asked.get(bottle_id, 0) >= MOST_ASKED - kept


def heard_enough(now: Situation, bottle_id: str) -> bool:
    """Whether nobody strikes it again just to hear it."""
    return now.state.asked.get(bottle_id, 0) >= MOST_ASKED - 1


def in_turn(now: Situation) -> list[PlannedVisit]:
    """Visits to be made now: not those of bottles that were set aside, or asked for often enough."""
    away = now.state.aside
    return [v for v in in_time(now) if v.bottle not in away and not asked_enough(now, v.bottle)]


def heard_lately(now: Situation, bottle_id: str) -> bool:
    heard = now.state.heard.get(bottle_id)
    return heard is not None and now.now_s - heard.at_s < SETTLED_AGAIN_S and bottle_id not in now.state.moved


def left_to_settle(now: Situation, bottle_id: str) -> bool:
    """Whether a visit to it ended well in this round, though it was not in the band yet."""
    heard = now.state.heard.get(bottle_id)
    if heard is None or bottle_id not in now.state.visited or bottle_id in now.state.moved or heard.pump_on:
        return False
    error = now.beliefs.level(bottle_id, now.now_s).mean - now.aim_of(bottle_id)
    return good_enough(now, now.rig.bottle(bottle_id), error, on=False)


def settled_since(now: Situation, bottle_id: str) -> bool:
    """Whether its air was moved in this round and it is long since it was heard: no air on a guess."""
    heard = now.state.heard.get(bottle_id)
    if heard is None or bottle_id not in now.state.visited:
        return False
    return now.now_s - heard.at_s >= SETTLED_AGAIN_S


def resting(now: Situation, bottle_id: str) -> bool:
    """Left to settle so lately that another strike would show nothing new."""
    heard = now.state.heard.get(bottle_id)
    return heard is not None and now.now_s - heard.at_s < SETTLES_S and left_to_settle(now, bottle_id)


def doubtful(now: Situation) -> list[str]:
    """Accepted bottles that may be out by now, or soon at the downbeat, heard too long ago to be sure."""
    downbeat_s = now.downbeat_s or now.now_s
    looked_at_s = downbeat_s if 0.0 < downbeat_s - now.now_s < LAST_LOOK_S else now.now_s
    chances: dict[str, float] = {}
    for bottle_id in now.state.accepted:
        if bottle_id not in now.state.needed or heard_lately(now, bottle_id):
            continue
        level = now.beliefs.level(bottle_id, looked_at_s)
        tolerance = now.rig.bottle(bottle_id).tolerance_cents
        if level.sd >= WORTH_ASKING * tolerance:
            chances[bottle_id] = level.outside(tolerance, now.state.shift_cents)
    return sorted((b for b, c in chances.items() if c > DOUBT), key=lambda b: (-chances[b], b))


def to_hear_again(now: Situation) -> list[str]:
    """Bottles that settled outside their band, and accepted ones in doubt, the most doubtful first."""
    visits = [v.bottle for v in now.plan.visits]
    settled = [b for b in visits if left_to_settle(now, b) and not resting(now, b)]
    return [b for b in settled + doubtful(now) if b not in now.state.aside and not heard_enough(now, b)]


def found_fine(now: Situation) -> str | None:
    """A bottle heard in this round that is in tune and has no visit, so that nobody is sent to it."""
    planned = {v.bottle for v in now.plan.visits}
    for bottle_id in now.state.open_bottles:
        heard = now.state.heard.get(bottle_id)
        if heard is None or heard.pump_on or bottle_id in now.state.moved or bottle_id in planned:
            continue
        if inside(now, bottle_id, now.now_s) and inside_at_downbeat(now, bottle_id):
            return bottle_id
    return None


def sacrificed(now: Situation, bottle_id: str) -> bool:
    return bottle_id in now.plan.sacrificed or bottle_id not in now.state.heard


def left_to_hear(now: Situation) -> str | None:
    """A bottle left to settle that is worth hearing again."""
    for bottle_id in now.state.open_bottles:
        heard = now.state.heard.get(bottle_id)
        if heard is None or bottle_id not in now.state.visited or bottle_id in now.plan.sacrificed:
            continue
        if not heard_enough(now, bottle_id) and now.now_s - heard.at_s >= SETTLES_S:
            return bottle_id
    return None


def to_listen(now: Situation) -> list[str]:
    """Bottles to be struck before anything is decided of them."""
    state = now.state
    stay_out = set(now.plan.sacrificed) if is_a_fill(now) else set()
    away = state.accepted | state.aside | state.empty | set(left_unheard(now)) | stay_out
    listen = [
        b for b in now.plan.listen if b not in away and not heard_enough(now, b) and not heard_lately(now, b)
    ]
    return bass_last(now, listen)


def untouched(now: Situation) -> str | None:
    """The next bottle that nobody was at yet."""
    waits = [b for b in now.state.open_bottles if b in now.state.empty and b not in now.state.aside]
    empty = bass_last(now, walking_order(now.rig, waits, now.state.at_bottle))
    return next(iter(empty or to_listen(now)), None)


def more_to_fill(now: Situation, bottle_id: str) -> bool:
    """Whether another bottle waits for the same pump: meanwhile one that was filled goes on settling."""
    first = untouched(now)
    return first is not None and now.rig.bottle(first).pump == now.rig.bottle(bottle_id).pump


def gauge_says_more(now: Situation, bottle: Bottle) -> bool:
    """Whether a gauge says more than a second strike: in a fill it is no surprise to be far down."""
    log = now.air.get(bottle.id, NOTHING_KNOWN)
    unread = not log.readings and log.read_kpa is None
    return unread and is_a_fill(now) and is_far(now, bottle.id) and may_ask(now, bottle)


def may_ask(now: Situation, bottle: Bottle) -> bool:
    """Whether its pump has a gauge that can be read, or nobody said that it has none.

    Who strikes again and again instead of reading it is not asked for ever.
    """
    may = now.rig.pump_of(bottle.id).gauge is not False and bottle.pump not in now.without_gauge
    return may and now.state.heard[bottle.id].times <= MOST_IN_A_ROW
