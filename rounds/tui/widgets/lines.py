"""Plain text in a fixed number of rows: why, what comes next, what must be said now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.canvas import folded
from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas


@dataclass(frozen=True)
class Said:
    """A sentence and the style it is said in."""

    text: str
    style: str = ""


class Lines(Painted):
    """Paints a tuple of `Said`, first things first, each on rows of its own while they last."""

    model: tuple[Said, ...] | None

    def paint(self, model: tuple[Said, ...]) -> None:
        """Show sentences; the class `-long` says that one does not fit on a row."""
        super().paint(model)
        self._fit()

    def on_resize(self) -> None:
        """Another width may ask for another number of rows."""
        self._fit()

    def _fit(self) -> None:
        width = self.size.width - 3
        self.set_class(width > 0 and any(len(s.text) > width for s in self.model or ()), "-long")

    def says_nothing(self, model: tuple[Said, ...]) -> bool:
        """Nothing is said."""
        return not any(s.text for s in model)

    def draw(self, canvas: Canvas) -> None:
        """Fold each sentence into the rows that remain, keeping one row for each that follows."""
        assert self.model is not None
        said = [s for s in self.model if s.text]
        row = 0
        for number, sentence in enumerate(said):
            waiting = len(said) - number - 1
            rows = max(1, canvas.height - row - waiting)
            for line in folded(sentence.text, canvas.width - 3, rows):
                canvas.text(2, row, line, sentence.style)
                row += 1
