"""The forecast of every bottle as a ribbon in time: level while it holds, broken when it may be out,
pointing up or down once it is more likely out than in. The first to leave stands first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.canvas import clipped
from rounds.tui.widgets.painted import Painted
from rounds.wording import shown
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.belief.in_or_out import Ahead
    from rounds.faces.controller import DriftPath
    from rounds.tui.canvas import Canvas

_NAME_WIDTH = 6
_LEAVES_WIDTH = 11


@dataclass(frozen=True)
class RibbonsModel:
    """The paths in the order shown, and which is chosen."""

    paths: tuple[DriftPath, ...]
    chosen: int = 0


_MARK: dict[Ahead, tuple[str, str]] = {
    "in_tune": ("▔", "$faint"),
    "wavering": ("╌", "$faint"),
    "doubtful": ("░", ""),
    "sharp": ("█", "$air-out"),
    "flat": ("▅", "$air-in"),
}
LEGEND = "▔ holds  ╌ fades  ▅ wants air  █ too full  ░ unsure   in the plot: ┈ tolerance"


def mark(path: DriftPath, minute: float) -> tuple[str, str]:
    """Character and colour of a path at a minute (the nearest forecast before it)."""
    index = max((i for i, m in enumerate(path.minutes) if m <= minute), default=0)
    return _MARK[path.standings[index]]


class Ribbons(Painted):
    """Paints a `RibbonsModel`; a click on a row gives its number."""

    model: RibbonsModel | None

    def draw(self, canvas: Canvas) -> None:
        """A scale on top, then as many ribbons as there are rows, the chosen one among them."""
        assert self.model is not None
        paths, chosen = self.model.paths, self.model.chosen
        if not paths:
            canvas.text(2, 0, "No forecast yet: no bottle has been heard.", "$faint")
            return
        cut = len(paths) > canvas.height - 1
        rows = canvas.height - (2 if cut and canvas.height > 3 else 1)
        first = min(max(0, chosen - rows // 2), max(0, len(paths) - rows))
        last = min(len(paths), first + rows)
        self._scale(canvas, paths[0])
        for row, number in enumerate(range(first, last), 1):
            self._ribbon(canvas, paths[number], row, number == chosen)
            canvas.zone(0, row, canvas.width, 1, str(number))
        if cut:
            more = f"{first + 1} to {last} of {len(paths)} (arrow keys)"
            canvas.text(_NAME_WIDTH, rows + 1, clipped(more, canvas.width - _NAME_WIDTH), "$faint")

    def _columns(self, canvas: Canvas) -> int:
        return max(1, canvas.width - _NAME_WIDTH - _LEAVES_WIDTH - 1)

    def _scale(self, canvas: Canvas, path: DriftPath) -> None:
        columns, last = self._columns(canvas), path.minutes[-1]
        canvas.text(_NAME_WIDTH, 0, "now", "$faint")
        for share in (0.25, 0.5, 0.75, 1.0):
            text = f"{last * share:.0f}"
            back = len(text) if share == 1.0 else len(text) // 2
            canvas.text(_NAME_WIDTH + round(columns * share) - back, 0, text, "$faint")
        canvas.text(_NAME_WIDTH + columns + 1, 0, "min", "$faint")

    def _ribbon(self, canvas: Canvas, path: DriftPath, row: int, chosen: bool) -> None:
        columns = self._columns(canvas)
        name = plain(path.bottle, _NAME_WIDTH - 2)
        canvas.text(0, row, f"{'›' if chosen else ' '}{name}", "bold $label" if chosen else "bold")
        for column in range(columns):
            char, colour = mark(path, path.minutes[-1] * column / columns)
            canvas.text(_NAME_WIDTH + column, row, char, colour)
        canvas.text(_NAME_WIDTH + columns + 1, row, leaves_text(path), "$faint")


def leaves_text(path: DriftPath) -> str:
    """`out now`, `unsure`, `9 min`, `holds`."""
    if path.leaves_min is None:
        return "holds"
    if path.leaves_min > 0:
        return shown.minutes_figure(60.0 * path.leaves_min)
    return "unsure" if path.standings[0] == "doubtful" else "out now"
