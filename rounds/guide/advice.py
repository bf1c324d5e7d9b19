"""What the player does next: from the state of the round, the beliefs and the plan.

`next_step` gives either an event (the player is sent to a bottle, a bottle is accepted: the session
journals it and asks again) or an `Instruction` for the player.

Cents are off the nominal target; the shift of a floating reference is part of every aim.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.belief.air_log import NOTHING_KNOWN
from rounds.events import Accepted, Event, Purpose, Sent, ShiftChosen, Skipped
from rounds.guide.enough import (
    ACCEPT_SHARE,
    good_enough,
    inside,
    inside_at_downbeat,
    planned,
    worth_another,
)
from rounds.guide.filling import (
    came_from_far,
    early_sample,
    filled_aim,
    first_strokes,
    has_settled,
    is_far,
    is_surely_in,
    left_unheard,
    may_go_unheard,
    may_stay,
    next_of_the_walk,
    stands_off,
    walk_before,
)
from rounds.guide.hearing_again import (
    asked_enough,
    found_fine,
    gauge_says_more,
    heard_enough,
    in_turn,
    left_to_hear,
    left_to_settle,
    may_ask,
    more_to_fill,
    must_hear,
    resting,
    sacrificed,
    settled_since,
    to_hear_again,
    to_listen,
    untouched,
)
from rounds.guide.instructions import (
    fill_empty,
    heard_unlike,
    idle,
    in_vain,
    left_for_last,
    less,
    let_down,
    more,
    off_the_aim,
    once_more,
    pump_off,
    read_gauge,
    refusal,
    strike_instruction,
    wait_for,
)
from rounds.guide.lateness import before_downbeat_s, in_time, still_fits
from rounds.guide.round import MOST_IN_A_ROW
from rounds.instruction import Instruction
from rounds.planning.dose import dose
from rounds.planning.walking import walking_order
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from rounds.gauss import Gauss
    from rounds.guide.situation import Situation
    from rounds.planning.dose import Dose
    from rounds.rig import Bottle

MOST_LOSS = 2.0
"""More tolerances than this are not lost when a pump head comes off. Common practice, no source."""

MOST_CONNECTIONS = 4
"""Nobody goes to one bottle more often in a round: it does not hold, and it would eat the round."""
NOT_SURE = "sounds like another bottle, and its limit may be near: read a gauge"
DOES_NOT_HOLD = "does not hold: see health"


def next_step(now: Situation) -> Event | Instruction:
    """One event to journal before asking again, or the instruction for the player."""
    state = now.state
    if state.closed is not None:
        return idle("the round is closed")
    if now.rig.reference.floating and not state.shift_settled and not to_listen(now):
        return ShiftChosen(at_s=now.now_s, shift_cents=now.plan.shift_cents, saves=now.plan.shift_saves)
    if state.pump_on not in (None, state.target, state.compare_for):
        why = f"the pump is still on {state.pump_on}"
        return pump_off(now, state.pump_on, why, leave=state.in_vain >= MOST_IN_A_ROW - 1)
    over = now.over_its_limit()
    if over is not None:
        return _to_be_let_down(now, over)
    if state.target is None:
        return _elsewhere(now)
    if state.compare_for is not None:
        return _compare(now, state.compare_for)
    step = _at_the_target(now, state.target)
    if (state.tired or asked_enough(now, state.target)) and _asks_again(step, state.target):
        return _set_aside(now, state.target)
    return step


def _asks_again(step: Event | Instruction, bottle_id: str) -> bool:
    """Whether a step asks for one more strike of a bottle."""
    if isinstance(step, Instruction):
        to_strike = step.act != "disconnect" or step.then_strike
        return step.act not in ("none", "wait", "gauge") and step.bottle == bottle_id and to_strike
    return isinstance(step, Sent) and step.purpose == "listen" and step.bottle == bottle_id


def _at_the_target(now: Situation, target: str) -> Event | Instruction:
    """What is done at the bottle the player was sent to."""
    state = now.state
    owner = now.recognised.likely_owner(now, target) if target not in state.compared else None
    if owner is not None and not heard_enough(now, owner):
        return _sent(now, owner, "compare")
    if _corrected(now, target):
        return Accepted(at_s=now.now_s, bottle=target, cents=now.beliefs.level(target, now.now_s).mean)
    if state.purpose == "finish" and target in state.aired:
        return _elsewhere(now)
    if target in state.empty and target not in state.air_since:
        return fill_empty(now, now.rig.bottle(target), first_strokes(now, now.rig.bottle(target)))
    if must_hear(state, target):
        return strike_instruction(now, target)
    off = now.recognised.unlike(now, target)
    if off:
        return heard_unlike(now, now.rig.bottle(target), off)
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


def _compare(now: Situation, bottle_id: str) -> Event | Instruction:
    """One strike of the bottle that two strikes of another sounded like; then that one again."""
    state = now.state
    assert state.target is not None
    if state.in_vain == 0 and state.target in state.moved:
        return strike_instruction(now, state.target)
    purpose: Purpose = "visit" if state.pump_on == bottle_id else "listen"
    return _sent(now, bottle_id, purpose)


def _set_aside(now: Situation, bottle_id: str) -> Event | Instruction:
    """Enough strikes in a row: on to another bottle, and back to this one when all others are done."""
    state = now.state
    if state.pump_on == bottle_id:
        return pump_off(now, bottle_id, f"{bottle_id} {in_vain(now, bottle_id)}", leave=True)
    rest = replace(now, state=replace(state, target=None, aside=state.aside | {bottle_id}))
    step = _elsewhere(rest)
    away = isinstance(step, Sent) and step.bottle != bottle_id
    known = not must_hear(state, bottle_id) and state.purpose == "listen"
    if known or (away and not asked_enough(now, bottle_id)):
        return step
    return Skipped(at_s=now.now_s, bottle=bottle_id, reason=in_vain(now, bottle_id))


def _elsewhere(now: Situation) -> Event | Instruction:
    """Send the player to the next bottle, or end the work."""
    if now.state.pump_on is not None:
        filled = now.state.purpose == "finish" and now.state.pump_on == now.state.target
        return pump_off(now, now.state.pump_on, _why_leave(now, now.state.pump_on), leave=filled)
    sample = early_sample(now)
    if sample is not None:
        return _sent(now, sample, "listen")
    return (
        _first_time(now)
        or _first_visit(now)
        or _walk(now)
        or _hear_again(now, to_hear_again(now))
        or _next_visit(now)
        or _once_more_of_those_aside(now)
        or _at_the_end(now)
    )


def _first_time(now: Situation) -> Event | None:
    """A bottle that nobody was at yet; before another pump is taken for it, those filled so far are heard."""
    first = untouched(now)
    if first is None:
        return None
    before = walk_before(now, first)
    if before is not None:
        return _sent(now, before, "listen")
    return _sent(now, first, "visit" if first in now.state.empty else "listen")


def _walk(now: Situation) -> Event | None:
    """Past all that were filled, to hear how they have settled."""
    bottle_id = next_of_the_walk(now)
    return None if bottle_id is None else _sent(now, bottle_id, "listen")


def _once_more_of_those_aside(now: Situation) -> Event | None:
    """A bottle that was set aside is asked for again when all others are done; then it is left out."""
    for bottle_id in now.state.open_bottles:
        if bottle_id in now.state.aside:
            if heard_enough(now, bottle_id):
                return Skipped(at_s=now.now_s, bottle=bottle_id, reason=in_vain(now, bottle_id))
            return _sent(now, bottle_id, "listen")
    return None


def _why_leave(now: Situation, bottle_id: str) -> str:
    """Why the head leaves a bottle: a bottle given up is not done."""
    if bottle_id in now.plan.sacrificed and bottle_id not in now.state.accepted:
        return f"no time for {bottle_id}: leave it"
    is_open = bottle_id in now.state.open_bottles
    return f"leave {bottle_id} for now; we come back" if is_open else f"{bottle_id} is done"


def _first_visit(now: Situation) -> Event | None:
    """Nobody goes to a bottle again while others wait for their first visit: it settles meanwhile."""
    for visit in in_turn(now):
        if visit.bottle not in now.state.visited:
            return _sent(now, visit.bottle, "visit")
    return None


def _next_visit(now: Situation) -> Event | None:
    for visit in in_turn(now):
        if not resting(now, visit.bottle):
            hear = left_to_settle(now, visit.bottle) or settled_since(now, visit.bottle)
            return _sent(now, visit.bottle, "listen" if hear else "visit")
    return None


def _at_the_end(now: Situation) -> Event | Instruction:
    fine = found_fine(now)
    if fine is not None:
        return Accepted(at_s=now.now_s, bottle=fine, cents=now.state.heard[fine].cents)
    still = left_to_hear(now)
    if still is not None:
        return _sent(now, still, "listen")
    later = [v.bottle for v in now.plan.visits if v not in in_time(now) and not asked_enough(now, v.bottle)]
    return left_for_last(now, later, before_downbeat_s(now)) if later else _finished(now)


def _hear_again(now: Situation, bottles: list[str]) -> Event | None:
    """All of them on one walk, so that the visits they call for can be put in order; else the first."""
    if not bottles:
        return None
    left_s = now.plan.finish_before_downbeat_s
    if left_s is None or left_s >= len(bottles) * now.rig.habits.strike_s:
        bottles = list(walking_order(now.rig, bottles, now.state.at_bottle))
    return _sent(now, bottles[0], "listen")


def _finished(now: Situation) -> Instruction:
    out = [b for b in now.state.needed if b not in now.state.accepted]
    unsettled = [b for b in now.state.left_at_s if b in now.state.accepted and not inside(now, b, now.now_s)]
    if unsettled and not all(has_settled(now, b) for b in unsettled):
        return wait_for(now, unsettled)
    if not out:
        skipped = [b for b in now.state.opened.needed if b in now.state.skipped]
        if not now.state.needed and skipped:
            return idle(f"left out: {in_words(skipped)}", "Done")
        left = f"; left out: {in_words(skipped)}" if skipped else ""
        return idle(f"{'all others' if skipped else 'all needed bottles'} hold{left}", "In tune")
    settling = [
        b for b in out if b in now.state.visited and not sacrificed(now, b) and not asked_enough(now, b)
    ]
    if settling:
        return wait_for(now, settling)
    return idle(f"left out: {in_words(out)}", "Done")


def _after_listening(now: Situation) -> Event | Instruction:
    """A bottle was heard: it is in tune, or the plan will come back to it."""
    bottle_id = now.state.target
    assert bottle_id is not None
    heard = now.state.heard[bottle_id]
    if _at_once(now, bottle_id):
        return _sent(now, bottle_id, "visit")
    called_for = worth_another if bottle_id in now.state.visited else planned
    if not called_for(now, bottle_id) and not heard.pump_on and inside_at_downbeat(now, bottle_id):
        return _accept(now, bottle_id, heard.cents)
    return _elsewhere(now)


def _at_once(now: Situation, bottle_id: str) -> bool:
    """Whether a bottle just heard is visited where the player stands: far down, or filled and out."""
    state = now.state
    turn = stands_off(now, bottle_id) or any(v.bottle == bottle_id for v in in_turn(now))
    turn = turn or (is_far(now, bottle_id) and still_fits(now))
    settled = now.rig.reference.floating and not state.shift_settled
    if (
        not turn
        or settled
        or state.pump_on is not None
        or now.recognised.sounds_like(now, bottle_id) is not None
    ):
        return False
    if bottle_id in state.left_at_s:
        if more_to_fill(now, bottle_id):
            return False
        rested = not left_unheard(now) or has_settled(now, bottle_id)
        return stands_off(now, bottle_id) or (rested and not may_stay(now, bottle_id))
    return (
        is_far(now, bottle_id) and bottle_id not in state.visited and not _waits_for_its_turn(now, bottle_id)
    )


def _waits_for_its_turn(now: Situation, bottle_id: str) -> bool:
    """Whether a bass bottle is left until the others are filled."""
    bass = now.rig.bottle(bottle_id).group == "bass"
    return bass and any(now.rig.bottle(b).group != "bass" for b in to_listen(now))


def _accept(now: Situation, bottle_id: str, cents: float) -> Event | Instruction:
    """A bottle believed in tune is, if its strike was; else it is heard again: beliefs do not overrule."""
    heard = now.state.heard[bottle_id]
    off = abs(heard.cents - now.state.shift_cents)
    if off > now.rig.bottle(bottle_id).tolerance_cents + heard.u95_cents:
        if heard.times == 1:
            return strike_instruction(now, bottle_id)
        listening = now.state.purpose == "listen"
        return _sent(now, bottle_id, "visit") if listening else _elsewhere(now)
    return Accepted(at_s=now.now_s, bottle=bottle_id, cents=cents)


def _after_reading(now: Situation) -> Event | Instruction:
    """The pitch of the bottle being visited is known: leave it, pump off, or move more air."""
    bottle_id = now.state.target
    assert bottle_id is not None
    bottle = now.rig.bottle(bottle_id)
    level = now.beliefs.level(bottle_id, now.now_s)
    on = now.state.pump_on == bottle_id
    error = level.mean - now.aim_of(bottle_id)
    neighbour = now.recognised.sounds_like(now, bottle_id)
    if neighbour is not None:
        return once_more(now, bottle, f"it sounds like {neighbour}: once more, before any air")
    if on and (came_from_far(now, bottle_id) or bottle_id in now.state.left_at_s):
        return _finish(now, bottle, level)
    if good_enough(now, bottle, error, on):
        return _leave(now, bottle, level.mean, error, on)
    return _with_air(now, bottle, level, now.aim_of(bottle_id))


def _finish(now: Situation, bottle: Bottle, level: Gauss) -> Event | Instruction:
    """A bottle brought from far, head on: the rest of its air, and the head comes off unheard."""
    near = level.mean - now.aim_of(bottle.id) >= -ACCEPT_SHARE * bottle.tolerance_cents
    aim = filled_aim(now, bottle, level)
    now = replace(now, filled_to={bottle.id: aim})
    wanted = _wanted(now, bottle, level, aim)
    barred = bool(wanted.refused or wanted.doubt)
    # What is refused now may be given once the pressure has settled.
    near = near or bottle.id not in now.state.left_at_s
    idle = wanted.strokes <= 0.0 and not wanted.ask
    enough = level.mean >= aim - ACCEPT_SHARE * bottle.tolerance_cents or idle
    done = near if barred else enough
    last = done or (wanted.strokes > 0.0 and may_go_unheard(bottle, wanted, aim))
    if last and now.state.purpose != "finish":
        return _sent(now, bottle.id, "finish")
    if done:
        return pump_off(now, bottle.id, f"{bottle.id} is heard once it has settled", leave=True)
    told = _with_air(now, bottle, level, aim)
    return replace(told, then_strike=False) if last and isinstance(told, Instruction) else told


def _wanted(now: Situation, bottle: Bottle, level: Gauss, aim_cents: float) -> Dose:
    """The air that leads from a level, pump off, to an aim."""
    return dose(
        now.rig,
        now.beliefs,
        bottle.id,
        level_cents=now.sounding(bottle.id, level),
        aim_cents=aim_cents,
        pump_on=now.state.pump_on == bottle.id,
        at_s=now.now_s,
        known=now.air.get(bottle.id, NOTHING_KNOWN),
        temp_c=now.temp_c,
        may_ask=may_ask(now, bottle),
        confirmed=now.state.heard[bottle.id].times > 1 and bottle.id not in now.state.on_trust,
    )


def _corrected(now: Situation, bottle_id: str) -> bool:
    """Whether a filled bottle was corrected, heard with the head on, and the head came off: it is in tune."""
    state = now.state
    off = state.purpose != "listen" and state.pump_on is None and bottle_id in state.aired
    heard_on = bottle_id in state.heard and state.heard[bottle_id].pump_on
    return off and heard_on and bottle_id in state.left_at_s and is_surely_in(now, bottle_id)


def _with_air(now: Situation, bottle: Bottle, level: Gauss, aim_cents: float) -> Event | Instruction:
    """More air, less, or none: what leads to an aim."""
    on = now.state.pump_on == bottle.id
    error = level.mean - now.aim_of(bottle.id)
    wanted = _wanted(now, bottle, level, aim_cents)
    if wanted.doubt and bottle.id in now.state.on_trust:
        return Skipped(at_s=now.now_s, bottle=bottle.id, reason=NOT_SURE)
    if wanted.doubt and gauge_says_more(now, bottle):
        return read_gauge(now, bottle, wanted.doubt)
    if wanted.doubt:
        return once_more(now, bottle, wanted.doubt)
    if wanted.ask:
        return read_gauge(now, bottle, wanted.ask)
    if wanted.refused:
        return refusal(now, bottle, wanted.refused)
    if wanted.strokes == 0.0:
        return _leave(now, bottle, level.mean, error, on)
    if wanted.strokes > 0.0 and on and _heard_sharp(now, bottle):
        return pump_off(now, bottle.id, "some air goes with the head: hear what stays")
    if wanted.strokes > 0.0 and not on and now.state.connected.get(bottle.id, 0) >= MOST_CONNECTIONS:
        return Skipped(at_s=now.now_s, bottle=bottle.id, reason=DOES_NOT_HOLD)
    change = more if wanted.strokes > 0.0 else less
    return change(now, bottle, wanted, error)


def _heard_sharp(now: Situation, bottle: Bottle) -> bool:
    """Whether it sounded so sharp, head on, that only an unlikely loss at the head could make it flat."""
    heard = now.state.heard[bottle.id]
    return heard.cents - now.aim_of(bottle.id) > MOST_LOSS * bottle.tolerance_cents


def _leave(now: Situation, bottle: Bottle, level_cents: float, error: float, on: bool) -> Event | Instruction:
    """Pump off first; then the bottle is in tune, or left to settle and heard again later."""
    if on:
        filled = bottle.id in now.state.left_at_s and is_surely_in(now, bottle.id)
        return pump_off(now, bottle.id, off_the_aim(now, bottle.id, error), leave=filled)
    inside = abs(level_cents - now.state.shift_cents) <= bottle.tolerance_cents
    return _accept(now, bottle.id, level_cents) if inside else _elsewhere(now)
