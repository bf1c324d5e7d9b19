"""The words that the face for screen readers knows: what is typed after each, and what it does."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A command: what is typed after it, and what it does."""

    usage: str
    help: str


SHORT = {"?": "help", "u": "undo", "s": "skip", "b": "back", "e": "end", "t": "take"}
"""Keys of the screens that are understood as words; `p` is on or off, as it is not now."""

WORDS: dict[str, Word] = {
    "round": Word("[in MINUTES | at HH:MM] [for MINUTES] [temp C] [pieces A, B]", "begin a round"),
    "again": Word("", "forget the last strike and strike this bottle again"),
    "skip": Word("", "leave this bottle out of the round"),
    "back": Word("", "go back to the bottle before"),
    "on": Word("", "the pump head went onto the valve"),
    "off": Word("", "the pump head came off"),
    "add": Word("STROKES", "so many strokes went in, such as 3 or 2.5"),
    "out": Word("STROKES", "about so many strokes of air were let out"),
    "temp": Word("C", "the air temperature in degrees Celsius"),
    "gauge": Word("[BOTTLE] PSI", "what a pressure gauge reads"),
    "note": Word("[BOTTLE:] TEXT", "write something down"),
    "replaced": Word("BOTTLE cap|bottle", "a part was replaced"),
    "other": Word("", "of two people: the words are the other's; or begin one with 1 or 2, as in 2 skip"),
    "take": Word("", "a take begins, or was cut; nothing is said meanwhile"),
    "undo": Word("", "take back what was told or heard last; again goes further back in this round"),
    "end": Word("", "end the round"),
    "status": Word("", "where things stand"),
    "path": Word("", "the bottles ahead and why"),
    "rails": Word("", "how every bottle stands"),
    "forecast": Word("", "when each bottle leaves its tolerance"),
    "log": Word("", "what happened, newest first"),
    "health": Word("", "how each bottle has held"),
    "rig": Word("", "bottles and pumps of the rig"),
    "sound": Word("", "the microphone"),
    "bell": Word("", "the bell when a round is due, on or off"),
    "cautions": Word("", "air under pressure: read again"),
    "help": Word("", "these words"),
    "quit": Word("", "stop; a round can be taken up again later"),
}
