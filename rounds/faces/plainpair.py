"""What is new for two people, in sentences, each with its person's number.

Pure, like `rounds.faces.plain` and `rounds.faces.news`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.faces import plain

if TYPE_CHECKING:
    from rounds.faces.view import PersonView, View


def news(before: View, after: View) -> list[str]:
    """What is new of each one's pump and instruction."""
    said = []
    for i, now in enumerate(after.people):
        was = before.people[i] if i < len(before.people) else None
        said += [*_news_of_pump(i, was, now), *_news_of(i, was, now)]
    return said


def _news_of_pump(person: int, was: PersonView | None, now: PersonView) -> list[str]:
    if was is None or was.pump_on == now.pump_on:
        return []
    where = "pump off" if now.pump_on is None else f"pump on {plain.name(now.pump_on)}"
    return [f"Person {person + 1}: {where}."]


def _news_of(person: int, was: PersonView | None, now: PersonView) -> list[str]:
    if was is not None and plain.instruction(was.instruction) == plain.instruction(now.instruction):
        return []  # an aim that moved by a hair, since the other was heard, is no news
    told = now.instruction
    same = was is not None and (was.instruction.bottle, was.instruction.strokes) == (
        told.bottle,
        told.strokes,
    )
    if same and now.holds and not (was and was.holds):
        return [f"Person {person + 1}: hold your strike."]
    if same and was is not None and was.holds and not now.holds and told.bottle:
        return [f"Person {person + 1}: your turn, strike {plain.name(told.bottle)}."]
    return plain.of_person(person, now)
