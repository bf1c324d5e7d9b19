"""A time in large figures with a word above: to the downbeat, or to the next round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import clipped
from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas


@dataclass(frozen=True)
class ClockModel:
    """What is counted, and its figures."""

    label: str
    figures: str
    warn: bool = False


class BigClock(Painted):
    """Paints a `ClockModel`."""

    model: ClockModel | None

    def draw(self, canvas: Canvas) -> None:
        """The label, and the figures as large as fit below it."""
        assert self.model is not None
        model = self.model
        style = "bold reverse" if model.warn else "bold $loud"
        canvas.text(1, 0, clipped(model.label, canvas.width - 2), "$faint")
        alphabets = (lettering.TALL, lettering.SMALL)
        drawn = lettering.fit(model.figures, canvas.width - 2, canvas.height - 1, alphabets, largest=2)
        if drawn is None:
            canvas.text(1, 1, clipped(model.figures, canvas.width - 2), style)
        else:
            canvas.letters(1, 1, drawn, style)
