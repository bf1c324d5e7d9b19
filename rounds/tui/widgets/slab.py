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
        for scale in (3, 2, 1):
            drawn = self._drawn(order, scale)
            if drawn is None or drawn.height > canvas.height:
                continue
            chip = self._drawn(name, scale) if name else None
            if chip is not None and _SIDE + chip.width + 2 + 2 * scale + drawn.width + 1 <= canvas.width:
                self._chip(canvas, chip)
                self._order(canvas, drawn, _SIDE + chip.width + 2 + 2 * scale, style)
                return True
            if scale == 1 or not name:
                column = _SIDE + (len(model.name) + 4 if name else 0)
                if column + drawn.width < canvas.width:
                    canvas.text(
                        _SIDE - 1, canvas.height // 2, f" {model.name} " if name else "", "bold $chip"
                    )
                    self._order(canvas, drawn, column, style)
                    return True
        return False

    @staticmethod
    def _drawn(text: str, scale: int) -> lettering.Lettering | None:
        return lettering.draw(text, lettering.TALL, scale) if lettering.TALL.has(text) else None

    @staticmethod
    def _chip(canvas: Canvas, chip: lettering.Lettering) -> None:
        top = (canvas.height - chip.height + 1) // 2
        canvas.fill(_SIDE, top, chip.width + 2, chip.height, "$chip")
        canvas.letters(_SIDE + 1, top, chip, "bold $chip")

    @staticmethod
    def _order(canvas: Canvas, drawn: lettering.Lettering, column: int, style: str) -> None:
        canvas.letters(column, (canvas.height - drawn.height + 1) // 2, drawn, f"bold {style}")

    def _small(self, canvas: Canvas, model: SlabModel, style: str) -> None:
        row = (canvas.height - 1) // 2
        column = 1
        if model.name:
            column = canvas.text(1, row, f" {model.name} ", "bold $chip") + 1
        canvas.text(column, row, clipped(model.order, canvas.width - column), style)
