"""What the player does next: from the state of the round, the beliefs and the plan.

`next_step` gives either an event (the player is sent to a bottle, a bottle is accepted: the session
journals it and asks again) or an `Instruction` for the player. Hands are full, so the player's
acts are told from the strikes: `assumed_acts` says which advised acts a strike shows were done.

Cents are off the nominal target; the shift of a floating reference is part of every aim.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rounds.air import hz_after, kpa_to_psi
from rounds.events import (
    Accepted,
    AirMoved,
    Connected,
    Disconnected,
    Event,
    Purpose,
    Sent,
    ShiftChosen,
)
from rounds.notes import cents, shifted_hz
from rounds.planning.dose import Dose, dose
from rounds.view import Instruction
from rounds.whose import Story
from rounds.words import (
    CAUTION_ADD,
    in_words,
    offset_in_words,
    strokes_in_words,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from rounds.belief import Beliefs
    from rounds.gauss import Gauss
    from rounds.planning import RoundPlan
    from rounds.rig import Bottle, Rig
    from rounds.round import RoundState

ACCEPT_SHARE = 0.3
"""A visit is good when the pitch is within this share of the tolerance around the aim."""
REVISIT_SHARE = 0.6
"""The same with the pump off again, inside the band: below this another connection is not worth it."""
ACCEPT_FLOOR_CENTS = 2.0
SETTLED_AGAIN_S = 120.0
"""A bottle heard longer ago than this may be asked for again before the downbeat, if it is doubtful."""
SETTLES_S = 45.0
"""A bottle left outside its band to settle is heard again after this long."""
DOUBT = 0.25
"""Chance of being out above which an accepted bottle is struck once more before the downbeat."""
WORTH_ASKING = 0.3
"""It is struck once more only when its sd passes this share of the tolerance: else nothing new is learned."""
MOVED_SHARE = 0.35
"""A strike shows that the advised air was moved when the pitch went at least this share of the way."""


@dataclass(frozen=True)
class Situation:
    """Everything that the next step depends on."""

    rig: Rig
    beliefs: Beliefs
    state: RoundState
    plan: RoundPlan
    now_s: float
    gauges_kpa: Mapping[str, float] = field(default_factory=dict)
    """Gauge pressure per bottle that has a gauge reading, strokes since then counted in."""

    @property
    def downbeat_s(self) -> float | None:
        """When the playing starts, if that is set."""
        return self.state.opened.downbeat_s


def next_step(now: Situation) -> Event | Instruction:
    """One event to journal before asking again, or what to tell the player."""
    state = now.state
    if state.closed is not None:
        return idle("the round is closed")
    if now.rig.reference.floating and not state.shift_settled and not now.plan.listen:
        return ShiftChosen(at_s=now.now_s, shift_cents=now.plan.shift_cents, saves=now.plan.shift_saves)
    if state.pump_on not in (None, state.target):
        return _pump_off(now, state.pump_on, "the head is still on")
    if state.target is None:
        return _elsewhere(now)
    if _must_hear(state, state.target):
        return strike_instruction(now, state.target)
    return _after_listening(now) if state.purpose == "listen" else _after_reading(now)


def idle(why: str, headline: str = "Rest") -> Instruction:
    """Nothing to do."""
    return Instruction("none", None, None, None, None, why, headline)


def _must_hear(state: RoundState, bottle_id: str) -> bool:
    return bottle_id not in state.heard or bottle_id in state.moved


def _elsewhere(now: Situation) -> Event | Instruction:
    """Send the player to the next bottle, or end the work."""
    if now.state.pump_on is not None:
        return _pump_off(now, now.state.pump_on, "on to the next")
    listen = [b for b in now.plan.listen if b not in now.state.accepted and not _heard_lately(now, b)]
    if listen:
        return Sent(at_s=now.now_s, bottle=listen[0], purpose="listen")
    for visit in now.plan.visits:
        if not _resting(now, visit.bottle):
            purpose: Purpose = "listen" if _left_to_settle(now, visit.bottle) else "visit"
            return Sent(at_s=now.now_s, bottle=visit.bottle, purpose=purpose)
    again = _settled(now) or _doubtful(now)
    if again is not None:
        return Sent(at_s=now.now_s, bottle=again, purpose="listen")
    return _finished(now)


def _left_to_settle(now: Situation, bottle_id: str) -> bool:
    """Whether a visit to it ended well in this round, though it was not in the band yet."""
    heard = now.state.heard.get(bottle_id)
    if heard is None or bottle_id not in now.state.visited or bottle_id in now.state.moved or heard.pump_on:
        return False
    error = now.beliefs.level(bottle_id, now.now_s).mean - aim_of(now, bottle_id)
    return _good_enough(now, now.rig.bottle(bottle_id), error, on=False)


def _resting(now: Situation, bottle_id: str) -> bool:
    """Left to settle so lately that another strike would tell nothing."""
    heard = now.state.heard.get(bottle_id)
    return heard is not None and now.now_s - heard.at_s < SETTLES_S and _left_to_settle(now, bottle_id)


def _heard_lately(now: Situation, bottle_id: str) -> bool:
    heard = now.state.heard.get(bottle_id)
    return heard is not None and now.now_s - heard.at_s < SETTLED_AGAIN_S and bottle_id not in now.state.moved


def _finished(now: Situation) -> Instruction:
    out = [b for b in now.state.needed if b not in now.state.accepted]
    if not out:
        return idle("every needed bottle is in tune", "In tune")
    settling = [b for b in out if b in now.state.visited and not _sacrificed(now, b)]
    if settling:
        return _wait_for(now, settling)
    return idle(f"left as they are: {in_words(out)}", "Done")


def _sacrificed(now: Situation, bottle_id: str) -> bool:
    return bottle_id in now.plan.sacrificed or bottle_id not in now.state.heard


def _wait_for(now: Situation, settling: list[str]) -> Instruction:
    """Air was moved and the pitch still moves by itself: nothing to do but let it."""
    first = min(settling, key=lambda b: now.state.heard[b].at_s)
    wait_s = max(0.0, now.state.heard[first].at_s + SETTLES_S - now.now_s)
    why = f"{in_words(settling)} settling, about {wait_s:.0f} s"
    return Instruction("wait", None, None, None, None, why, "Let it settle")


def _settled(now: Situation) -> str | None:
    """A bottle left to settle that is worth hearing again."""
    for bottle_id in now.state.open_bottles:
        heard = now.state.heard.get(bottle_id)
        if heard is None or bottle_id not in now.state.visited or bottle_id in now.plan.sacrificed:
            continue
        if now.now_s - heard.at_s >= SETTLES_S:
            return bottle_id
    return None


def _doubtful(now: Situation) -> str | None:
    """The accepted bottle most likely out by now, if any was heard too long ago to be sure of."""
    worst, worst_chance = None, DOUBT
    for bottle_id in now.state.accepted:
        if bottle_id not in now.state.needed or _heard_lately(now, bottle_id):
            continue
        level = now.beliefs.level(bottle_id, now.now_s)
        tolerance = now.rig.bottle(bottle_id).tolerance_cents
        if level.sd < WORTH_ASKING * tolerance:
            continue
        chance = level.outside(tolerance, now.state.shift_cents)
        if chance > worst_chance:
            worst, worst_chance = bottle_id, chance
    return worst


def _after_listening(now: Situation) -> Event | Instruction:
    """A bottle was heard: it is in tune, or the plan will come back to it."""
    bottle_id = now.state.target
    assert bottle_id is not None
    planned = {v.bottle for v in now.plan.visits}
    heard = now.state.heard[bottle_id]
    if bottle_id not in planned and not heard.pump_on and _inside_at_downbeat(now, bottle_id):
        return Accepted(at_s=now.now_s, bottle=bottle_id, cents=heard.cents)
    return _elsewhere(now)


def _inside_at_downbeat(now: Situation, bottle_id: str) -> bool:
    level = now.beliefs.level(bottle_id, max(now.now_s, now.downbeat_s or now.now_s))
    return abs(level.mean - now.state.shift_cents) <= now.rig.bottle(bottle_id).tolerance_cents


def aim_of(now: Situation, bottle_id: str) -> float:
    """Where a visit is aimed, from the plan; the middle of the band when the plan has no visit."""
    for visit in now.plan.visits:
        if visit.bottle == bottle_id:
            return visit.aim_cents
    return now.state.shift_cents


def _after_reading(now: Situation) -> Event | Instruction:
    """The pitch of the bottle being visited is known: leave it, pump off, or move more air."""
    bottle_id = now.state.target
    assert bottle_id is not None
    bottle = now.rig.bottle(bottle_id)
    level = now.beliefs.level(bottle_id, now.now_s)
    on = now.state.pump_on == bottle_id
    error = level.mean - aim_of(now, bottle_id)
    if _good_enough(now, bottle, error, on):
        return _leave(now, bottle, level.mean, error, on)
    wanted = dose(
        now.rig,
        now.beliefs,
        bottle_id,
        level_cents=_sounding(now, bottle_id, level),
        aim_cents=aim_of(now, bottle_id),
        pump_on=on,
        at_s=now.now_s,
        gauge_kpa=now.gauges_kpa.get(bottle_id),
    )
    if wanted.refused:
        return refusal(bottle, wanted.refused)
    if wanted.strokes == 0.0:
        return _leave(now, bottle, level.mean, error, on)
    change = _more if wanted.strokes > 0.0 else _less
    return change(now, bottle, wanted, error)


def _good_enough(now: Situation, bottle: Bottle, error_cents: float, on: bool) -> bool:
    """Whether more work on the bottle is not worth it now.

    The plan leaving the bottle alone is enough: then it is in the band, or it settles into it. With
    the pump off again a small miss is not worth another connection.
    """
    if bottle.id in now.state.visited and all(v.bottle != bottle.id for v in now.plan.visits):
        return True
    share = ACCEPT_SHARE if on or bottle.id not in now.state.visited else REVISIT_SHARE
    return abs(error_cents) <= max(ACCEPT_FLOOR_CENTS, share * bottle.tolerance_cents)


def _leave(now: Situation, bottle: Bottle, level_cents: float, error: float, on: bool) -> Event | Instruction:
    """Pump off first; then the bottle is in tune, or left to settle and heard again later."""
    if on:
        return _pump_off(now, bottle.id, offset_in_words(error))
    inside = abs(level_cents - now.state.shift_cents) <= bottle.tolerance_cents
    return Accepted(at_s=now.now_s, bottle=bottle.id, cents=level_cents) if inside else _elsewhere(now)


def _more(now: Situation, bottle: Bottle, wanted: Dose, error: float) -> Instruction:
    pump = now.rig.pump_of(bottle.id)
    amount = strokes_in_words(wanted.strokes)
    on = now.state.pump_on == bottle.id
    headline = f"Add {amount}" if on else f"{bottle.note.name}: pump {amount}"
    detail = "then strike" if on else f"{pump.id} onto {bottle.id}, {amount}, strike"
    if wanted.warn:
        detail = f"{detail}; {wanted.warn}"
    why = offset_in_words(error)
    caution = CAUTION_ADD.format(ceiling=_ceiling_psi(now, bottle))
    return Instruction(
        "add" if on else "connect",
        bottle.id,
        pump.id,
        wanted.strokes,
        aim_of(now, bottle.id),
        why,
        headline,
        detail,
        caution,
    )


def _ceiling_psi(now: Situation, bottle: Bottle) -> str:
    lowest = min(bottle.ceiling_kpa, now.rig.pump_of(bottle.id).max_gauge_kpa)
    return f"{kpa_to_psi(lowest):.0f}"


def _less(now: Situation, bottle: Bottle, wanted: Dose, error: float) -> Instruction:
    pump = now.rig.pump_of(bottle.id)
    amount = strokes_in_words(-wanted.strokes)
    why = offset_in_words(error)
    if now.state.pump_on == bottle.id and not pump.release_valve:
        return _pump_off(now, bottle.id, f"{why}: the rest goes out by the pin")
    by_pump = now.state.pump_on == bottle.id
    means = "the pump's release valve" if by_pump else "the pin of the valve"
    unit = "of a stroke's air" if abs(wanted.strokes) < 1.0 else "strokes' air"
    return Instruction(
        "release",
        bottle.id,
        pump.id if by_pump else None,
        wanted.strokes,
        aim_of(now, bottle.id),
        why,
        f"{bottle.note.name}: let out {amount}",
        f"by {means}, about {amount} {unit}, then strike",
    )


def _pump_off(now: Situation, bottle_id: str, why: str) -> Instruction:
    note = now.rig.bottle(bottle_id).note.name
    return Instruction(
        "disconnect",
        bottle_id,
        now.state.mounted,
        None,
        aim_of(now, bottle_id),
        why,
        f"{note}: pump off",
        "straight off, then strike",
    )


def refusal(bottle: Bottle, sentence: str) -> Instruction:
    """No more air: the ceiling. The round goes on with the next strike of another bottle."""
    return Instruction(
        "none", bottle.id, None, None, None, sentence, f"{bottle.note.name}: no more air", "", sentence
    )


def strike_instruction(now: Situation, bottle_id: str) -> Instruction:
    """Ask for one strike."""
    state, note = now.state, now.rig.bottle(bottle_id).note.name
    if bottle_id not in state.heard:
        why = "not heard in this round"
    elif state.pump_on == bottle_id:
        why = "air went in"
    else:
        why = "air moved, and this reading counts"
    return Instruction("strike", bottle_id, None, None, aim_of(now, bottle_id), why, f"Strike {note}")


def stories_of(now: Situation, bottle_id: str, advised: Instruction | None) -> tuple[Story, ...]:
    """Where a bottle's pitch may be: left as it was, or with the advised air moved. Empty if never heard."""
    if not now.beliefs.heard(bottle_id):
        return ()
    still = _sounding(now, bottle_id, now.beliefs.level(bottle_id, now.now_s))
    stories = [Story(still.mean, still.sd)]
    strokes = advised.strokes if advised is not None and advised.bottle == bottle_id else None
    if strokes:
        stories.append(_after_strokes(now, bottle_id, still, strokes))
    return tuple(stories)


