"""Everything a player can ask for: its key, its words, and when it can work.

One table feeds the key line, the help, the command palette and the key bindings, so they cannot
disagree; the plain face has a word for each of these (a test holds it so).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.faces.offering import offered

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.faces.offering import Offer
    from rounds.faces.view import View


@dataclass(frozen=True)
class Intent:
    """One thing to ask for. Intents stand in the order of the key line."""

    name: str
    keys: str
    cap: str
    word: str
    title: str
    help: str
    can: Callable[[View], bool]
    anywhere: bool = False
    """Works on the pages beside the round too."""

    @property
    def action(self) -> str:
        """The app's action for it."""
        return f"intent('{self.name}')"


def _in_round(view: View) -> bool:
    return view.mode == "round"


def _at_bottle(view: View) -> bool:
    return _in_round(view) and view.instruction.bottle is not None


def _two(view: View) -> bool:
    return _in_round(view) and bool(view.people)


def _between(view: View) -> bool:
    return view.mode == "between"


def _no_take(view: View) -> bool:
    return view.mode != "take"


def _undoable(view: View) -> bool:
    return _no_take(view) and bool(view.next_undo)


def _take(view: View) -> bool:
    return view.mode in ("between", "take")


def _offer(view: View) -> bool:
    return bool(offered(view))


def _gauge(view: View) -> bool:
    return offered(view) == "gauge"


def _swapped(view: View) -> bool:
    return offered(view) == "swapped"


def _always(view: View) -> bool:
    return True


INTENTS: tuple[Intent, ...] = (
    Intent(
        "offer", "enter", "Enter", "done", "Take what is offered", "Say that the big words are done.", _offer
    ),
    Intent("no_gauge", "j", "j", "no gauge here", "No gauge here", "Its pump has none to read.", _gauge),
    Intent("not_swapped", "y", "y", "they hang right", "Not swapped", "They hang in their places.", _swapped),
    Intent("open_round", "r", "r", "round", "Start a round", "Say when the downbeat is.", _between),
    Intent(
        "again", "space", "space", "again", "Hear it again", "The last strike does not count.", _at_bottle
    ),
    Intent(
        "skip",
        "s",
        "s",
        "leave out",
        "Leave this bottle out",
        "Of this round only; {back} brings it back.",
        _at_bottle,
    ),
    Intent("back", "b,backspace", "b", "back", "Go back", "To the bottle before.", _in_round),
    Intent("other", "k", "k", "keys 1/2", "Keys to the other", "Give the keys to the other player.", _two),
    Intent(
        "pump", "p", "p", "head on/off", "Head on or off", "The pump head went on, or came off.", _at_bottle
    ),
    Intent(
        "stroke_in", "plus,equals_sign", "+", "stroke in", "One stroke in", "You pumped once.", _at_bottle
    ),
    Intent(
        "stroke_out", "minus", "−", "let out", "One stroke out", "You let about a stroke out.", _at_bottle
    ),
    Intent("air", "a", "a", "strokes", "Air moved", "Say how many strokes; minus is out.", _at_bottle),
    Intent("undo", "u", "u", "undo", "Undo", "The last thing. Press again for the one before.", _undoable),
    Intent("take", "t", "t", "take", "Take rolling or cut", "While it runs nothing moves or sounds.", _take),
    Intent("snooze", "z", "z", "snooze", "Snooze", "No round is called due for some minutes.", _between),
    Intent("today", "w", "w", "without", "Not this bottle today", "Left out, or played after all.", _no_take),
    Intent("end_round", "e", "e", "end round", "End the round", "As it stands.", _in_round),
    Intent("temperature", "c", "c", "°C", "Air temperature", "Enter it in °C.", _no_take),
    Intent("gauge", "g", "g", "gauge", "Pressure gauge", "Enter what it reads, in psi.", _no_take),
    Intent("empty", "f", "f", "empty", "Empty bottles", "They are filled first, then struck.", _in_round),
    Intent("swap", "h", "h", "swap", "Swapped bottles", "Two changed places, or a spare came in.", _no_take),
    Intent(
        "let_down",
        "l",
        "l",
        "let down",
        "Let all down",
        "For the night: the air out of each.",
        _between,
    ),
    Intent("note", "n", "n", "note", "Write a note", "About a bottle, or about the day.", _no_take),
    Intent("replaced", "x", "x", "new part", "New cap or bottle", "Its record starts afresh.", _no_take),
    Intent("upper", "up", "↑", "up", "Bottle above", "Choose another in the forecast.", _between),
    Intent("lower", "down", "↓", "down", "Bottle below", "Choose another in the forecast.", _between),
    Intent("now", "1,escape", "1", "now", "Now", "The round, or the wait for the next.", _no_take, True),
    Intent("log", "2", "2", "log", "Log", "All that happened, newest first.", _no_take, True),
    Intent("health", "3", "3", "health", "Health", "How each bottle has held.", _no_take, True),
    Intent("rig", "4", "4", "rig", "Rig", "Bottles, pumps and pieces of your file.", _no_take, True),
    Intent(
        "sound", "5", "5", "sound", "Sound check", "Level, noise, and if the mic will do.", _no_take, True
    ),
    Intent("promises", "6", "6", "promises", "Promises", "How far what was said held.", _no_take, True),
    Intent("theme", "d", "d", "light/dark", "Light or dark", "Dark, light, no colours.", _no_take, True),
    Intent("bell", "m", "m", "bell", "Bell on or off", "The bell when a round is due.", _no_take, True),
    Intent("cautions", "f2", "F2", "cautions", "Cautions", "Air under pressure: read again.", _no_take, True),
    Intent("search", "ctrl+p", "^p", "search", "Search", "Find a thing to do by its name.", _no_take, True),
    Intent("quit", "q,ctrl+c", "q", "quit", "Quit", "A round can be taken up again later.", _always, True),
    Intent(
        "help", "question_mark,f1", "?", "help", "Help", "Keys, signs, and how a round goes.", _no_take, True
    ),
)
BY_NAME = {intent.name: intent for intent in INTENTS}
QUESTIONS = (
    "open_round",
    "air",
    "temperature",
    "gauge",
    "empty",
    "note",
    "replaced",
    "swap",
    "snooze",
    "today",
)
"""Intents that ask the player for something first."""
OFFER_WORD: dict[Offer, str] = {
    "": "",
    "done": "done",
    "gauge": "take it",
    "swapped": "yes, swapped",
    "open_round": "start a round",
    "end_round": "end the round",
}
"""What the key line says of the key that takes what is offered."""
PAGES = ("now", "log", "health", "rig", "sound", "promises", "help")
