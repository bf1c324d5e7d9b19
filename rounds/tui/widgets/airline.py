"""The air still to move, drawn stroke by stroke: as many bars as the hand has to push.

A full stroke is a bar of four cells (eight where there is room), so a quarter stroke is a cell, and
a smaller part is drawn with a narrower block. Bars going in are solid, bars to let out are hatched
(at least a cell of them), and the word stands before them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas

_LABEL_WIDTH = 10
_STROKE = 8
_EIGHTH_BLOCKS = ("", "▏", "▎", "▍", "▌", "▋", "▊", "▉")


@dataclass(frozen=True)
class AirModel:
    """Eighths of a stroke to move and which way; `way` empty: nothing to move."""

    eighths: int
    way: str

    @property
    def outward(self) -> bool:
        """Whether air is let out."""
        return self.way.startswith("out")


class AirLine(Painted):
    """Paints an `AirModel`."""

    model: AirModel | None

    def says_nothing(self, model: AirModel) -> bool:
        """No air is to be moved."""
        return not model.way

    def draw(self, canvas: Canvas) -> None:
        """The word, then the bars."""
        assert self.model is not None
        model = self.model
        if not model.way:
            return
        style = "bold $air-out" if model.outward else "bold $air-in"
        canvas.text(2, 0, "let out" if model.outward else "air in", style)
        full = self._bar_width(canvas, model.eighths)
        column, left = _LABEL_WIDTH, model.eighths
        while left > 0 and column + full + 2 < canvas.width:
            self._bar(canvas, column, full, min(_STROKE, left))
            column, left = column + full + 1, left - _STROKE
        if left > 0:
            canvas.text(column, 0, "…", style)
        elif model.eighths < _STROKE:
            canvas.text(column, 0, "of one stroke", "$faint")

    def _bar(self, canvas: Canvas, column: int, full: int, part: int) -> None:
        assert self.model is not None
        outward = self.model.outward
        style = "bold $air-out" if outward else "bold $air-in"
        filled = "▒" * max(1, full * part // _STROKE) if outward else _solid(full * part * 8 // _STROKE)
        for row in range(canvas.height):
            canvas.text(column, row, "┄" * full, "$faint")
            canvas.text(column, row, filled, style)

    @staticmethod
    def _bar_width(canvas: Canvas, eighths: int) -> int:
        room = canvas.width - _LABEL_WIDTH - 2
        bars = -(-eighths // _STROKE)
        return 8 if bars * 9 <= room else 4


def _solid(blocks: int) -> str:
    """A bar that many eighths of a cell long."""
    return "█" * (blocks // 8) + _EIGHTH_BLOCKS[blocks % 8]