def _sounding(now: Situation, bottle_id: str, level: Gauss) -> Gauss:
    """What is heard of a level: with the head on, the loss at taking it off has not come yet."""
    if now.state.pump_on != bottle_id:
        return level
    loss = now.beliefs.head_loss(bottle_id)
    return level.plus(loss.scaled(-1.0))


def _after_strokes(now: Situation, bottle_id: str, still: Gauss, strokes: float) -> Story:
    target_hz = now.rig.target_hz(bottle_id)
    hz = shifted_hz(target_hz, still.mean)
    gain = now.beliefs.gain(bottle_id, now.rig.bottle(bottle_id).pump)
    mean = cents(max(hz_after(hz, strokes, gain.mean), 0.25 * target_hz), target_hz)
    change = abs(mean - still.mean)
    relative = gain.sd / gain.mean if gain.mean > 0 else 1.0
    # Strokes are counted, not measured: a fifth either way, beside what is not known of the gain.
    return Story(mean, (still.sd**2 + (change * relative) ** 2 + (0.2 * change) ** 2) ** 0.5)


def assumed_acts(now: Situation, advised: Instruction | None, cents_heard: float) -> Sequence[Event]:
    """The advised acts that a strike of the target shows were done, oldest first."""
    if advised is None or advised.bottle is None:
        return ()
    if advised.bottle != now.state.target and advised.act != "disconnect":
        return ()
    makers: dict[str, Callable[[Situation, Instruction, float], Sequence[Event]]] = {
        "disconnect": _assume_off,
        "connect": _assume_air,
        "add": _assume_air,
        "release": _assume_air,
    }
    maker = makers.get(advised.act)
    return () if maker is None else maker(now, advised, cents_heard)


