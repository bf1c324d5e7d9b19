"""What the screen shows while a take runs. It is painted once and does not move."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import folded
from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas


@dataclass(frozen=True)
class StillModel:
    """The take's name and what was expected at its start."""

    name: str
    expected: str


class Stillness(Painted):
    """Paints a `StillModel` in the middle of a dark screen."""

    model: StillModel | None

    def draw(self, canvas: Canvas) -> None:
        """The name in large letters where it fits, how it began, and the key that cuts."""
        assert self.model is not None
        name = self.model.name.upper()
        drawn = lettering.fit(name, canvas.width - 4, canvas.height - 6, largest=2)
        rows = 1 if drawn is None else drawn.height
        top = max(0, (canvas.height - rows - 6) // 2)
        if drawn is None:
            canvas.text(max(0, (canvas.width - len(name)) // 2), top, name, "bold $faint")
        else:
            canvas.letters((canvas.width - drawn.width) // 2, top, drawn, "$faint")
        lines = ["rolling", *folded(self.model.expected, canvas.width - 8, 3), "t cut"]
        for row, line in enumerate(lines, top + rows + 1):
            canvas.text(max(0, (canvas.width - len(line)) // 2), row, line, "$faint")
