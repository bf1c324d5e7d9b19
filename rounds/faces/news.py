"""What must be said of the step from one view to the next, for those who do not see the screen.

Pure. Only news is said, in the order in which it is needed (the reading, then what to do about it),
since a voice cannot be skimmed. While a take runs there is no news at all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.faces import plain, plainpair
from rounds.instruction import TIME_IS_SHORT, TIME_MAY_BE

if TYPE_CHECKING:
    from rounds.faces.view import ReadingView, View
    from rounds.instruction import Instruction

_DOWNBEAT_CALLS_S = (600.0, 300.0, 120.0, 60.0)
"""The time to the downbeat is said when it passes these."""
ONE_STRIKE_S = 0.5
"""Readings whose strikes lie this close together are looks at the same strike."""
ANOTHER_STORY_CENTS = 3.0
"""A later look at a strike is said when it differs by more than this and by more than both doubts."""


class Reminder:
    """Remembers whether the present due time was announced already."""

    def __init__(self) -> None:
        self.announced = False

    def rings(self, view: View) -> bool:
        """Whether to ring now; true once for each time a round falls due."""
        if view.mode == "take":
            return False
        due = view.mode == "between" and view.due.overdue
        ring = due and not self.announced
        self.announced = due
        return ring


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
        *(plainpair.news(before, after) if after.people else _news_of_hands(before, after)),
        *_news_of_round(before, after),
    ]


def _news_of_hands(before: View, after: View) -> list[str]:
    return [*_news_of_pump(before, after), *_news_of_instruction(before, after)]


def _turned(before: View, after: View) -> list[str]:
    opening = ["Cut."] if before.mode == "take" else []
    if after.mode == "round":
        return [
            *opening,
            f"A round is open: {after.needed} bottles needed.",
            *plain.orders(after),
        ]
    if before.mode == "round":
        opening.append(f"The round is over. {plain.connections(before)}")
    left_on = [plain.sentence(after.message)] * bool(after.message)
    return [*opening, *plain.due(after), *left_on]


def _news_of_reading(before: View, after: View) -> list[str]:
    """A strike is said once, when it is measured; again only when a later look differs.

    The first look is for eyes: what it shows may be denied a moment later, and a voice takes nothing back.
    """
    if after.reading is None or not after.reading.final or _told_already(before, after):
        return []
    return plain.reading(after)


def _told_already(before: View, after: View) -> bool:
    one, other = before.reading, after.reading
    if one is None or other is None or not one.final:
        return False
    if abs(_struck_s(before, one) - _struck_s(after, other)) > ONE_STRIKE_S:
        return False
    if (one.bottle, one.verdict) != (other.bottle, other.verdict):
        return False
    if one.cents is None or other.cents is None:
        return one.cents == other.cents
    doubt_cents = (one.u95_cents or 0.0) + (other.u95_cents or 0.0)
    return abs(one.cents - other.cents) <= max(ANOTHER_STORY_CENTS, doubt_cents)


def _struck_s(view: View, reading: ReadingView) -> float:
    """When the strike was, from the beginning of the round."""
    return (view.elapsed_s or 0.0) - reading.age_s


def _news_of_pump(before: View, after: View) -> list[str]:
    if before.pump_on == after.pump_on:
        return []
    return ["The head is off."] if after.pump_on is None else [f"The head is on {plain.name(after.pump_on)}."]


def _news_of_instruction(before: View, after: View) -> list[str]:
    if before.instruction == after.instruction:
        return []
    told, said = after.instruction, plain.instruction(after.instruction)
    if told.act == before.instruction.act == "strike" and told.why == before.instruction.why:
        return said[:1]
    return said[1:] if _caution_said(before.instruction, told) else said


def _caution_said(before: Instruction, after: Instruction) -> bool:
    return after.caution is not None and after.caution != after.why and before.caution == after.caution


def _news_of_round(before: View, after: View) -> list[str]:
    said = []
    if after.left != before.left:
        said.append(f"{after.left} to do.")
    if after.maybe_swapped and after.maybe_swapped != before.maybe_swapped:
        said.append(plain.maybe_swapped(after.maybe_swapped))
    if after.message and after.message != before.message and not _time_is_short(before, after):
        said.append(plain.sentence(after.message))
    if before.downbeat_in_s is not None and after.downbeat_in_s is not None:
        passed = (c for c in _DOWNBEAT_CALLS_S if after.downbeat_in_s <= c < before.downbeat_in_s)
        said += [plain.downbeat(call) for call in passed]
    return said


def _time_is_short(before: View, after: View) -> bool:
    """Said once as it begins; the bottles it costs may change with every strike: `status` lists them."""
    return any(
        before.message.startswith(m) and after.message.startswith(m) for m in (TIME_IS_SHORT, TIME_MAY_BE)
    )
