"""What the player does next: from the state of the round, the beliefs and the plan.

`next_step` gives either an event (the player is sent to a bottle, a bottle is accepted: the session
journals it and asks again) or an `Instruction` for the player.

Cents are off the nominal target; the shift of a floating reference is part of every aim.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.belief.air_log import NOTHING_TOLD
from rounds.events import Accepted, Event, Purpose, Sent, ShiftChosen, Skipped
from rounds.guide.instructions import (
    SETTLES_S,
    idle,
    left_for_last,
    less,
    let_down,
    more,
    off_the_aim,
    once_more,
    pump_off,
    refusal,
    strike_instruction,
    wait_for,
)
from rounds.guide.lateness import before_downbeat_s, in_time
from rounds.planning.dose import dose
from rounds.planning.walking import walking_order
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from rounds.guide.round import RoundState
    from rounds.guide.situation import Situation
    from rounds.instruction import Instruction
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
SETTLED_AGAIN_S = 120.0
"""A bottle heard longer ago than this may be asked for again before the downbeat, if it is doubtful."""
MOST_LOSS = 2.0
"""More tolerances than this are not lost when a pump head comes off. Common practice, no source."""
DOUBT = 0.25
"""Chance of being out above which an accepted bottle is struck once more before the downbeat."""
LAST_LOOK_S = 240.0
"""So long before the downbeat it is asked where the accepted bottles will be then, not where they are now."""
WORTH_ASKING = 0.3
"""It is struck once more only when its sd passes this share of the tolerance: else nothing new is learned."""

MOST_CONNECTIONS = 4
"""Nobody goes to one bottle more often in a round: it does not hold, and it would eat the round."""
DOES_NOT_HOLD = "does not hold: see health"


def next_step(now: Situation) -> Event | Instruction:
    """One event to journal before asking again, or the instruction for the player."""
    state = now.state
    if state.closed is not None:
        return idle("the round is closed")
    if now.rig.reference.floating and not state.shift_settled and not now.plan.listen:
        return ShiftChosen(at_s=now.now_s, shift_cents=now.plan.shift_cents, saves=now.plan.shift_saves)
    if state.pump_on not in (None, state.target):
        return pump_off(now, state.pump_on, f"the pump is still on {state.pump_on}")
    over = now.over_its_limit()
    if over is not None:
        return _to_be_let_down(now, over)
    if state.target is None:
        return _elsewhere(now)
    if _must_hear(state, state.target):
        return strike_instruction(now, state.target)
    return _after_listening(now) if state.purpose == "listen" else _after_reading(now)


def _sent(now: Situation, bottle_id: str, purpose: Purpose) -> Sent:
    """The player goes to a bottle; an order ahead that is not what is left of the old is written down."""
    order = now.plan.order
    left = tuple(b for b in now.state.order if b in order)
    return Sent(at_s=now.now_s, bottle=bottle_id, purpose=purpose, order=() if left == order else order)


def _to_be_let_down(now: Situation, bottle_id: str) -> Event | Instruction:
    """A gauge reads above the ceiling: that comes before everything else."""
    if now.state.target != bottle_id:
        return _sent(now, bottle_id, "visit")
    return let_down(now, bottle_id)


def _must_hear(state: RoundState, bottle_id: str) -> bool:
    return bottle_id not in state.heard or bottle_id in state.moved


def _elsewhere(now: Situation) -> Event | Instruction:
    """Send the player to the next bottle, or end the work."""
    if now.state.pump_on is not None:
        return pump_off(now, now.state.pump_on, _why_leave(now, now.state.pump_on))
    listen = [b for b in now.plan.listen if b not in now.state.accepted and not _heard_lately(now, b)]
    if listen:
        return _sent(now, listen[0], "listen")
    return _first_visit(now) or _hear_again(now, _to_hear_again(now)) or _next_visit(now) or _at_the_end(now)


def _why_leave(now: Situation, bottle_id: str) -> str:
    """Why the head leaves a bottle: a bottle given up is not done."""
    if bottle_id in now.plan.sacrificed and bottle_id not in now.state.accepted:
        return f"{bottle_id} stays out: no time left"
    is_open = bottle_id in now.state.open_bottles
    return f"the turn of {bottle_id} comes later" if is_open else f"{bottle_id} is done"


def _first_visit(now: Situation) -> Event | None:
    """Nobody goes to a bottle again while others wait for their first visit: it settles meanwhile."""
    for visit in in_time(now):
        if visit.bottle not in now.state.visited:
            return _sent(now, visit.bottle, "visit")
    return None


def _next_visit(now: Situation) -> Event | None:
    for visit in in_time(now):
        if not _resting(now, visit.bottle):
            hear = _left_to_settle(now, visit.bottle) or _settled_since(now, visit.bottle)
            return _sent(now, visit.bottle, "listen" if hear else "visit")
    return None


def _at_the_end(now: Situation) -> Event | Instruction:
    fine = _found_fine(now)
    if fine is not None:
        return Accepted(at_s=now.now_s, bottle=fine, cents=now.state.heard[fine].cents)
    settled = _settled(now)
    if settled is not None:
        return _sent(now, settled, "listen")
    later = [v.bottle for v in now.plan.visits if v not in in_time(now)]
    return left_for_last(now, later, before_downbeat_s(now)) if later else _finished(now)


def _to_hear_again(now: Situation) -> list[str]:
    """Bottles that settled outside their band, and accepted ones in doubt, the most doubtful first."""
    visits = [v.bottle for v in now.plan.visits]
    settled = [b for b in visits if _left_to_settle(now, b) and not _resting(now, b)]
    return settled + _doubtful(now)


def _hear_again(now: Situation, bottles: list[str]) -> Event | None:
    """All of them on one walk, so that the visits they call for can be put in order; else the first."""
    if not bottles:
        return None
    left_s = now.plan.finish_before_downbeat_s
    if left_s is None or left_s >= len(bottles) * now.rig.habits.strike_s:
        bottles = list(walking_order(now.rig, bottles, now.state.at_bottle))
    return _sent(now, bottles[0], "listen")


def _left_to_settle(now: Situation, bottle_id: str) -> bool:
    """Whether a visit to it ended well in this round, though it was not in the band yet."""
    heard = now.state.heard.get(bottle_id)
    if heard is None or bottle_id not in now.state.visited or bottle_id in now.state.moved or heard.pump_on:
        return False
    error = now.beliefs.level(bottle_id, now.now_s).mean - now.aim_of(bottle_id)
    return _good_enough(now, now.rig.bottle(bottle_id), error, on=False)


def _settled_since(now: Situation, bottle_id: str) -> bool:
    """Whether its air was moved in this round and it is long since it was heard: no air on a guess."""
    heard = now.state.heard.get(bottle_id)
    if heard is None or bottle_id not in now.state.visited:
        return False
    return now.now_s - heard.at_s >= SETTLED_AGAIN_S


def _resting(now: Situation, bottle_id: str) -> bool:
    """Left to settle so lately that another strike would show nothing new."""
    heard = now.state.heard.get(bottle_id)
    return heard is not None and now.now_s - heard.at_s < SETTLES_S and _left_to_settle(now, bottle_id)


def _heard_lately(now: Situation, bottle_id: str) -> bool:
    heard = now.state.heard.get(bottle_id)
    return heard is not None and now.now_s - heard.at_s < SETTLED_AGAIN_S and bottle_id not in now.state.moved


def _finished(now: Situation) -> Instruction:
    out = [b for b in now.state.needed if b not in now.state.accepted]
    if not out:
        skipped = [b for b in now.state.opened.needed if b in now.state.skipped]
        left = f"; skipped: {in_words(skipped)}" if skipped else ""
        return idle(f"every {'other' if skipped else 'needed'} bottle is in tune{left}", "In tune")
    settling = [b for b in out if b in now.state.visited and not _sacrificed(now, b)]
    if settling:
        return wait_for(now, settling)
    return idle(f"left as they are: {in_words(out)}", "Done")


def _found_fine(now: Situation) -> str | None:
    """A bottle heard in this round that is in tune and has no visit, so that nobody is sent to it."""
    planned = {v.bottle for v in now.plan.visits}
    for bottle_id in now.state.open_bottles:
        heard = now.state.heard.get(bottle_id)
        if heard is None or heard.pump_on or bottle_id in now.state.moved or bottle_id in planned:
            continue
        if _inside(now, bottle_id, now.now_s) and _inside_at_downbeat(now, bottle_id):
            return bottle_id
    return None


def _sacrificed(now: Situation, bottle_id: str) -> bool:
    return bottle_id in now.plan.sacrificed or bottle_id not in now.state.heard


def _settled(now: Situation) -> str | None:
    """A bottle left to settle that is worth hearing again."""
    for bottle_id in now.state.open_bottles:
        heard = now.state.heard.get(bottle_id)
        if heard is None or bottle_id not in now.state.visited or bottle_id in now.plan.sacrificed:
            continue
        if now.now_s - heard.at_s >= SETTLES_S:
            return bottle_id
    return None


def _doubtful(now: Situation) -> list[str]:
    """Accepted bottles that may be out by now, or soon at the downbeat, heard too long ago to be sure."""
    downbeat_s = now.downbeat_s or now.now_s
    looked_at_s = downbeat_s if 0.0 < downbeat_s - now.now_s < LAST_LOOK_S else now.now_s
    chances: dict[str, float] = {}
    for bottle_id in now.state.accepted:
        if bottle_id not in now.state.needed or _heard_lately(now, bottle_id):
            continue
        level = now.beliefs.level(bottle_id, looked_at_s)
        tolerance = now.rig.bottle(bottle_id).tolerance_cents
        if level.sd >= WORTH_ASKING * tolerance:
            chances[bottle_id] = level.outside(tolerance, now.state.shift_cents)
    return sorted((b for b, c in chances.items() if c > DOUBT), key=lambda b: (-chances[b], b))


def _after_listening(now: Situation) -> Event | Instruction:
    """A bottle was heard: it is in tune, or the plan will come back to it."""
    bottle_id = now.state.target
    assert bottle_id is not None
    heard = now.state.heard[bottle_id]
    called_for = _worth_another if bottle_id in now.state.visited else _planned
    if not called_for(now, bottle_id) and not heard.pump_on and _inside_at_downbeat(now, bottle_id):
        return _accept(now, bottle_id, heard.cents)
    return _elsewhere(now)


def _accept(now: Situation, bottle_id: str, cents: float) -> Event | Instruction:
    """A bottle believed in tune is, if its strike was; else it is heard again: beliefs do not overrule."""
    heard = now.state.heard[bottle_id]
    off = abs(heard.cents - now.state.shift_cents)
    if off > now.rig.bottle(bottle_id).tolerance_cents + heard.u95_cents:
        return strike_instruction(now, bottle_id)
    return Accepted(at_s=now.now_s, bottle=bottle_id, cents=cents)


def _inside_at_downbeat(now: Situation, bottle_id: str) -> bool:
    return _inside(now, bottle_id, max(now.now_s, now.downbeat_s or now.now_s))


def _inside(now: Situation, bottle_id: str, at_s: float) -> bool:
    level = now.beliefs.level(bottle_id, at_s)
    return abs(level.mean - now.state.shift_cents) <= now.rig.bottle(bottle_id).tolerance_cents


def _after_reading(now: Situation) -> Event | Instruction:
    """The pitch of the bottle being visited is known: leave it, pump off, or move more air."""
    bottle_id = now.state.target
    assert bottle_id is not None
    bottle = now.rig.bottle(bottle_id)
    level = now.beliefs.level(bottle_id, now.now_s)
    on = now.state.pump_on == bottle_id
    error = level.mean - now.aim_of(bottle_id)
    if _good_enough(now, bottle, error, on):
        return _leave(now, bottle, level.mean, error, on)
    wanted = dose(
        now.rig,
        now.beliefs,
        bottle_id,
        level_cents=now.sounding(bottle_id, level),
        aim_cents=now.aim_of(bottle_id),
        pump_on=on,
        at_s=now.now_s,
        told=now.told.get(bottle_id, NOTHING_TOLD),
        confirmed=now.state.heard[bottle_id].times > 1,
    )
    if wanted.doubt:
        return once_more(now, bottle, wanted.doubt)
    if wanted.refused:
        return refusal(bottle, wanted.refused)
    if wanted.strokes == 0.0:
        return _leave(now, bottle, level.mean, error, on)
    if wanted.strokes > 0.0 and on and _heard_sharp(now, bottle):
        return pump_off(now, bottle.id, "sharp as it sounds: hear what stays when the pump is off")
    if wanted.strokes > 0.0 and not on and now.state.connected.get(bottle_id, 0) >= MOST_CONNECTIONS:
        return Skipped(at_s=now.now_s, bottle=bottle_id, reason=DOES_NOT_HOLD)
    change = more if wanted.strokes > 0.0 else less
    return change(now, bottle, wanted, error)


def _heard_sharp(now: Situation, bottle: Bottle) -> bool:
    """Whether it sounded so sharp, head on, that only an unlikely loss at the head could make it flat."""
    heard = now.state.heard[bottle.id]
    return heard.cents - now.aim_of(bottle.id) > MOST_LOSS * bottle.tolerance_cents


def _good_enough(now: Situation, bottle: Bottle, error_cents: float, on: bool) -> bool:
    """Whether more work on the bottle is not worth it now.

    The plan leaving the bottle alone is enough: then it is in the band, or it settles into it. With
    the pump off again a small miss is not worth another connection.
    """
    visited = bottle.id in now.state.visited
    if not _planned(now, bottle.id) and (visited or (not on and _inside_at_downbeat(now, bottle.id))):
        return True
    if visited and not on and _inside_at_downbeat(now, bottle.id) and not _worth_another(now, bottle.id):
        return True
    share = ACCEPT_SHARE if on or not visited else REVISIT_SHARE
    enough_cents = max(ACCEPT_FLOOR_CENTS, share * bottle.tolerance_cents, _roughly_cents(now, bottle.id))
    return abs(error_cents) <= enough_cents


def _planned(now: Situation, bottle_id: str) -> bool:
    return any(v.bottle == bottle_id for v in now.plan.visits)


def _worth_another(now: Situation, bottle_id: str) -> bool:
    """Whether a bottle just visited, and in tune, gains so much by another visit that nobody wonders."""
    return any(v.bottle == bottle_id and v.saves > SECOND_WORTH for v in now.plan.visits)


def _roughly_cents(now: Situation, bottle_id: str) -> float:
    """How close is enough while a bottle is brought from far off: it settles and is heard again."""
    start = now.state.visit_from_cents
    if start is None or bottle_id != now.state.target:
        return 0.0
    change = abs(start - now.aim_of(bottle_id))
    return ROUGH_SHARE * change if change > ROUGH_FROM_CENTS else 0.0


def _leave(now: Situation, bottle: Bottle, level_cents: float, error: float, on: bool) -> Event | Instruction:
    """Pump off first; then the bottle is in tune, or left to settle and heard again later."""
    if on:
        return pump_off(now, bottle.id, off_the_aim(now, bottle.id, error))
    inside = abs(level_cents - now.state.shift_cents) <= bottle.tolerance_cents
    return _accept(now, bottle.id, level_cents) if inside else _elsewhere(now)
