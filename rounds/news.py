"""What must be said of the step from one view to the next, for those who do not see the screen.

Pure. Only news is said, in the order in which it is needed (the reading, then what to do about it),
since a voice cannot be skimmed. While a take runs there is no news at all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds import plain

if TYPE_CHECKING:
    from rounds.view import Instruction, ReadingView, View

_DOWNBEAT_CALLS_S = (600.0, 300.0, 120.0, 60.0)
"""The time to the downbeat is said when it passes these."""


def news(before: View, after: View) -> list[str]:
    """What must be said of the step from one view to the next; nothing inside a take."""
    if after.mode == "take":
        return plain.take(after) if before.mode != "take" else []
    if before.mode != after.mode:
        return _turned(before, after)
    if after.mode == "between":
        return plain.due(after) if after.due.overdue and not before.due.overdue else []
    return [
        *_news_of_reading(before, after),
        *_news_of_pump(before, after),
        *_news_of_instruction(before, after),
        *_news_of_round(before, after),
    ]


def _turned(before: View, after: View) -> list[str]:
    opening = ["Cut."] if before.mode == "take" else []
    if after.mode == "round":
        return [
            *opening,
            f"A round is open: {after.needed} bottles needed.",
            *plain.instruction(after.instruction),
        ]
    if before.mode == "round":
        opening.append(f"The round is over. {plain.connections(before)}")
    return [*opening, *plain.due(after)]


def _news_of_reading(before: View, after: View) -> list[str]:
    heard = after.reading
    if heard is None or (before.reading is not None and _same_strike(before.reading, heard)):
        return []
    return plain.reading(heard)


def _same_strike(one: ReadingView, other: ReadingView) -> bool:
    """A strike only grows older: a younger reading is a new strike, even with the same figures."""
    same = (one.bottle, one.cents, one.verdict, one.hz) == (
        other.bottle,
        other.cents,
        other.verdict,
        other.hz,
    )
    return same and other.age_s >= one.age_s


def _news_of_pump(before: View, after: View) -> list[str]:
    if before.pump_on == after.pump_on:
        return []
    return ["Pump off."] if after.pump_on is None else [f"Pump on {plain.name(after.pump_on)}."]


def _news_of_instruction(before: View, after: View) -> list[str]:
    if before.instruction == after.instruction:
        return []
    said = plain.instruction(after.instruction)
    return said[:-1] if _caution_said(before.instruction, after.instruction) else said


def _caution_said(before: Instruction, after: Instruction) -> bool:
    return after.caution is not None and after.caution != after.why and before.caution == after.caution


def _news_of_round(before: View, after: View) -> list[str]:
    said = []
    if after.left != before.left:
        said.append(f"{after.left} to do.")
    if after.message and after.message != before.message:
        said.append(plain.sentence(after.message))
    if after.sacrificed and after.sacrificed != before.sacrificed:
        said.append(f"For want of time these stay out at the downbeat: {plain.names(after.sacrificed)}.")
    if before.downbeat_in_s is not None and after.downbeat_in_s is not None:
        passed = (c for c in _DOWNBEAT_CALLS_S if after.downbeat_in_s <= c < before.downbeat_in_s)
        said += [plain.downbeat(call) for call in passed]
    return said
