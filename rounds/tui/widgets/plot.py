"""The path of one bottle: cents over minutes, with what is not known shaded and the tolerance ruled in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.canvas import clipped
from rounds.tui.widgets.painted import Painted
from rounds.tui.widgets.ribbons import leaves_text
from rounds.wording.printable import plain
from rounds.wording.words import signed_cents, whole_cents

if TYPE_CHECKING:
    from rounds.faces.controller import DriftPath
    from rounds.tui.canvas import Canvas

_AXIS_WIDTH = 5
_MARGIN = 1.25
"""Tolerances shown at least, so that the ruled lines stand inside the picture."""
_FARTHEST = 6.0
"""Tolerances shown at most: farther out a path runs along the edge."""


@dataclass(frozen=True)
class Reach:
    """Cents at the lower and the upper edge."""

    low: float
    high: float

    def share(self, cents: float) -> float:
        """How far down from the upper edge, 0 to 1."""
        return (self.high - max(self.low, min(self.high, cents))) / (self.high - self.low)


class Plot(Painted):
    """Paints a `DriftPath`."""

    model: DriftPath | None

    def draw(self, canvas: Canvas) -> None:
        """A heading, the plot, and the minutes below."""
        assert self.model is not None
        path = self.model
        leaves = leaves_text(path)
        when = f"out in {leaves}" if leaves.endswith("min") else leaves
        head = f"{plain(path.bottle, 8)} now {signed_cents(path.cents[0])} cents: {when}"
        canvas.text(1, 0, clipped(head, canvas.width - 1), "bold")
        if canvas.height < 6 or canvas.width < 20:
            return
        reach = self._reach(path)
        self._frame(canvas, path, reach)
        columns = canvas.width - _AXIS_WIDTH - 1
        for column in range(columns):
            self._column(canvas, path, column / max(1, columns - 1), _AXIS_WIDTH + column, reach)

    @staticmethod
    def _reach(path: DriftPath) -> Reach:
        """From the lower to the upper edge: the tolerance and a little, and the path as far as it goes."""
        least, most = _MARGIN * path.tolerance_cents, _FARTHEST * path.tolerance_cents
        low = min(c - s for c, s in zip(path.cents, path.sd_cents, strict=True))
        high = max(c + s for c, s in zip(path.cents, path.sd_cents, strict=True))
        return Reach(min(-least, max(low, -most)), max(least, min(high, most)))

    def _row(self, canvas: Canvas, cents: float, reach: Reach) -> int:
        return 1 + round(reach.share(cents) * (canvas.height - 3))

    def _frame(self, canvas: Canvas, path: DriftPath, reach: Reach) -> None:
        width = canvas.width - _AXIS_WIDTH - 1
        for cents, char in ((path.tolerance_cents, "┈"), (0.0, "─"), (-path.tolerance_cents, "┈")):
            row = self._row(canvas, cents, reach)
            canvas.text(0, row, whole_cents(cents).rjust(_AXIS_WIDTH - 1), "$faint")
            canvas.fill(_AXIS_WIDTH, row, width, 1, "$faint", char)
        for cents in (reach.high, reach.low):
            canvas.text(
                0, self._row(canvas, cents, reach), whole_cents(cents).rjust(_AXIS_WIDTH - 1), "$faint"
            )
        foot = canvas.height - 1
        canvas.text(_AXIS_WIDTH, foot, "now", "$faint")
        half = f"{path.minutes[-1] / 2:.0f}"
        canvas.text(_AXIS_WIDTH + (width - len(half)) // 2, foot, half, "$faint")
        last = f"{path.minutes[-1]:.0f} min"
        canvas.text(canvas.width - len(last) - 1, foot, last, "$faint")

    def _column(self, canvas: Canvas, path: DriftPath, share: float, x: int, reach: Reach) -> None:
        index = min(len(path.minutes) - 1, round(share * (len(path.minutes) - 1)))
        mean, sd = path.cents[index], path.sd_cents[index]
        top, bottom = self._row(canvas, mean + sd, reach), self._row(canvas, mean - sd, reach)
        out = abs(mean) > path.tolerance_cents
        colour = "$loud" if not out else "$air-out" if mean > 0 else "$air-in"
        for row in range(top, bottom + 1):
            canvas.text(x, row, "░", colour)
        row = self._row(canvas, mean, reach)
        char = ("█" if mean > 0 else "▅") if out else self._half(canvas, mean, reach)
        canvas.text(x, row, char, colour)

    def _half(self, canvas: Canvas, cents: float, reach: Reach) -> str:
        """The upper or the lower half of a cell, so that a slow path still shows as a slope."""
        rows = canvas.height - 2
        at = reach.share(cents) * (rows - 1) + 0.5
        return "▀" if at - int(at) < 0.5 else "▄"
