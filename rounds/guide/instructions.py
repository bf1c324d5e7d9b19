"""The words of each instruction: one function an act.

A headline is short enough to be painted large; `why` is one short phrase. The caution stands where
air goes in.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.air import kpa_to_psi, pressure_figure, psi_to_kpa, stroke_kpa
from rounds.instruction import Instruction
from rounds.wording.shown import sentence
from rounds.wording.words import (
    CAUTION_IN,
    CAUTION_OFF,
    CAUTION_OUT,
    in_words,
    offset_in_words,
    pump_name,
    strokes_in_words,
    strokes_phrase,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.guide.situation import Situation
    from rounds.planning.dose import Dose
    from rounds.rig import Bottle, Rig

LATER = "Nothing to do yet"
"""The headline while what is left waits for the last minutes."""
SETTLES_S = 45.0
"""A bottle left outside its band to settle is heard again after this long."""


STOP_ABOVE_KPA, STOP_ABOVE_SHARE = psi_to_kpa(3.0), 0.2
"""A dial that shows so much more than was expected ends the pumping: the larger of the two. Our guess."""
LET_DOWN_SHARE = 0.9
"""A bottle above its limit is let down to this share of it."""
AS_IF_EMPTY_CENTS, FIRST_BOTTLES = 700.0, 2
"""One of the first bottles found so far down suggests that all are empty: most of an octave. Our guess."""
SET_WAIT_S = 3.0
"""So long a regulator stays on until the bottle has the pressure that is set. Common practice, no source."""
ALL_EMPTY = "all empty? Say so, and they are filled first"
LOSS_TO_SAY_CENTS = 1.0
"""From this loss on at taking the head off, a reading with the head on and the way to go may disagree."""


def off_the_aim(now: Situation, bottle_id: str, error_cents: float) -> str:
    """How far a bottle will be off its aim, with the pump off."""
    text = offset_in_words(error_cents, now.aim_beside(bottle_id))
    on = now.state.pump_on == bottle_id
    loses = on and abs(now.beliefs.head_loss(bottle_id).mean) >= LOSS_TO_SAY_CENTS
    text = f"{text} once the pump is off" if loses else text
    return f"{text}, for some settles back" if bottle_id in now.filled_to else text


def idle(why: str, headline: str = "Rest") -> Instruction:
    """Nothing to do."""
    return Instruction("none", None, None, None, None, why, headline)


def heads_left_on(heads: Sequence[str]) -> str:
    """Which pump heads still hang on valves; nothing when none does."""
    if not heads:
        return ""
    pumps, them = ("a pump is", "it") if len(heads) == 1 else ("pumps are", "them")
    return f"{pumps} still on {in_words(heads)}: take {them} off"


def no_round(heads: Sequence[str]) -> Instruction:
    """No round is open; heads that are on must come off all the same."""
    return idle("; ".join(filter(None, ("no round is open", heads_left_on(heads)))))


def wait_for(now: Situation, settling: list[str]) -> Instruction:
    """Air was moved and the pitch still moves by itself: nothing to do but let it."""
    since_s = {b: max(now.state.heard[b].at_s, now.state.left_at_s.get(b, 0.0)) for b in settling}
    wait_s = max(0.0, min(since_s.values()) + SETTLES_S - now.now_s)
    why = f"{in_words(settling)} settling, about {wait_s:.0f} s"
    return Instruction("wait", None, None, None, None, why, "Let it settle")


def left_for_last(now: Situation, later: list[str], before_s: float) -> Instruction:
    """What is left would not last until the playing starts: it is tuned in the last minutes.

    No countdown: a sentence that changes by itself would be read out again and again.
    """
    stay, they_come = ("won't stay put", "They come") if len(later) > 1 else ("won't stay put", "It comes")
    minutes = math.ceil(before_s / 60.0)
    why = f"{in_words(later)} {stay}. {they_come} last, {minutes} min before the downbeat"
    return Instruction("wait", None, None, None, None, why, LATER)


def more(now: Situation, bottle: Bottle, wanted: Dose, error: float) -> Instruction:
    pump = now.rig.pump_of(bottle.id)
    amount, phrase = strokes_in_words(wanted.strokes), strokes_phrase(wanted.strokes)
    on = now.state.pump_on == bottle.id
    headline = f"Add {amount}" if on else f"{bottle.note.name}: pump {amount}"
    todo = (
        f"give {bottle.id} {phrase} more" if on else f"put {pump_name(pump.id)} on {bottle.id}, {phrase} in"
    )
    left_cents = now.aim_of(bottle.id) - wanted.after.mean
    detail = f"{todo}, then {'listen: more may follow' if left_cents > bottle.tolerance_cents else 'strike'}"
    if wanted.warn:
        detail = f"{detail}. {sentence(wanted.warn)}"
    why = off_the_aim(now, bottle.id, error) if on else _why_go(now, bottle, error)
    stop_kpa = stop_at_kpa(now.rig, bottle.id, wanted.gauge_kpa)
    return Instruction(
        "add" if on else "connect",
        bottle.id,
        pump.id,
        wanted.strokes,
        now.aim_of(bottle.id),
        why,
        headline,
        detail,
        _caution_in(now, bottle, wanted.gauge_kpa, stop_kpa),
        expected_kpa=wanted.gauge_kpa,
        stop_kpa=stop_kpa,
    )


def fill_empty(now: Situation, bottle: Bottle, strokes: float) -> Instruction:
    """The first air into an empty bottle: nobody strikes it before. To a pressure, where there is a gauge."""
    pump = now.rig.pump_of(bottle.id)
    expected_kpa = strokes * stroke_kpa(pump.barrel_ml, bottle.volume_ml)
    stop_kpa = stop_at_kpa(now.rig, bottle.id, expected_kpa)
    by_gauge = pump.gauge is True or pump.kind == "regulator"
    figure = f"{pressure_figure(expected_kpa, pump.gauge_unit)} {pump.gauge_unit}"
    headline, how = f"pump {strokes_in_words(strokes)}", f"{strokes_phrase(strokes)} in"
    if by_gauge:
        headline, how = f"pump to {figure}", f"pump until it shows {figure}, about {strokes_phrase(strokes)}"
    if pump.kind == "regulator":
        headline, how = f"set {figure}", f"set {figure}, fill, wait {SET_WAIT_S:.0f} s"
    return Instruction(
        "connect",
        bottle.id,
        pump.id,
        strokes,
        now.aim_of(bottle.id),
        "empty: most of its air first",
        f"{bottle.note.name}: {headline}",
        f"put {pump_name(pump.id)} on {bottle.id}, {how}, then strike. "
        "If it is not soft to the touch, let its air out first",
        _caution_in(now, bottle, expected_kpa, stop_kpa),
        expected_kpa=expected_kpa,
        stop_kpa=stop_kpa,
        to_kpa=expected_kpa if by_gauge else None,
    )


def stop_at_kpa(rig: Rig, bottle_id: str, expected_kpa: float) -> float:
    """Where to stop pumping whatever the count says: a little above what is expected, never past a limit."""
    return min(rig.limit_kpa(bottle_id), expected_kpa + max(STOP_ABOVE_KPA, STOP_ABOVE_SHARE * expected_kpa))


def _caution_in(now: Situation, bottle: Bottle, expected_kpa: float, stop_kpa: float) -> str:
    """The caution of an order that puts air in: this bottle's numbers, in the unit of its pump's dial."""
    pump = now.rig.pump_of(bottle.id)
    return CAUTION_IN.format(
        expected=pressure_figure(expected_kpa, pump.gauge_unit),
        stop=pressure_figure(stop_kpa, pump.gauge_unit),
        unit=pump.gauge_unit,
    )


def less(now: Situation, bottle: Bottle, wanted: Dose, error: float) -> Instruction:
    pump = now.rig.pump_of(bottle.id)
    amount = strokes_in_words(-wanted.strokes)
    why = _why_go(now, bottle, error)
    if now.state.pump_on == bottle.id and not pump.release_valve:
        return pump_off(now, bottle.id, f"{why}: the rest goes out by the pin")
    by_pump = now.state.pump_on == bottle.id
    means = "the pump's release valve" if by_pump else "the pin"
    return Instruction(
        "release",
        bottle.id,
        pump.id if by_pump else None,
        wanted.strokes,
        now.aim_of(bottle.id),
        why,
        f"{bottle.note.name}: let out {amount}",
        f"let out about {strokes_phrase(wanted.strokes)} by {means}, then strike",
        CAUTION_OUT,
        expected_kpa=wanted.gauge_kpa,
        stop_kpa=stop_at_kpa(now.rig, bottle.id, wanted.gauge_kpa),
    )


def _why_go(now: Situation, bottle: Bottle, error_cents: float) -> str:
    """How far off the aim a bottle is; of one that is in tune, why it is touched all the same."""
    text = off_the_aim(now, bottle.id, error_cents)
    if error_cents < -AS_IF_EMPTY_CENTS and len(now.state.heard) <= FIRST_BOTTLES:
        return f"{text}: {ALL_EMPTY}"
    beside = now.aim_beside(bottle.id)
    reasons = (v.why for v in now.plan.visits if v.bottle == bottle.id)
    if now.state.pump_on == bottle.id or abs(error_cents + beside) > bottle.tolerance_cents:
        return text
    return ". ".join([text, *map(sentence, reasons)]).removesuffix(".")


def let_down(now: Situation, bottle_id: str) -> Instruction:
    """A gauge reads more than the bottle's limit: pump off and air out first, whatever its pitch."""
    bottle, pump = now.rig.bottle(bottle_id), now.rig.pump_of(bottle_id)
    gauge_kpa = now.measured_kpa(bottle_id)
    limit_kpa = bottle.ceiling_kpa
    above_kpa = min(LET_DOWN_SHARE * limit_kpa, gauge_kpa - LET_DOWN_SHARE * limit_kpa)
    strokes = above_kpa / stroke_kpa(pump.barrel_ml, bottle.volume_ml)
    why = f"{kpa_to_psi(gauge_kpa):.0f} psi is above its limit of {kpa_to_psi(limit_kpa):.0f}"
    let_out = "eyes covered, nobody over the cap: air out by the pin now, then read the gauge again"
    told = Instruction(
        "release",
        bottle_id,
        None,
        -max(1.0, math.ceil(strokes)),
        now.aim_of(bottle_id),
        why,
        f"{bottle.note.name}: let air out",
        let_out,
        f"{bottle_id}: {why}. Let air out now, eyes covered, nobody over the cap.",
        then_strike=False,
    )
    if now.state.pump_on != bottle_id:
        return told
    off = f"take the pump straight off {bottle_id}; {let_out}"
    return replace(told, act="disconnect", strokes=None, headline=f"{bottle.note.name}: head off", detail=off)


