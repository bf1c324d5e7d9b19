"""A round that lets all bottles down, before they travel or when one holds too much: no ear, no pump. Pure.

In walking order, by the pin; the player says when nothing comes any more. Nothing is struck.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.events import Event, Sent
from rounds.guide.instructions import idle, pump_off
from rounds.instruction import Instruction
from rounds.planning.walking import walking_order
from rounds.wording.words import counted, in_words

if TYPE_CHECKING:
    from rounds.guide.situation import Situation

CAUTION = "Eyes covered, face beside the bottle and never over the cap; short presses."


def next_to_let_down(now: Situation) -> Event | Instruction:
    """Go to the next bottle, or let out the air of the one at hand."""
    state = now.state
    if state.pump_on is not None:
        return pump_off(now, state.pump_on, "it comes off before the air goes out", leave=True)
    left = state.open_bottles
    if not left:
        return _down(now)
    if state.target not in left:
        first = walking_order(now.rig, left, state.at_bottle)[0]
        return Sent(at_s=now.now_s, bottle=first, purpose="visit")
    return let_all_out(now, state.target, len(left))


def let_all_out(now: Situation, bottle_id: str, left: int) -> Instruction:
    """All air out of one bottle."""
    note = now.rig.bottle(bottle_id).note.name
    return Instruction(
        "release",
        bottle_id,
        None,
        None,
        None,
        f"{counted(left, 'bottle')} to let down",
        f"{note}: all air out" if note == bottle_id else f"{bottle_id}: all air out",
        f"let {bottle_id} down by the pin until nothing comes any more; then say that it is done",
        CAUTION,
        then_strike=False,
    )


def _down(now: Situation) -> Instruction:
    state = now.state
    kept = [b for b in state.opened.needed if b in state.skipped]
    return idle(f"left as they are: {in_words(kept)}" if kept else "every bottle is down", "All down")
