"""What a key is answered: what was done, named by its bottle, or why it cannot work now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.tui.widgets.pair import MARKS
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.faces.view import View
    from rounds.tui.intents import Intent

UNDO = "  u takes it back."
"""Stands after what was done: a wrong key wants it at that moment, and the key line has no room for it."""


def done(name: str, before: View, after: View) -> str:
    """What an intent did, in a sentence; empty where the screen says it anyway."""
    bottle = plain(before.pump_on or before.instruction.bottle or "it", 8)
    asked = plain(before.instruction.bottle or "it", 8)
    match name:
        case "stroke_in":
            on = "" if before.pump_on else " The pump counts as on it."
            return f"One stroke into {bottle}.{on}{UNDO}"
        case "stroke_out":
            return f"One stroke out of {bottle}.{UNDO}"
        case "again":
            return f"Strike {asked} again."
        case "skip":
            return f"{asked} is skipped; b takes it back."
        case "pump":
            return (
                f"Pump on {plain(after.pump_on, 8)}.{UNDO}" if after.pump_on else f"Pump off {bottle}.{UNDO}"
            )
        case "back":
            return _back(after)
        case "other":
            return "".join(f"The keys are person {i}'s." for i, p in enumerate(after.people, 1) if p.has_keys)
        case _:
            return ""


def taken_back(words: str, after: View) -> str:
    """What was taken back, and what the next would be: strikes come in between a slip and its undo."""
    more = f" u again: {after.next_undo}." if after.next_undo else ""
    return f"Taken back: {words}.{more}"


def _back(after: View) -> str:
    told = after.instruction
    if told.act == "disconnect":
        return f"Back. First the pump comes off {plain(told.bottle or 'the valve', 8)}."
    return f"Back to {plain(told.bottle, 8)}." if told.bottle else ""


def marked(before: View, answer: str) -> str:
    """The same with the mark of the person who pressed the key, where two tune."""
    mark = next((MARKS[i] for i, p in enumerate(before.people) if p.has_keys), "")
    return f"{mark} {answer}" if mark and answer else answer


def why_not(intent: Intent, view: View) -> str:
    """Why an intent cannot work now, and what to do first."""
    if intent.name == "undo":
        new = " r begins a new round; what was heard is kept." if view.mode == "between" else ""
        return f"Nothing to take back.{new}"
    if view.mode == "between":
        return f"{intent.title}: only in a round; r begins one."
    if intent.name == "take":
        return "Take: end the round first (e)."
    if intent.name == "open_round":
        return "A round is open; e ends it."
    return f"{intent.title}: no bottle is asked for now."
