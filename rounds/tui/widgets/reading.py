"""The latest strike: whose it was, signed cents with their uncertainty, and what that means in air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds import shown
from rounds.tui import lettering
from rounds.tui.canvas import Canvas, clipped, folded
from rounds.tui.widgets.painted import Painted
from rounds.words import signed_cents

if TYPE_CHECKING:
    from rounds.events import Verdict


@dataclass(frozen=True)
class ReadingModel:
    """A reading with the air it asks for, in words; `verdict` None: nothing was struck yet."""

    verdict: Verdict | None
    note: str = ""
    cents: float | None = None
    u95_cents: float | None = None
    meaning: str = ""
    advice: str = ""
    aim: str = ""


def _colour(cents: float) -> str:
    return "$sharp" if cents > 0 else "$flat" if cents < 0 else "$tuned"


class Reading(Painted):
    """Paints a `ReadingModel`, in large figures where there are three rows for them."""

    model: ReadingModel | None

    def paint(self, model: ReadingModel) -> None:
        """Show a reading; the class `-advice` asks for a row more where rows are scarce."""
        super().paint(model)
        self.set_class(model.verdict not in (None, "clear"), "-advice")

    def draw(self, canvas: Canvas) -> None:
        """Figures on the left, words on the right."""
        assert self.model is not None
        model = self.model
        if model.verdict is None:
            canvas.text(2, canvas.height // 2, clipped(model.advice, canvas.width - 3), "$faint")
        elif model.verdict != "clear" or model.cents is None:
            self._not_clear(canvas, model)
        elif canvas.height >= 3:
            self._large(canvas, model, model.cents)
        else:
            self._line(canvas, model, model.cents)

    def _not_clear(self, canvas: Canvas, model: ReadingModel) -> None:
        word = shown.VERDICT_WORD[model.verdict or "unclear"]
        column = canvas.text(2, 0, f"! {word}", "bold $doubt")
        rows = folded(model.advice, canvas.width - 3, max(1, canvas.height - 1))
        if canvas.height == 1:
            canvas.text(column + 2, 0, clipped(model.advice, canvas.width - column - 3))
            return
        for row, line in enumerate(rows, 1):
            canvas.text(2, row, line)

    def _large(self, canvas: Canvas, model: ReadingModel, cents: float) -> None:
        alphabet = lettering.TALL if canvas.height >= 5 and canvas.width >= 100 else lettering.SMALL
        top = (canvas.height - -(-alphabet.height_px // 2)) // 2
        column = 2
        figure = lettering.draw(signed_cents(cents), alphabet)
        column = canvas.letters(column, top, figure, f"bold {_colour(cents)}")
        if model.u95_cents is not None:
            doubt = lettering.draw(shown.uncertainty_figure(model.u95_cents), lettering.SMALL)
            down = top + figure.height - doubt.height
            column = canvas.letters(column + 2, down, doubt, "$faint")
        self._words(canvas, model, cents, column + 3, top)

    def _words(self, canvas: Canvas, model: ReadingModel, cents: float, column: int, top: int) -> None:
        side = "sharp" if cents > 0 else "flat" if cents < 0 else "dead on"
        room = canvas.width - column - 1
        words = " · ".join(filter(None, (f"cents {side}", model.note, model.aim)))
        canvas.text(column, top, clipped(words, room), f"bold {_colour(cents)}")
        rows = folded(model.meaning, room, max(1, canvas.height - top - 1))
        for row, line in enumerate(rows, top + 1):
            canvas.text(column, row, line, "bold")

    def _line(self, canvas: Canvas, model: ReadingModel, cents: float) -> None:
        side = "sharp" if cents > 0 else "flat"
        doubt = "" if model.u95_cents is None else f" {shown.uncertainty_figure(model.u95_cents)}"
        figure = f"{model.note} {signed_cents(cents)}{doubt} cents {side}"
        column = canvas.text(1, 0, clipped(figure, canvas.width - 1), f"bold {_colour(cents)}")
        canvas.text(column + 2, 0, clipped(model.meaning, canvas.width - column - 2))