def heard_unlike(now: Situation, bottle: Bottle, off_cents: float) -> Instruction:
    """A reading far from what is believed: what went the wrong way is said, and it is struck again."""
    went, not_so = ("sharper", "flatter") if off_cents > 0.0 else ("flatter", "sharper")
    level = now.beliefs.level(bottle.id, now.now_s)
    asked_up = level.mean < now.aim_of(bottle.id)
    if bottle.id in now.state.visited and asked_up == (off_cents < 0.0):
        return once_more(now, bottle, f"it went {went}, not {not_so}: strike it again, no air yet")
    why = f"that is {abs(off_cents):.0f} cents {went} than it should be: strike it again, no air yet"
    return once_more(now, bottle, why)


def in_vain(now: Situation, bottle_id: str) -> str:
    """Why a bottle is set aside, and what to do about it."""
    times = now.state.asked.get(bottle_id, 0)
    if bottle_id in now.state.heard and bottle_id in now.state.visited - now.state.moved:
        return f"takes no air after {times} strikes: look at its valve and cap"
    if bottle_id in now.state.heard and bottle_id not in now.state.moved:
        return f"sounds the same after {times} strikes"
    if not now.state.heard and len(now.state.needed) > 1:
        return f"gave no tone we know in {times} strikes: {ALL_EMPTY}"
    return f"not told after {times} strikes: flat bottle? Pump 3, then strike"


