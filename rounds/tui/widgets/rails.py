"""The rails as the player sees them, rail 1 nearest and so lowest, each bottle at its place.

A bottle is drawn by its work: how far its level is below its mark says how many strokes it wants. What holds
loses its glass, its figure and its colour, so that the eye finds work by density. The number on the rail is
the bottle's place in the path ahead. Positions follow the rig file as far as the width allows; bottles never
overlap and never change their order.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.faces.view import sign
from rounds.tui.widgets.painted import Painted
from rounds.tui.widgets.pair import MARKS
from rounds.wording import shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.faces.view import BottleView
    from rounds.instruction import State
    from rounds.tui.canvas import Canvas

STYLE: dict[State, str] = {
    "wants_air": "bold $air-in",
    "too_full": "bold $air-out",
    "holds": "$faint",
    "fades": "$faint",
    "unheard": "",
    "unsure": "bold",
    "left_out": "$faint",
    "set_aside": "$faint",
    "not_needed": "$faint",
}
NOW = "NOW"
_NARROWEST = 4
_LABEL_WIDTH = 3
_GLASS_ROWS, _GLASS_WIDTH = 6, 9
"""Rows of a rail, and columns of a cell, from which on bottles are drawn large."""


@dataclass(frozen=True)
class RailsModel:
    """All bottles, the one in hand, and the one the pump is on."""

    bottles: tuple[BottleView, ...]
    here: str | None
    pump_on: str | None
    all_here: tuple[str, ...] = ()
    """The bottles in the hands of two people."""
    all_heads: tuple[str, ...] = ()


def places(positions: Sequence[float], cell: int, width: int) -> list[int]:
    """Left columns of cells for ascending positions: to scale, but in order, apart and inside.

    Needs len(positions) * cell <= width.
    """
    if not positions:
        return []
    low, span = positions[0], (positions[-1] - positions[0]) or 1.0
    room = width - cell
    columns = [round((p - low) / span * room) for p in positions]
    for i in range(1, len(columns)):
        columns[i] = max(columns[i], columns[i - 1] + cell)
    limit = width - cell
    for i in range(len(columns) - 1, -1, -1):
        columns[i] = min(columns[i], limit)
        limit = columns[i] - cell
    return columns


def rows_of(bottles: Sequence[BottleView], width: int) -> list[tuple[int, tuple[BottleView, ...]]]:
    """Rails from the farthest to the nearest; one too full for the width continues on a second row."""
    most = max(1, width // _NARROWEST)
    rows = []
    for rail in sorted({b.rail for b in bottles}, reverse=True):
        on_it = sorted((b for b in bottles if b.rail == rail), key=lambda b: b.position_cm)
        rows += [(rail, tuple(on_it[i : i + most])) for i in range(0, len(on_it), most)]
    return rows


class Rails(Painted):
    """Paints a `RailsModel`; a click on a bottle gives its id."""

    model: RailsModel | None

    def draw(self, canvas: Canvas) -> None:
        """Every rail with as many rows as there are to give (2 at least, 6 at most)."""
        assert self.model is not None
        width = canvas.width - _LABEL_WIDTH - 1
        rows = rows_of(self.model.bottles, width)
        if not rows:
            return
        each = max(2, min(_GLASS_ROWS, canvas.height // len(rows)))
        step = min(each + 3, max(each, canvas.height // len(rows)))
        top = max(0, (canvas.height - step * len(rows)) // 2)
        cell = min(12 if each > 3 else 8, *(width // len(bottles) for _, bottles in rows))
        for number, (rail, bottles) in enumerate(rows):
            self._rail(canvas, rail, bottles, top + number * step, _Cell(cell, each))

    def _rail(self, canvas: Canvas, rail: int, bottles: Sequence[BottleView], y: int, one: _Cell) -> None:
        width, cell, each = canvas.width - _LABEL_WIDTH - 1, one.width, one.height
        left = _LABEL_WIDTH
        if each > 2:
            canvas.fill(left, y, width, 1, "$rail", "━")
        canvas.text(0, y + (0 if each > 2 else 1), f"{rail:>2}", "$faint")
        for bottle, column in zip(
            bottles, places([b.position_cm for b in bottles], cell, width), strict=True
        ):
            canvas.zone(left + column, y, cell, each, bottle.id)
            self._bottle(canvas, bottle, left + column, y, one)

    def _bottle(self, canvas: Canvas, bottle: BottleView, x: int, y: int, cell: _Cell) -> None:
        assert self.model is not None
        here = bottle.id in (self.model.here, *self.model.all_here)
        if cell.height > 2:
            self._on_rail(canvas, bottle, x, y, cell, here)
        style = STYLE[bottle.state]
        name_style = "bold $label" if here else "" if style == "$faint" and bottle.needed else style
        if cell.drawn:
            _large(canvas, bottle, x, y + 1, name_style)
            return
        body = y + cell.body
        mark = _mark(bottle) if cell.height <= 2 and len(bottle.id) < cell.width - 1 else ""
        canvas.text(x, body, cell.middle(mark + bottle.id), name_style)
        canvas.text(x, body + 1, cell.middle(small(bottle, cell.width - 1)), style)

    def _on_rail(self, canvas: Canvas, bottle: BottleView, x: int, y: int, cell: _Cell, here: bool) -> None:
        assert self.model is not None
        middle = x + (cell.width - 1) // 2
        mark = _mark(bottle)
        if bottle.id in (self.model.pump_on, *self.model.all_heads):
            word = f"{mark}PUMP" if cell.width >= 5 + len(mark) else f"{mark}P"
            canvas.text(x + max(0, (cell.width - len(word)) // 2), y, word, "bold $label")
        elif here or bottle.to_do:
            figure = f"{mark}{NOW if here else bottle.place_in_path}"
            canvas.text(middle - len(figure) // 2, y, figure, "bold")
        else:
            canvas.text(middle, y, mark or "┯", "$faint" if mark else "$rail")


def _mark(bottle: BottleView) -> str:
    """The mark of the person it belongs to, where two people tune at once."""
    return "" if bottle.person is None else MARKS[bottle.person]


@dataclass(frozen=True)
class _Cell:
    width: int
    height: int

    @property
    def body(self) -> int:
        """Row of the body below the rail."""
        return 1 if self.height > 2 else 0

    @property
    def drawn(self) -> bool:
        return self.height >= _GLASS_ROWS and self.width >= _GLASS_WIDTH

    def middle(self, text: str) -> str:
        return text.center(self.width - 1)[: self.width - 1]


def small(bottle: BottleView, room: int) -> str:
    """The bottle drawn small, as much as fits: `▕▃▏1½`, `▃1½`, `▃`. Its shape is never dropped."""
    drawn = sign(bottle)
    if len(drawn) <= room or len(drawn) < 3:
        return drawn[:room]
    bare = drawn[1] + drawn[3:] if drawn[1] != " " else "▕▏"
    return bare if len(bare) <= room else bare[:1]


_HOLLOW: dict[State, tuple[str, str]] = {
    "unheard": ("     ", "     "),
    "unsure": ("░░░░░", "░░░░░"),
    "left_out": ("  ╱  ", " ╱   "),
    "set_aside": (" ╲ ╱ ", " ╱ ╲ "),
}
"""What stands inside the glass of a bottle whose level is not shown: at its mark, and below."""


def _large(canvas: Canvas, bottle: BottleView, x: int, y: int, name_style: str) -> None:
    """A bottle of seven columns and five rows; `├ ┤` is the mark that its air should reach."""
    style, name = STYLE[bottle.state], bottle.id[:5].center(5)
    if bottle.state in ("holds", "fades", "not_needed"):
        line = shown.SIGN[bottle.state] or " "
        canvas.text(x, y + 2, line * 7, style)
        canvas.text(x + 1, y + 1, name, name_style)
        return
    for row, text in enumerate(_glass(bottle)):
        canvas.text(x, y + row, text, style)
    canvas.text(x + 1, y + 2, name, name_style or style)


def _glass(bottle: BottleView) -> tuple[str, ...]:
    """The rows of a bottle that wants something."""
    figure = shown.work_figure(bottle.strokes)
    if bottle.state == "too_full":
        return "  ▄▄▄  ", "▟█████▙", "███████", "███████", f"▀{figure.center(5, '▀')}▀"
    inside = _HOLLOW.get(bottle.state)
    if inside is None:
        inside = ("     ", shown.level_of(bottle.strokes or 1.0) * 5)
    at_mark, below = inside
    return "  ▄▄▄  ", "╭─╯ ╰─╮", f"├{at_mark}┤", f"│{below}│", f"╰{figure.center(5, '─')}╯"
