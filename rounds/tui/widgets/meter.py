"""The sound check: how loud it is now, how loud the room is, and where a strike must lie."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import folded
from rounds.tui.widgets.painted import Painted
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.faces.controller import Level
    from rounds.tui.canvas import Canvas

LOWEST_DBFS = -80.0
LOUD_DBFS = -1.0
_SIDE = 2


class Meter(Painted):
    """Paints a `Level`."""

    model: Level | None

    def draw(self, canvas: Canvas) -> None:
        """Figure, bar with its marks, words."""
        assert self.model is not None
        level = self.model
        row = self._figure(canvas, level)
        row = self._bar(canvas, level, row + 1)
        colour = {True: "bold $loud", False: "bold $loud", None: "bold"}[level.good]
        sign = {True: "= ", False: "! ", None: "? "}[level.good]
        for line in folded(sign + plain(level.words, 400), canvas.width - 2 * _SIDE, 4):
            canvas.text(_SIDE, row + 1, line, colour)
            row += 1
        if level.device:
            canvas.text(_SIDE, row + 2, plain(f"Microphone: {level.device}", canvas.width - 4), "$faint")

    def _figure(self, canvas: Canvas, level: Level) -> int:
        text = "?" if level.dbfs is None else f"{level.dbfs:.0f}".replace("-", "−")
        drawn = lettering.fit(text, canvas.width - 20, max(3, canvas.height // 3), largest=2)
        if drawn is None:
            canvas.text(_SIDE, 0, f"{text} dBFS now", "bold")
            return 1
        end = canvas.letters(_SIDE, 0, drawn, "bold $loud")
        canvas.text(end + 2, drawn.height - 1, "dBFS now, 0 is the loudest", "$faint")
        return drawn.height

    def _bar(self, canvas: Canvas, level: Level, row: int) -> int:
        width = canvas.width - 2 * _SIDE
        canvas.fill(_SIDE, row, width, 2, "$faint", "·")
        canvas.fill(_SIDE, row, self._column(level.dbfs, width), 2, "$primary", "█")
        for dbfs, word in ((level.strike_dbfs, "strikes from here"), (LOUD_DBFS, "too loud")):
            self._mark(canvas, row, self._column(dbfs, width), word, "$faint")
        if level.floor_dbfs is not None:
            column = self._column(level.floor_dbfs, width)
            canvas.text(
                _SIDE + column, row + 3, f"▲ the room: {level.floor_dbfs:.0f}".replace("-", "−"), "bold"
            )
        return row + 4

    @staticmethod
    def _column(dbfs: float | None, width: int) -> int:
        if dbfs is None:
            return 0
        share = (min(0.0, max(LOWEST_DBFS, dbfs)) - LOWEST_DBFS) / -LOWEST_DBFS
        return round(share * (width - 1))

    @staticmethod
    def _mark(canvas: Canvas, row: int, column: int, word: str, style: str) -> None:
        text = f"▲ {word}" if _SIDE + column + len(word) + 2 < canvas.width else f"{word} ▲"
        x = _SIDE + column - (0 if text.startswith("▲") else len(text) - 1)
        canvas.text(x, row + 2, text, style)
