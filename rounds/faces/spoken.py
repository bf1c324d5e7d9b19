"""What the voice says of the step from one view to the next: six words at most, the newest order first. Pure.

A note's name counts as one word. Nothing is said in a take, nor while a strike is measured.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.faces.plain import name
from rounds.wording.shown import LEAST_COUNTED, MOVES_AIR, PARTS_SPOKEN
from rounds.wording.words import eighths

if TYPE_CHECKING:
    from rounds.faces.view import View
    from rounds.instruction import Instruction

MOST_WORDS = 6
_COUNTS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven")


def spoken(before: View | None, after: View) -> str:
    """The words for what is new; empty where nothing is, and always in a take."""
    if after.mode == "take":
        return ""
    if after.mode == "between":
        due = after.due.overdue and before is not None and not before.due.overdue
        return "Tune now" if due else ""
    if after.reading is not None and not after.reading.final:
        return ""
    order = said_order(after.instruction)
    if before is None or before.mode != "round":
        return order
    told, was = after.instruction, before.instruction
    if (told.act, told.bottle, told.strokes) != (was.act, was.bottle, was.strokes):
        return _after_another(before, after, order)
    return _of_no_use(before, after)


def _after_another(before: View, after: View, order: str) -> str:
    """`Holds. Next, C4` where the bottle before is done; else the order."""
    left = before.instruction.bottle
    held = any(b.id == left and b.state == "holds" for b in after.bottles)
    told = after.instruction
    if held and told.bottle is not None and told.bottle != left and told.act == "strike":
        return f"Holds. Next, {name(told.bottle)}"
    return order


def _of_no_use(before: View, after: View) -> str:
    """A strike came in and the order stays: it did not count."""
    told, heard = after.instruction, after.reading
    new = heard is not None and heard.verdict != "clear" and heard != before.reading
    fresh = new and heard is not None and (before.reading is None or heard.age_s < before.reading.age_s)
    if not fresh or told.act != "strike" or told.bottle is None:
        return ""
    return f"Not counted. Strike {name(told.bottle)}"


def said_order(told: Instruction) -> str:
    """`A5: two and a half in`, `C4: strike`."""
    if told.bottle is None:
        return "Done" if told.act == "none" else ""
    bottle = name(told.bottle)
    if told.act in MOVES_AIR and told.strokes and told.then_strike:
        way = {"connect": "in", "add": "more"}.get(told.act, "out")
        return f"{bottle}: {strokes(told.strokes)} {way}"
    words = {
        "strike": "strike",
        "connect": "pump to the gauge",
        "add": "pump to the gauge",
        "release": "let air out",
        "disconnect": "head off, then strike" if told.then_strike else "head off",
        "gauge": "read the gauge",
        "none": "no more air",
    }.get(told.act, "")
    return f"{bottle}: {words}" if words else ""


def strokes(count: float) -> str:
    """`two and a half`, `a quarter`, `a bit`: as it is painted, in the fewest words."""
    whole, rest = divmod(eighths(count), 8)
    if not whole:
        return PARTS_SPOKEN[rest] if rest >= LEAST_COUNTED else "a bit"
    spelled = _COUNTS[whole] if whole < len(_COUNTS) else str(whole)
    return f"{spelled} and {PARTS_SPOKEN[rest]}" if rest else spelled
