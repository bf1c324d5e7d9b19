"""What the player is told, in few words: one function an act.

A headline is short enough to be painted large; `why` is one short phrase. The caution stands where
air goes in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.air import kpa_to_psi
from rounds.situation import Situation, aim_beside, aim_of
from rounds.view import Instruction
from rounds.words import CAUTION_ADD, in_words, offset_in_words, strokes_in_words

if TYPE_CHECKING:
    from rounds.planning.dose import Dose
    from rounds.rig import Bottle

SETTLES_S = 45.0
"""A bottle left outside its band to settle is heard again after this long."""


LOSS_TO_SAY_CENTS = 1.0
"""From this loss on at taking the head off, a reading with the head on and the way to go may disagree."""


def off_the_aim(now: Situation, bottle_id: str, error_cents: float) -> str:
    """How far a bottle will be off its aim, with the pump off."""
    text = offset_in_words(error_cents, aim_beside(now, bottle_id))
    on = now.state.pump_on == bottle_id
    loses = on and abs(now.beliefs.head_loss(bottle_id).mean) >= LOSS_TO_SAY_CENTS
    return f"{text} once the pump is off" if loses else text


def idle(why: str, headline: str = "Rest") -> Instruction:
    """Nothing to do."""
    return Instruction("none", None, None, None, None, why, headline)


def wait_for(now: Situation, settling: list[str]) -> Instruction:
    """Air was moved and the pitch still moves by itself: nothing to do but let it."""
    first = min(settling, key=lambda b: now.state.heard[b].at_s)
    wait_s = max(0.0, now.state.heard[first].at_s + SETTLES_S - now.now_s)
    why = f"{in_words(settling)} settling, about {wait_s:.0f} s"
    return Instruction("wait", None, None, None, None, why, "Let it settle")


def more(now: Situation, bottle: Bottle, wanted: Dose, error: float) -> Instruction:
    pump = now.rig.pump_of(bottle.id)
    amount = strokes_in_words(wanted.strokes)
    on = now.state.pump_on == bottle.id
    headline = f"Add {amount}" if on else f"{bottle.note.name}: pump {amount}"
    detail = "then strike" if on else f"{pump.id} onto {bottle.id}, {amount}, strike"
    if wanted.warn:
        detail = f"{detail}; {wanted.warn}"
    why = off_the_aim(now, bottle.id, error)
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


def less(now: Situation, bottle: Bottle, wanted: Dose, error: float) -> Instruction:
    pump = now.rig.pump_of(bottle.id)
    amount = strokes_in_words(-wanted.strokes)
    why = off_the_aim(now, bottle.id, error)
    if now.state.pump_on == bottle.id and not pump.release_valve:
        return pump_off(now, bottle.id, f"{why}: the rest goes out by the pin")
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


def pump_off(now: Situation, bottle_id: str, why: str) -> Instruction:
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
