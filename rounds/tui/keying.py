"""The player's own keys: checked, for the library that binds them takes an unknown act, an unknown key and a
key that is taken in silence; and how a key is printed."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

from textual.keys import KEY_ALIASES, Keys, _character_to_key

from rounds.files.problems import near_miss, shown
from rounds.tui.intents import BY_NAME, INTENTS, Intent

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rounds.files.problems import Problems

ALWAYS = {"escape": "now", "question_mark": "help", "q": "quit", "ctrl+c": "quit"}
"""Keys that no setting takes away: the ways out must stay where every player looks for them."""
_NEVER = {
    "return",
    "tab",
    "shift+tab",
    "ctrl+q",
    "ctrl+z",
    *(k.value for k in Keys if k.value.startswith("<")),
}
"""Names that no terminal sends, and keys that belong to the terminal and to the forms."""
_SAME = {other: key for key, others in KEY_ALIASES.items() for other in others}
_WRITTEN = {"esc": "escape", "pgdn": "pagedown", "pgup": "pageup", "return": "enter", "del": "delete"}
_CAPS = {
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
    "pagedown": "PgDn",
    "pageup": "PgUp",
    "escape": "Esc",
    "enter": "Enter",
    "minus": "−",
    "plus": "+",
    "question_mark": "?",
}
_NO_KEY = "<none>"
_MOST_CAPS = 2
_KEY_IN_TEXT = re.compile(r"\{([a-z_]+)\}")


def intents_with(keys: Mapping[str, Sequence[str]], problems: Problems) -> tuple[Intent, ...]:
    """The table of intents with the player's keys.

    Args:
        keys: keys by the name of the act, as they were written; acts that are missing keep theirs.
        problems: takes what is wrong with them: unknown acts, unknown keys, a key given to two acts.
    """
    known = {act: _of_act(act, written, problems) for act, written in keys.items()}
    mine = tuple(_with(i, known.get(i.name)) for i in INTENTS)
    _report_taken(mine, problems)
    return mine


def keymap(keys: Iterable[str], intents: Sequence[Intent]) -> dict[str, str]:
    """The keys of the acts that were set, as the library takes them: without any, an act is out of reach."""
    return {i.name: i.keys or _NO_KEY for i in intents if i.name in keys}


def _of_act(act: str, written: Iterable[str], problems: Problems) -> tuple[str, ...]:
    if act not in BY_NAME:
        problems.add(f"[keys] {act}", "no such act", ", ".join(BY_NAME), near_miss(act, BY_NAME))
        return ()
    found = []
    for name in written:
        key = key_named(name)
        if key is None:
            near = near_miss(name, (k for k in known_keys() if k))
            allowed = "a letter, a digit, a sign, or a name such as pagedown, left, f5, ctrl+a"
            problems.add(f"[keys] {act}", f"{shown(name)} is no key", allowed, near)
        else:
            found.append(key)
    return tuple(dict.fromkeys(found))


def _with(intent: Intent, keys: tuple[str, ...] | None) -> Intent:
    if keys is None:
        return intent
    kept = tuple(key for key, act in ALWAYS.items() if act == intent.name and key not in keys)
    every = (*keys, *kept)
    return replace(intent, keys=",".join(every), cap="/".join(map(cap, every[:_MOST_CAPS])))


def _report_taken(intents: Sequence[Intent], problems: Problems) -> None:
    """A key that two acts ask for is named with both: none is stolen in silence."""
    owner: dict[str, str] = dict(ALWAYS)
    for intent in intents:
        for key in filter(None, intent.keys.split(",")):
            before = owner.setdefault(key, intent.name)
            if before != intent.name:
                mend = f"another key for one of them, as in {before} = []"
                problems.add(f"[keys] {intent.name}", f"{cap(key)} is the key of {before} already", mend)


@cache
def known_keys() -> frozenset[str]:
    """The names of all keys that a terminal sends, characters aside."""
    return frozenset({key.value for key in Keys} - _NEVER)


def key_named(written: str) -> str | None:
    """A key as the library names it: `pagedown` for `Page Down`, `question_mark` for `?`; None if unknown."""
    if len(written) == 1:
        return _character_to_key(written) if written.isprintable() else None
    name = re.sub(r"\b(ctrl|shift)-", r"\1+", written.casefold()).replace(" ", "")
    name = _SAME.get(name, _WRITTEN.get(name, name))
    return name if name in known_keys() or name in _signs() else None


@cache
def _signs() -> frozenset[str]:
    """The names of the signs on a keyboard: `question_mark`, `plus`."""
    return frozenset(_character_to_key(chr(code)) for code in range(32, 127))


def cap(key: str) -> str:
    """What is printed on a key: `PgDn`, `↑`, `^p`, `?`."""
    if key in _CAPS:
        return _CAPS[key]
    if key.startswith("ctrl+"):
        return f"^{key.removeprefix('ctrl+')}"
    character = next((chr(c) for c in range(33, 127) if _character_to_key(chr(c)) == key), "")
    return character or (key.upper() if re.fullmatch(r"f\d+", key) else key)


def with_keys(text: str, intents: Sequence[Intent]) -> str:
    """A sentence with the player's keys in it: `{undo} takes it back` becomes `u takes it back`."""
    caps = {i.name: i.cap for i in intents}
    return _KEY_IN_TEXT.sub(lambda found: caps.get(found[1], found[0]), text)
