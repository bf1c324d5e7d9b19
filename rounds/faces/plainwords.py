"""The words that the face for screen readers knows: what is typed after each, and what it does."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A command: what is typed after it, and what it does."""

    usage: str
    help: str


SHORT = {
    "?": "help",
    "u": "undo",
    "s": "skip",
    "b": "back",
    "e": "end",
    "t": "take",
    "z": "snooze",
    "w": "without",
    "what": "now",
    "how": "status",
    "next": "path",
}
"""Keys of the screens and first words of questions; `p` is on or off, as it is not now."""

QUESTIONS = ("what", "how")
"""`what now` and `how long` are questions: the words after the first are not looked at."""

WORDS: dict[str, Word] = {
    "round": Word(
        "[in MINUTES | at HH:MM] [for MINUTES] [temp C] [a4 HZ|last] [empty all] [pieces A, B]",
        "start a round",
    ),
    "again": Word("", "forget the last strike and strike this bottle again"),
    "skip": Word("", "leave this bottle out of the round"),
    "back": Word("", "go back to the bottle before"),
    "done": Word("", "what was asked for is done, where no strike shows it"),
    "on": Word("", "the pump head went onto the valve"),
    "off": Word("", "the pump head came off"),
    "add": Word("STROKES", "so many strokes went in, such as 3 or 2.5"),
    "out": Word("STROKES", "about so many strokes of air were let out"),
    "temp": Word("C", "the air temperature in degrees Celsius"),
    "gauge": Word(
        "[BOTTLE] PRESSURE|none", "what a gauge reads, such as 46 or 3.2 bar; none: there is no gauge"
    ),
    "empty": Word("[all | BOTTLE ...]", "this bottle holds no air, or those named, or all not heard yet"),
    "note": Word("[BOTTLE:] TEXT", "write something down"),
    "rail": Word("NUMBER KELVIN", "the air there is so much warmer, as in rail 3 4; -2 for colder"),
    "swap": Word("BOTTLE BOTTLE", "two bottles changed places, or a spare came in"),
    "down": Word("", "let all bottles down, one after the other; done after each"),
    "replaced": Word("BOTTLE cap|bottle", "a part was replaced"),
    "snooze": Word("MINUTES", "no round is called due for so long; 0 ends it"),
    "without": Word("BOTTLE", "not this bottle today"),
    "with": Word("BOTTLE", "this bottle is played today after all"),
    "other": Word("", "give the keys to the other player; or begin a line with 1 or 2, as in 2 skip"),
    "take": Word("", "rolling, or cut; nothing is said during a take"),
    "undo": Word("", "undo the last thing; again for the one before, within this round"),
    "end": Word("", "end the round"),
    "now": Word("", "the order again; an empty line does the same"),
    "status": Word("", "where things stand"),
    "path": Word("", "the bottles ahead and why"),
    "rails": Word("", "what every bottle needs"),
    "forecast": Word("", "when each bottle leaves its tolerance"),
    "log": Word("", "what happened, newest first"),
    "health": Word("", "how each bottle has held"),
    "promises": Word("", "how far what was promised held"),
    "rig": Word("", "bottles and pumps of the rig"),
    "sound": Word("", "the microphone"),
    "bell": Word("", "the bell when a round is due, on or off"),
    "cautions": Word("", "air under pressure: read again"),
    "help": Word("", "these words"),
    "quit": Word("", "stop; a round can be taken up again later"),
}
