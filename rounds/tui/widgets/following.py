"""What comes after the bottle in hand, in letters, and the time to the downbeat beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import clipped
from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas

_NEXT = "NEXT"


@dataclass(frozen=True)
class FollowingModel:
    """The next bottle (empty for none), what it wants, where it hangs, and a clock with its label."""

    name: str
    wants: str
    place: str
    label: str = ""
    figures: str = ""
    loud: bool = False
    """Whether the time is nearly up."""


class Following(Painted):
    """Paints a `FollowingModel`: the name in letters on the left, the clock on the right."""

    model: FollowingModel | None

    def draw(self, canvas: Canvas) -> None:
        """In letters where there are three rows, else on one line."""
        assert self.model is not None
        if canvas.height < 3:
            self._line(canvas, self.model)
            return
        end = self._clock(canvas, self.model)
        self._next(canvas, self.model, end)

    @staticmethod
    def _line(canvas: Canvas, model: FollowingModel) -> None:
        clock = f"{model.label} {model.figures}"
        column = canvas.width - len(clock) - 2
        canvas.text(column, 0, clock, "bold" if model.loud else "$faint")
        if model.name:
            whole = f"{_NEXT} {model.name} {model.wants} · {model.place}"
            short = f"{_NEXT} {model.name} {model.wants}"
            canvas.text(1, 0, whole if len(whole) < column - 2 else clipped(short, column - 3), "bold")

    @staticmethod
    def _clock(canvas: Canvas, model: FollowingModel) -> int:
        """The figures at the right edge; returns the column they begin at."""
        style = "bold" if model.loud else "$faint"
        large = (lettering.TALL,) if canvas.height >= 4 else ()
        room, rows = canvas.width // 2, canvas.height
        drawn = lettering.fit(model.figures, room, rows, (*large, lettering.SMALL), largest=2)
        if drawn is None:
            return canvas.width
        column = canvas.width - drawn.width - 2
        top = (canvas.height - drawn.height) // 2
        canvas.letters(column, top, drawn, style)
        canvas.text(column - len(model.label) - 2, top + drawn.height - 1, model.label, "$faint")
        return column - len(model.label) - 2

    @staticmethod
    def _next(canvas: Canvas, model: FollowingModel, until: int) -> None:
        if not model.name:
            return
        column = canvas.text(1, 0, _NEXT, "$faint") + 2
        alphabets = (lettering.TALL, lettering.SMALL) if canvas.height >= 4 else (lettering.SMALL,)
        drawn = lettering.fit(model.name, until - column - 2, canvas.height, alphabets, largest=2)
        if drawn is None:
            column = canvas.text(column, 0, model.name, "bold")
        else:
            column = canvas.letters(column, 0, drawn, "bold")
        room = max(0, until - column - 4)
        canvas.text(column + 3, 1, clipped(model.wants, room), "bold")
        canvas.text(column + 3, 2, clipped(model.place, room), "$faint")