def pump_off(now: Situation, bottle_id: str, why: str, *, leave: bool = False) -> Instruction:
    """The head comes off. `leave`: the bottle is not struck after it; any strike shows that it is off."""
    note = now.rig.bottle(bottle_id).note.name
    if leave:
        off = f"take the pump straight off {bottle_id} and leave it; then strike any other"
        aim = now.aim_of(bottle_id)
        headline = f"{note}: head off"
        return Instruction(
            "disconnect", bottle_id, now.state.mounted, None, aim, why, headline, off, then_strike=False
        )
    return Instruction(
        "disconnect",
        bottle_id,
        now.state.mounted,
        None,
        now.aim_of(bottle_id),
        why,
        f"{note}: head off",
        f"take the pump straight off {bottle_id}, then strike it",
        CAUTION_OFF,
    )


def read_gauge(now: Situation, bottle: Bottle, why: str) -> Instruction:
    """Ask for the pressure: nothing else tells how much more air the bottle may be given."""
    pump = now.rig.pump_of(bottle.id)
    on = "" if now.state.pump_on == bottle.id else f"put {pump_name(pump.id)} on {bottle.id}, "
    return Instruction(
        "gauge",
        bottle.id,
        pump.id,
        None,
        now.aim_of(bottle.id),
        why,
        f"{bottle.note.name}: read the gauge",
        f"{on}read its gauge and tell what it shows in {pump.gauge_unit}, or that there is none",
        CAUTION_OFF,
        then_strike=False,
    )