def _assume_off(now: Situation, advised: Instruction, cents_heard: float) -> Sequence[Event]:
    del cents_heard
    if now.state.pump_on is None or advised.bottle is None:
        return ()
    pump = now.rig.bottle(now.state.pump_on).pump
    return (Disconnected(at_s=now.now_s, bottle=now.state.pump_on, pump=pump, assumed=True),)


def _assume_air(now: Situation, advised: Instruction, cents_heard: float) -> Sequence[Event]:
    bottle_id, strokes = advised.bottle, advised.strokes
    if bottle_id is None or not strokes or not _went(now, bottle_id, advised, cents_heard):
        return ()
    by_pump = advised.act != "release" or advised.pump is not None
    pump = now.rig.bottle(bottle_id).pump if by_pump else None
    moved = AirMoved(at_s=now.now_s, bottle=bottle_id, pump=pump, strokes=strokes, assumed=True)
    if advised.act == "connect" and now.state.pump_on != bottle_id and pump is not None:
        return (Connected(at_s=now.now_s, bottle=bottle_id, pump=pump, assumed=True), moved)
    return (moved,)


def _went(now: Situation, bottle_id: str, advised: Instruction, cents_heard: float) -> bool:
    """Whether the pitch went far enough the advised way to show that the air was moved."""
    stories = stories_of(now, bottle_id, advised)
    if len(stories) < 2:
        return True
    still, moved = stories[0].mean_cents, stories[1].mean_cents
    if abs(moved - still) < 2.0:
        return True
    return (cents_heard - still) / (moved - still) > MOVED_SHARE
