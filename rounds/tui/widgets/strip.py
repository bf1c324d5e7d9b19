"""The line on top: what goes on, and the few numbers of the day, most needed first.

Pieces are dropped whole from the end when the line is short, so nothing is ever cut in the middle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas


@dataclass(frozen=True)
class Fact:
    """A label and its value; `loud` ones are painted bold."""

    label: str
    value: str
    loud: bool = False
    warn: bool = False

    @property
    def width(self) -> int:
        """Cells it takes."""
        return len(self.label) + (1 if self.label and self.value else 0) + len(self.value)


@dataclass(frozen=True)
class StripModel:
    """The heading and the facts, most needed first."""

    heading: str
    facts: tuple[Fact, ...]


class Strip(Painted):
    """Paints a `StripModel` on one line."""

    model: StripModel | None

    def draw(self, canvas: Canvas) -> None:
        """Heading on the left, then as many facts as fit."""
        assert self.model is not None
        column = canvas.text(1, 0, f" {self.model.heading} ", "bold reverse")
        for fact in self.model.facts:
            if column + 3 + fact.width > canvas.width:
                break
            self._fact(canvas, fact, column + 3)
            column += 3 + fact.width

    @staticmethod
    def _fact(canvas: Canvas, fact: Fact, column: int) -> None:
        if fact.label:
            column = canvas.text(column, 0, fact.label, "$faint") + (1 if fact.value else 0)
        canvas.text(column, 0, fact.value, "bold" if fact.warn or fact.loud else "")
