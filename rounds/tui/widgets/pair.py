"""Two people's instructions at once: each with a mark, a number and a word, and the order in large letters.

Beside each other where there is room for both, else one above the other.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from textual.containers import Container, Vertical

from rounds.tui.canvas import clipped, folded
from rounds.tui.widgets.painted import Painted
from rounds.tui.widgets.slab import Slab, SlabModel

if TYPE_CHECKING:
    from textual.app import ComposeResult

    from rounds.tui.canvas import Canvas

MARKS = ("●", "■")
"""Each person's mark on the screen: of another shape, so that colour is never the only difference."""
_HOLDS = ("WAIT TO STRIKE", "WAIT")
BESIDE_COLUMNS = 100
"""From this width on they stand side by side."""


@dataclass(frozen=True)
class WhoModel:
    """The person an order is for, what to do in full, why, and what to mind."""

    person: int
    has_keys: bool
    holds: bool
    deed: str
    why: str
    caution: str = ""

    @property
    def wordings(self) -> tuple[str, ...]:
        """The sentence in full first: where room is short the reason goes, what to do and how much stays."""
        if not self.deed:
            return (self.why,)
        short = self.deed.partition(", then")[0].removesuffix(".")
        return (f"{self.deed} {self.why}".strip(), self.deed, f"{short}.")


@dataclass(frozen=True)
class BoardModel:
    """One person's order."""

    who: WhoModel
    slab: SlabModel


class Who(Painted):
    """Paints a `WhoModel`: the label, then why, and on a row of its own what to mind."""

    model: WhoModel | None

    def paint(self, model: WhoModel) -> None:
        """Show it; the class `-caution` asks for a row more."""
        super().paint(model)
        self.set_class(bool(model.caution), "-caution")

    def draw(self, canvas: Canvas) -> None:
        """The label first: it must be found at a glance. On one row what to mind comes before why."""
        assert self.model is not None
        model = self.model
        column = canvas.text(1, 0, f" {MARKS[model.person]} PERSON {model.person + 1} ", "bold reverse") + 1
        if model.has_keys:
            column = canvas.text(column, 0, "keys", "$faint") + 2
        mind = f"! {model.caution}" if model.caution else ""
        rows = canvas.height - bool(mind)
        if rows < 1:
            column = self._hold(canvas, column, _HOLDS[0])
            canvas.text(column, 0, clipped(mind, canvas.width - column - 1), "$loud")
            return
        if rows > 1:
            self._hold(canvas, column, _HOLDS[0])
            self._folded(canvas, rows - 1)
        else:
            self._beside(canvas, column)
        if mind:
            canvas.text(2, canvas.height - 1, clipped(mind, canvas.width - 3), "$loud")

    def _hold(self, canvas: Canvas, column: int, words: str) -> int:
        assert self.model is not None
        return canvas.text(column, 0, words, "bold $loud") + 2 if self.model.holds else column

    def _folded(self, canvas: Canvas, rows: int) -> None:
        """The fullest wording that is not cut."""
        assert self.model is not None
        width = canvas.width - 3
        folds = [folded(text, width, rows) for text in self.model.wordings]
        uncut = [f for f in folds if not f or not f[-1].endswith("…")]
        for row, line in enumerate((uncut or folds[-1:])[0], 1):
            canvas.text(2, row, line, "bold")

    def _beside(self, canvas: Canvas, column: int) -> None:
        """The fullest wording that fits beside the label, which shortens too."""
        assert self.model is not None
        texts = self.model.wordings
        for text, words in itertools.product(texts, _HOLDS):
            width = len(words) + 2 if self.model.holds else 0
            if column + width + len(text) < canvas.width:
                canvas.text(self._hold(canvas, column, words), 0, text, "bold")
                return
        column = self._hold(canvas, column, _HOLDS[-1])
        canvas.text(column, 0, clipped(texts[-1], canvas.width - column - 1), "bold")


class PersonBoard(Vertical):
    """One person's label and order."""

    def compose(self) -> ComposeResult:
        """The label above the order."""
        yield Who()
        yield Slab()

    def paint(self, model: BoardModel) -> None:
        """Show one person's order."""
        self.query_one(Who).paint(model.who)
        self.query_one(Slab).paint(model.slab)


class PairBoards(Container):
    """Both people's orders; hidden while one person tunes alone."""

    def compose(self) -> ComposeResult:
        """The first person on the left, or above."""
        yield PersonBoard()
        yield PersonBoard()

    def on_resize(self, event: Any) -> None:
        """Side by side where both fit."""
        self.set_class(event.size.width >= BESIDE_COLUMNS, "-beside")

    def paint(self, models: tuple[BoardModel, ...]) -> None:
        """Show both."""
        for board, model in zip(self.query(PersonBoard), models, strict=False):
            board.paint(model)