def refusal(now: Situation, bottle: Bottle, sentence: str) -> Instruction:
    """No more air: the ceiling. The round goes on with the next strike of another bottle.

    Where one strike heard it lower than what refuses it, a second one that agrees is asked for first.
    """
    log = now.air.get(bottle.id)
    if log is not None and len(log.low) == 1 and not now.state.nearly_tired:
        return once_more(now, bottle, "it sounds lower than before: once more, to be sure")
    return Instruction(
        "none", bottle.id, None, None, None, sentence, f"{bottle.note.name}: no more air", "", sentence
    )


def once_more(now: Situation, bottle: Bottle, why: str) -> Instruction:
    """One strike is not enough to go by; a second one that agrees is."""
    aim_cents = now.aim_of(bottle.id)
    headline = f"Strike {bottle.note.name} again"
    return Instruction("strike", bottle.id, None, None, aim_cents, why, headline)


def strike_again(told: Instruction, note: str) -> Instruction:
    """Air was asked for, and the strike after it showed nothing: whatever was pumped is in already."""
    why = "don't pump again, just strike"
    return Instruction("strike", told.bottle, None, None, told.aim_cents, why, f"Strike {note}")


def strike_instruction(now: Situation, bottle_id: str) -> Instruction:
    """Ask for one strike."""
    state, note = now.state, now.rig.bottle(bottle_id).note.name
    if state.purpose == "compare":
        why = f"to compare: {state.compare_for} sounded like it twice"
    elif bottle_id not in state.heard:
        why = "not heard in this round"
        if state.pump_on == bottle_id:
            why = "let's hear what that did"
    elif state.pump_on == bottle_id:
        why = "let's hear what that did"
    elif state.purpose == "listen":
        why = "see if it has settled" if bottle_id in state.visited else "it's been a while"
    elif bottle_id in state.moved:
        why = "its air has changed"
    else:
        why = "not what we expected, so once more"
    if state.newly_aside is not None and state.newly_aside != bottle_id:
        reason = state.skipped.get(state.newly_aside) or f"comes later: {in_vain(now, state.newly_aside)}"
        why = f"{why}. {state.newly_aside} {reason}"
    return Instruction("strike", bottle_id, None, None, now.aim_of(bottle_id), why, f"Strike {note}")
