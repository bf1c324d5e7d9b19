"""The latest strike: its bottle, signed cents with their uncertainty, and what that means in air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import Canvas, clipped, folded
from rounds.tui.widgets.painted import Painted
from rounds.wording import shown
from rounds.wording.words import signed_cents

if TYPE_CHECKING:
    from rounds.events import Verdict


@dataclass(frozen=True)
class ReadingModel:
    """A reading with the air it asks for, in words; `verdict` None: nothing was struck yet.

    `past`: it is of another bottle than the one in hand, so its figures must not catch the eye.
    """

    verdict: Verdict | None
    note: str = ""
    cents: float | None = None
    u95_cents: float | None = None
    meaning: str = ""
    advice: str = ""
    aim: str = ""
    past: bool = False

    @property
    def style(self) -> str:
        """Bold for the bottle in hand; faint once the player is sent elsewhere."""
        if self.past or self.cents is None:
            return "$faint"
        return "bold"

    @property
    def side(self) -> str:
        """Which side it lies on, in a word."""
        if not self.cents:
            return "dead on"
        return "sharp" if self.cents > 0 else "flat"


class Reading(Painted):
    """Paints a `ReadingModel`, in large figures where there are three rows for them."""

    model: ReadingModel | None

    def paint(self, model: ReadingModel) -> None:
        """Show a reading; the class `-advice` asks for a row more where the advice needs one."""
        super().paint(model)
        words = f"! {shown.VERDICT_WORD[model.verdict]}: {model.advice}" if model.verdict else ""
        self.set_class(model.verdict != "clear" and len(words) > self.size.width - 3, "-advice")

    def draw(self, canvas: Canvas) -> None:
        """Figures on the left, words on the right."""
        assert self.model is not None
        model = self.model
        if model.verdict is None:
            canvas.text(2, canvas.height // 2, clipped(model.advice, canvas.width - 3), "$faint")
        elif model.verdict != "clear" or model.cents is None:
            self._not_clear(canvas, model)
        elif canvas.height >= 3 and not model.past:
            self._large(canvas, model, model.cents)
        else:
            self._line(canvas, model, model.cents, canvas.height // 2)

    def _not_clear(self, canvas: Canvas, model: ReadingModel) -> None:
        word = f"! {shown.VERDICT_WORD[model.verdict or 'unclear']}:"
        lines = folded(f"{word} {model.advice}", canvas.width - 3, canvas.height)
        for row, line in enumerate(lines):
            canvas.text(2, row, line)
        canvas.text(2, 0, word, "bold $loud")

    def _large(self, canvas: Canvas, model: ReadingModel, cents: float) -> None:
        """The name on its label, then the figures, so that nobody takes them for another bottle's."""
        alphabet = lettering.TALL if canvas.height >= 5 and canvas.width >= 100 else lettering.SMALL
        scale = 2 if canvas.height >= 7 and canvas.width >= 140 else 1
        figure = lettering.draw(signed_cents(cents), alphabet, scale)
        top = (canvas.height - figure.height) // 2
        last = top + figure.height
        column = self._whose(canvas, model, last) + 1
        column = canvas.letters(column, top, figure, f"bold {model.style}")
        if model.u95_cents is not None:
            doubt = lettering.draw(shown.uncertainty_figure(model.u95_cents), lettering.SMALL)
            column = canvas.letters(column + 2, last - doubt.height, doubt, "$faint")
        self._words(canvas, model, column + 3, top)

    @staticmethod
    def _whose(canvas: Canvas, model: ReadingModel, last: int) -> int:
        """Draw the bottle of the reading on the row before `last`; returns the column after it."""
        style = "bold $faint" if model.past else "bold"
        if not lettering.SMALL.has(model.note):
            return canvas.text(2, last - 1, model.note, style) + 1
        drawn = lettering.draw(model.note, lettering.SMALL)
        return canvas.letters(2, last - drawn.height, drawn, style) + 2

    def _words(self, canvas: Canvas, model: ReadingModel, column: int, top: int) -> None:
        room = canvas.width - column - 1
        before = f"{model.note}, just before" if model.past else ""
        words = " · ".join(filter(None, (f"cents {model.side}", before, model.aim)))
        canvas.text(column, top, clipped(words, room), f"bold {model.style}")
        rows = folded(model.meaning, room, max(1, canvas.height - top - 1))
        for row, line in enumerate(rows, top + 1):
            canvas.text(column, row, line, "$faint" if model.past else "bold")

    def _line(self, canvas: Canvas, model: ReadingModel, cents: float, row: int) -> None:
        """`heard E4  ▕▃▏ 2 strokes in, by the pump · −23 ±1.8 cents flat · aim +4`."""
        before = "before" if model.past else "heard"
        column = canvas.text(1, row, before, "$faint") + 1
        column = canvas.text(column, row, model.note, "$faint" if model.past else "bold") + 2
        doubt = "" if model.u95_cents is None else f" {shown.uncertainty_figure(model.u95_cents)}"
        figure = f"{signed_cents(cents)}{doubt} cents {model.side}"
        room = canvas.width - column - 1
        parts = [part for part in (model.meaning, figure, model.aim) if part]
        while len(parts) > 1 and len(" · ".join(parts)) > room:
            parts.pop()
        canvas.text(column, row, clipped(" · ".join(parts), room), model.style)
