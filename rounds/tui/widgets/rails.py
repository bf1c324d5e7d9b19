"""The rails as they stand, rail 1 nearest the player and so lowest, each bottle at its place.

A bottle hangs from its rail with its note, its sign, its cents and (where there is room) its word;
the number on the rail is its place in the path ahead. Positions follow the rig file as far as the
width allows; bottles never overlap and never change their order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.widgets.painted import Painted
from rounds.tui.widgets.pair import MARKS
from rounds.wording import shown
from rounds.wording.words import whole_cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.faces.view import BottleView
    from rounds.instruction import Standing
    from rounds.tui.canvas import Canvas

COLOUR: dict[Standing, str] = {
    "in_tune": "$tuned",
    "sharp": "$sharp",
    "flat": "$flat",
    "doubtful": "$doubt",
    "unheard": "$unheard",
    "skipped": "$faint",
    "idle": "$idle",
}
_NARROWEST = 4
_LABEL_WIDTH = 3
_WORD_WIDTH = max(map(len, shown.WORD.values()))
_SIGNED_ROOM = 5
"""From this room on, `▲` and `▼` are followed by a sign as well; `▼−104` needs it all."""
ROUNDED_IN_CENTS = 5.0


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
        each = max(2, min(6, canvas.height // len(rows)))
        step = min(each + 3, max(each, canvas.height // len(rows)))
        top = max(0, (canvas.height - step * len(rows)) // 2)
        cell = min(12 if each > 3 else 7, *(width // len(bottles) for _, bottles in rows))
        for number, (rail, bottles) in enumerate(rows):
            self._rail(canvas, rail, bottles, top + number * step, _Cell(cell, each))

    def _rail(self, canvas: Canvas, rail: int, bottles: Sequence[BottleView], y: int, one: _Cell) -> None:
        width, cell, each = canvas.width - _LABEL_WIDTH - 1, one.width, one.height
        left = _LABEL_WIDTH
        if each > 2:
            canvas.fill(left, y, width, 1, "$wood", "━")
        canvas.text(0, y + (0 if each > 2 else 1), f"{rail:>2}", "$faint")
        for bottle, column in zip(
            bottles, places([b.position_cm for b in bottles], cell, width), strict=True
        ):
            canvas.zone(left + column, y, cell, each, bottle.id)
            self._bottle(canvas, bottle, left + column, y, one)

    def _bottle(self, canvas: Canvas, bottle: BottleView, x: int, y: int, cell: _Cell) -> None:
        assert self.model is not None
        here = bottle.id in (self.model.here, *self.model.all_here)
        colour = COLOUR[bottle.standing]
        if cell.height > 2:
            self._on_rail(canvas, bottle, x, y, cell)
        body = y + cell.body
        note_style = "bold $here" if here else f"bold {colour}" if bottle.needed else colour
        state_style = colour if bottle.standing in ("in_tune", "idle", "skipped") else f"bold {colour}"
        if cell.drawn:
            self._glass(canvas, bottle, x, body, cell, note_style, state_style)
            return
        mark = _mark(bottle) if cell.height <= 2 and len(bottle.id) < cell.width - 1 else ""
        canvas.text(x, body, cell.middle(mark + bottle.id), note_style)
        canvas.text(x, body + 1, cell.middle(state_figure(bottle, cell.width - 1)), state_style)

    def _on_rail(self, canvas: Canvas, bottle: BottleView, x: int, y: int, cell: _Cell) -> None:
        assert self.model is not None
        middle = x + (cell.width - 1) // 2
        mark = _mark(bottle)
        if bottle.id in (self.model.pump_on, *self.model.all_heads):
            word = f"{mark}PUMP" if cell.width >= 5 + len(mark) else f"{mark}P"
            canvas.text(x + max(0, (cell.width - len(word)) // 2), y, word, "bold $here")
        elif bottle.place_in_path is not None:
            figure = f"{mark}{bottle.place_in_path}"
            canvas.text(middle - len(figure) // 2, y, figure, "bold $accent")
        else:
            canvas.text(middle, y, mark or "┯", "$faint" if mark else "$wood")

    @staticmethod
    def _glass(
        canvas: Canvas, bottle: BottleView, x: int, y: int, cell: _Cell, note_style: str, state_style: str
    ) -> None:
        """A bottle with a cap, shoulders and a body, where a rail has five rows or more."""
        width = cell.width - 1 - cell.width % 2
        edge = COLOUR[bottle.standing]
        inner = width - 2
        cap = "▄" * (1 if inner < 5 else 3)
        canvas.text(x, y, f"╭{cap.center(inner, '─')}╮", edge)
        lines = [(bottle.id[:inner].center(inner), note_style), (state_figure(bottle, inner), state_style)]
        if cell.height >= 6 and inner >= _WORD_WIDTH:
            lines.append((shown.WORD[bottle.standing], edge))
        for row, (text, style) in enumerate(lines, y + 1):
            canvas.text(x, row, f"│{' ' * inner}│", edge)
            canvas.text(x + 1 + (inner - len(text) + 1) // 2, row, text, style)
        canvas.text(x, y + len(lines) + 1, f"╰{'─' * inner}╯", edge)


def _mark(bottle: BottleView) -> str:
    """Whose bottle it is, where two people tune at once."""
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
        return self.height >= 5 and self.width >= 8

    def middle(self, text: str) -> str:
        return text.center(self.width - 1)[: self.width - 1]


def state_figure(bottle: BottleView, room: int) -> str:
    """Sign and signed cents, as much as fits: `▲+12`, `▲12`, `=+1`, `?`. The sign is never dropped.

    All bottles of a rig get the same room, so that they read alike. One in tune is rounded towards
    its note: `=+10` beside `▲+10` would look like a fault.
    """
    sign = shown.SIGN[bottle.standing]
    if bottle.cents is None or bottle.standing in ("unheard", "idle", "skipped"):
        return sign
    near = bottle.standing == "in_tune" and abs(bottle.cents) >= ROUNDED_IN_CENTS
    figure = whole_cents(math.trunc(bottle.cents) if near else bottle.cents)
    if room < _SIGNED_ROOM and bottle.standing in ("sharp", "flat"):
        figure = figure.lstrip("+−")
    return sign + figure if len(sign + figure) <= room else sign
