"""What a key is answered: what was done, named by its bottle, or why it cannot work now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.tui.widgets.pair import MARKS
from rounds.wording import shown
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.faces.view import View
    from rounds.tui.intents import Intent

UNDO = "  {undo} undoes it."
"""Stands after what was done: a wrong key wants it at that moment, and the key line has no room for it."""


def done(name: str, before: View, after: View) -> str:
    """What an intent did, in a sentence; empty where the screen says it anyway."""
    bottle = plain(before.pump_on or before.instruction.bottle or "it", 8)
    asked = plain(before.instruction.bottle or "it", 8)
    match name:
        case "stroke_in":
            on = "" if before.pump_on else " So the head is on."
            return f"One stroke into {bottle}.{on}{UNDO}"
        case "stroke_out":
            return f"One stroke out of {bottle}.{UNDO}"
        case "offer":
            return f"{asked}: {shown.order(before.instruction).lower()}, done.{UNDO}"
        case "again":
            return f"Strike {asked} again."
        case "skip":
            return f"{asked} is left out. {{back}} brings it back."
        case "pump":
            return (
                f"The head is on {plain(after.pump_on, 8)}.{UNDO}"
                if after.pump_on
                else f"The head is off {bottle}.{UNDO}"
            )
        case "back":
            return _back(after)
        case "other":
            return "".join(f"The keys are person {i}'s." for i, p in enumerate(after.people, 1) if p.has_keys)
        case _:
            return ""


def swapped(one: str, other: str) -> str:
    """Two bottles changed places."""
    return f"{plain(one, 12)} and {plain(other, 12)} changed places. Strike both when asked.{UNDO}"


def taken_back(words: str, after: View) -> str:
    """What was undone, and what the next would be: strikes come in between a slip and its undo."""
    more = f" {{undo}} again: {after.next_undo}." if after.next_undo else ""
    return f"Undone: {words}.{more}"


def _back(after: View) -> str:
    told = after.instruction
    if told.act == "disconnect":
        return f"Going back. Head off {plain(told.bottle or 'the valve', 8)} first."
    return f"Back to {plain(told.bottle, 8)}." if told.bottle else ""


def marked(before: View, answer: str) -> str:
    """The same with the mark of the person who pressed the key, where two tune."""
    mark = next((MARKS[i] for i, p in enumerate(before.people) if p.has_keys), "")
    return f"{mark} {answer}" if mark and answer else answer


def why_not(intent: Intent, view: View) -> str:
    """Why an intent cannot work now, and what to do first."""
    if intent.name == "undo":
        new = " {open_round} begins a new round; what was heard is kept." if view.mode == "between" else ""
        return f"Nothing to undo.{new}"
    if view.mode == "between":
        return f"{intent.title}: only in a round; {{open_round}} begins one."
    if intent.name == "take":
        return "Take: end the round first ({end_round})."
    if intent.name == "open_round":
        return "A round is open; {end_round} ends it."
    if intent.name == "offer":
        told = view.instruction
        return (
            f"Strike {plain(told.bottle, 8)}: no key is needed."
            if told.act == "strike" and told.bottle
            else ""
        )
    return f"{intent.title}: no bottle is in hand."
