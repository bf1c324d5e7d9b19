"""Collect what is wrong with a file the player wrote, and read on.

A player who fixes one line and is then told of the next gives up. So a table is read to its end
with stand-ins for what is wrong, every problem is noted with its place, what was found, what is
allowed and a near miss, and only the whole list is raised.
"""

from __future__ import annotations

import datetime
import difflib
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_SHOWN_CHARS = 40
_SHOWN_DIGITS = 10**18
"""Integers beyond this are not spelled out: Python itself refuses to print very long ones."""


def shown(value: Any) -> str:
    """A found value, short and safe to print on a terminal."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return repr(value if len(value) <= _SHOWN_CHARS else value[:_SHOWN_CHARS] + "…")
    if isinstance(value, int):
        return str(value) if abs(value) < _SHOWN_DIGITS else "a very large number"
    if isinstance(value, (float, datetime.date, datetime.time)):
        return str(value)
    return "a list" if isinstance(value, list) else "a table"


def near_miss(word: Any, known: Iterable[str]) -> str:
    """`; did you mean 'this'?` for a word close to a known one, else nothing."""
    if not isinstance(word, str):
        return ""
    by_folded = {k.casefold(): k for k in known}
    close = difflib.get_close_matches(word[:_SHOWN_CHARS].casefold(), by_folded, n=1)
    return f"; did you mean {by_folded[close[0]]!r}?" if close else ""


@dataclass
class Problems:
    """The list of problems of one file, in the order they were met."""

    found: list[str] = field(default_factory=list)

    def add(self, place: str, what: str, allowed: str, near: str = "") -> None:
        """Note one problem: where, what was found there, what is allowed."""
        self.found.append(f"{place}: {what}; allowed: {allowed}{near}")


@dataclass
class Table:
    """One TOML table being read. Every read names its key; `finish` reports the keys nobody read."""

    values: dict[str, Any]
    place: str
    problems: Problems
    known: set[str] = field(default_factory=set)

    def at(self, key: str) -> str:
        """The key's path, for messages."""
        return f"{self.place} {key}"

    def has(self, key: str) -> bool:
        """Whether the key was written (and count it as known)."""
        self.known.add(key)
        return key in self.values

    def raw(self, key: str) -> Any:
        """The value as written, None when missing."""
        self.known.add(key)
        return self.values.get(key)

    def wrong(self, key: str, allowed: str, near: str = "") -> None:
        """Note that the key's value is missing or not among the allowed."""
        what = f"found {shown(self.values[key])}" if key in self.values else "missing"
        self.problems.add(self.at(key), what, allowed, near)

    def number(self, key: str, default: float | None, low: float, high: float, unit: str = "") -> float:
        """A finite number between bounds; without a default the key must be there."""
        value = self.raw(key)
        if value is None and default is not None:
            return default
        if is_number(value) and low <= value <= high:
            return float(value)
        self.wrong(key, f"a number from {low:g} to {high:g}{' ' + unit if unit else ''}")
        return default if default is not None else low

    def whole(self, key: str, default: int, low: int, high: int) -> int:
        """A whole number between bounds."""
        value = self.raw(key)
        if value is None:
            return default
        if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
            return value
        self.wrong(key, f"a whole number from {low} to {high}")
        return default

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self.raw(key)
        if value is None or isinstance(value, bool):
            return default if value is None else value
        self.wrong(key, "true or false", near_miss(value, ("true", "false")))
        return default

    def text(self, key: str, default: str | None = None, longest: int = 60) -> str:
        """A short printable text; without a default the key must be there."""
        value = self.raw(key)
        if value is None and default is not None:
            return default
        if isinstance(value, str) and value.strip() and value.isprintable() and len(value) <= longest:
            return value.strip()
        self.wrong(key, f"a text of 1 to {longest} printable characters in quotes")
        return default or ""

    def optional_text(self, key: str, longest: int = 60) -> str | None:
        """A text, or None when the key is not there."""
        return self.text(key, None, longest) or None if self.has(key) else None

    def choice(self, key: str, default: str, allowed: Sequence[str]) -> str:
        """One of a few words."""
        value = self.raw(key)
        if value is None or value in allowed:
            return default if value is None else str(value)
        self.wrong(key, " or ".join(repr(a) for a in allowed), near_miss(value, allowed))
        return default

    def date(self, key: str) -> datetime.date | None:
        """A calendar date, None when missing."""
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
            return value
        self.wrong(key, "a date without quotes, such as 2026-05-01")
        return None

    def finish(self) -> None:
        """Report keys that mean nothing here."""
        for key in self.values:
            if key not in self.known:
                what = "a key that means nothing here"
                place = self.at(shown(key).strip("'\""))
                self.problems.add(place, what, ", ".join(sorted(self.known)), near_miss(key, self.known))


def is_number(value: Any) -> bool:
    """Whether a TOML value is a finite number (true and false are none)."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    return isinstance(value, int) or math.isfinite(value)
