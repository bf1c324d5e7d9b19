"""A grid of styled cells that widgets draw on, and the places on it that can be clicked.

Widgets here paint pictures of known width, so a grid is simpler than markup: what lies outside it
is dropped, and nothing wraps. Styles are Textual style strings (`bold $air-out`).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, ClassVar

from textual.content import Content

_PLAIN = str.maketrans(
    dict.fromkeys("▇▆▅▄▃▂▁", "_")
    | dict.fromkeys("▕▐", "[")
    | dict.fromkeys("▏▌", "]")
    | dict.fromkeys("▔╌━−", "-")
    | dict.fromkeys("┯╭╮╰╯", "+")
    | dict.fromkeys("├┤", "|")
    | {"╱": "/", "╳": "x", "░": "?", "█": "#", "▒": ":", "⇄": "=", "●": "*", "■": "o", "›": ">", "…": "."}
)
"""Signs for terminals whose font has few, one for one, so that nothing moves. Large letters keep blocks."""

if TYPE_CHECKING:
    from rounds.tui.lettering import Lettering


@dataclass(frozen=True)
class Zone:
    """A rectangle that means something when clicked."""

    x: int
    y: int
    width: int
    height: int
    value: str

    def holds(self, x: int, y: int) -> bool:
        """Whether a cell lies in it."""
        return self.x <= x < self.x + self.width and self.y <= y < self.y + self.height


class Canvas:
    """Cells of one character each, drawn over one another."""

    plain: ClassVar = False
    """Whether signs are drawn in characters that every terminal has."""

    def __init__(self, width: int, height: int, style: str = "") -> None:
        self.width, self.height = max(0, width), max(0, height)
        self._cells = [[(" ", style)] * self.width for _ in range(self.height)]
        self.zones: list[Zone] = []

    def text(self, x: int, y: int, text: str, style: str = "") -> int:
        """Write from a cell on; returns the column after the last character."""
        self._write(x, y, drawn(text), style)
        return x + len(text)

    def _write(self, x: int, y: int, text: str, style: str) -> None:
        if 0 <= y < self.height:
            row = self._cells[y]
            for column, char in enumerate(text, x):
                if 0 <= column < self.width:
                    row[column] = (char, style)

    def fill(self, x: int, y: int, width: int, height: int, style: str, char: str = " ") -> None:
        """Fill a rectangle."""
        for row in range(y, y + height):
            self.text(x, row, char * width, style)

    def letters(self, x: int, y: int, lettering: Lettering, style: str = "") -> int:
        """Paint large letters; returns the column after them."""
        for row, line in enumerate(lettering.rows):
            self._write(x, y + row, line, style)
        return x + lettering.width

    def zone(self, x: int, y: int, width: int, height: int, value: str) -> None:
        """Make a rectangle clickable."""
        self.zones.append(Zone(x, y, width, height, value))

    def content(self) -> Content:
        """What was drawn, neighbouring cells of one style joined."""
        parts: list[str | tuple[str, str]] = []
        for number, row in enumerate(self._cells):
            if number:
                parts.append("\n")
            for style, run in groupby(row, key=lambda cell: cell[1]):
                text = "".join(char for char, _ in run)
                parts.append((text, style) if style else text)
        return Content.assemble(*parts)


def drawn(text: str) -> str:
    """Text as this terminal can show it."""
    return text.translate(_PLAIN) if Canvas.plain else text


def clipped(text: str, width: int) -> str:
    """Text in at most width cells, ending in `…` when cut."""
    if len(text) <= width:
        return text
    return text[: max(0, width - 1)] + "…" if width > 0 else ""


def folded(text: str, width: int, rows: int) -> list[str]:
    """Words wrapped to width, at most `rows` rows, the last cut with `…`."""
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += " " + word
        else:
            lines.append(word)
    if len(lines) > rows > 0:
        lines = [*lines[: rows - 1], " ".join(lines[rows - 1 :])]
    return [clipped(line, width) for line in lines[:rows]]
