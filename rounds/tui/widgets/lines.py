"""Plain text in a fixed number of rows: why, what comes next, what must be said now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.canvas import folded
from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas

_SIDE = 2
_BETWEEN = 3
FAINT = "$faint"


@dataclass(frozen=True)
class Said:
    """A sentence and the style it is said in."""

    text: str
    style: str = ""


class Lines(Painted):
    """Paints a tuple of `Said`, first things first, each on rows of its own while they last."""

    model: tuple[Said, ...] | None

    def paint(self, model: tuple[Said, ...]) -> None:
        """Show sentences; the class `-long` says that one does not fit on a row, `-more` that not all do."""
        super().paint(model)
        self._fit()

    def on_resize(self) -> None:
        """Another width may ask for another number of rows."""
        self._fit()

    def _fit(self) -> None:
        width, said = self.size.width - _SIDE - 1, self._said()
        self.set_class(width > 0 and any(len(s.text) > width for s in said), "-long")
        self.set_class(width > 0 and sum(len(s.text) + 1 for s in said) - 1 > width, "-more")

    def _said(self) -> list[Said]:
        return [s for s in self.model or () if s.text]

    def says_nothing(self, model: tuple[Said, ...]) -> bool:
        """Nothing is said."""
        return not any(s.text for s in model)

    def draw(self, canvas: Canvas) -> None:
        """Fold each sentence into the rows that remain, keeping one row for each that follows."""
        said = self._said()
        row = 0
        for number, sentence in enumerate(said):
            waiting = len(said) - number - 1
            rows = max(1, canvas.height - row - waiting)
            for line in folded(sentence.text, canvas.width - _SIDE - 1, rows):
                canvas.text(_SIDE, row, line, sentence.style)
                row += 1


class Prose(Lines):
    """Sentences of one style run on, whole ones only once the rows are scarce."""

    def draw(self, canvas: Canvas) -> None:
        """As many of the sentences as fit, from the first on."""
        said, width = self._said(), canvas.width - _SIDE - 1
        lines: list[str] = []
        for count in range(len(said), 0, -1):
            text = " ".join(s.text for s in said[:count])
            lines = folded(text, width, canvas.height)
            if count == 1 or not lines[-1].endswith("…"):
                break
        for row, line in enumerate(lines):
            canvas.text(_SIDE, row, line, said[0].style)


class Foot(Lines):
    """What must be said, and beside it, where there is room, what is good to know.

    What is only good to know (faint) never asks for a row more: the rails above would lose theirs.
    """

    def _fit(self) -> None:
        width = self.size.width - _SIDE - 1
        long = any(len(s.text) > width and s.style != FAINT for s in self._said())
        self.set_class(width > 0 and long, "-long")

    def draw(self, canvas: Canvas) -> None:
        """The first over all rows; the others only beside it on the first row."""
        said, width = self._said(), canvas.width - _SIDE - 1
        if not said:
            return
        text = said[0].text
        if said[0].style == FAINT and len(text) > width:
            text = text[:width].rpartition("  ")[0].rstrip()
        lines = [text] if said[0].style == FAINT else folded(text, width, canvas.height)
        for row, line in enumerate(lines):
            canvas.text(_SIDE, row, line, said[0].style)
        column = _SIDE + len(lines[0]) + _BETWEEN
        for sentence in said[1:]:
            if len(lines) == 1 and column + len(sentence.text) < canvas.width:
                column = canvas.text(column, 0, sentence.text, sentence.style) + _BETWEEN
