"""The instruction: the bottle and the act as the largest letters that fit, on a slab in the act's colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import Canvas, clipped
from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.view import Act

_TINT: dict[Act, str] = {
    "strike": "$slab-strike",
    "connect": "$slab-pump",
    "add": "$slab-pump",
    "release": "$slab-pin",
    "disconnect": "$slab-pump",
    "wait": "$slab-rest",
    "none": "$slab-rest",
}


_SIDE = 2


@dataclass(frozen=True)
class SlabModel:
    """What to paint large: the bottle's name (empty for none) and the order."""

    act: Act
    name: str
    order: str


def drawable(name: str) -> str:
    """A bottle's name in letters we have: as it is (`Bb3`), else in capitals."""
    name = name.replace("♯", "#").replace("♭", "b")
    return name if lettering.TALL.has(name) else name.upper()


class Slab(Painted):
    """Paints a `SlabModel`."""

    model: SlabModel | None

    def draw(self, canvas: Canvas) -> None:
        """Fill the slab and set the words on it."""
        assert self.model is not None
        tint = _TINT[self.model.act]
        canvas.fill(0, 0, canvas.width, canvas.height, f"on {tint}")
        if not self._large(canvas, self.model, f"$slab-text on {tint}"):
            self._small(canvas, self.model, f"bold $slab-text on {tint}")

    def _large(self, canvas: Canvas, model: SlabModel, style: str) -> bool:
        """Both the name and the order in large letters, or the order alone beside a plain name."""
        name, order = drawable(model.name), model.order.upper()
        if not lettering.TALL.has(name + order):
            return False
        for scale in (3, 2, 1):
            drawn = lettering.draw(order, lettering.TALL, scale)
            column = self._chip_end(name, scale) + 2 * scale if name else _SIDE
            if drawn.height <= canvas.height and column + drawn.width < canvas.width:
                self._chip(canvas, name, scale)
                self._letters(canvas, drawn, column, style)
                return True
        return self._order_alone(canvas, model, lettering.draw(order), style)

    def _order_alone(self, canvas: Canvas, model: SlabModel, drawn: lettering.Lettering, style: str) -> bool:
        column = _SIDE + len(model.name) + 2
        if drawn.height > canvas.height or column + drawn.width >= canvas.width:
            return False
        canvas.text(_SIDE - 1, canvas.height // 2, f" {model.name} ", "bold $chip")
        self._letters(canvas, drawn, column, style)
        return True

    @staticmethod
    def _chip_end(name: str, scale: int) -> int:
        return _SIDE + lettering.TALL.width_px(name) * scale + 2 * scale

    def _chip(self, canvas: Canvas, name: str, scale: int) -> None:
        """The name on a label, as it stands on the bottle."""
        if not name:
            return
        chip = lettering.draw(name, lettering.TALL, scale)
        top = self._top(canvas, chip)
        canvas.fill(_SIDE, top, self._chip_end(name, scale) - _SIDE, chip.height, "$chip")
        canvas.letters(_SIDE + scale, top, chip, "bold $chip")

    def _letters(self, canvas: Canvas, drawn: lettering.Lettering, column: int, style: str) -> None:
        canvas.letters(column, self._top(canvas, drawn), drawn, f"bold {style}")

    @staticmethod
    def _top(canvas: Canvas, drawn: lettering.Lettering) -> int:
        return (canvas.height - drawn.height + 1) // 2

    def _small(self, canvas: Canvas, model: SlabModel, style: str) -> None:
        row = (canvas.height - 1) // 2
        column = 1
        if model.name:
            column = canvas.text(1, row, f" {model.name} ", "bold $chip") + 1
        canvas.text(column, row, clipped(model.order, canvas.width - column), style)
