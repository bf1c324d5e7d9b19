"""The instruction: the bottle and the act as the largest letters that fit, on a slab in the act's colour."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import Canvas, clipped
from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.instruction import Act

_TINT: dict[Act, str] = {
    "strike": "$slab-strike",
    "connect": "$slab-pump",
    "add": "$slab-pump",
    "release": "$slab-pin",
    "disconnect": "$slab-pump",
    "gauge": "$slab-pump",
    "wait": "$slab-rest",
    "none": "$slab-rest",
}


_SIDE = 2
_PARTS = {"⅛": "1/8", "¼": "1/4", "⅜": "3/8", "½": "1/2", "⅝": "5/8", "¾": "3/4", "⅞": "7/8"}


@dataclass(frozen=True)
class Size:
    """Letters of one kind at one scale; `gap`: blank columns between the name and the order."""

    alphabet: lettering.Alphabet
    scale: int
    gap: int


SIZES = tuple(
    Size(alphabet, scale, gap * scale)
    for scale in (3, 2, 1)
    for alphabet, gap in ((lettering.TALL, 2), (lettering.NARROW, 1))
)
"""The largest first."""


@dataclass(frozen=True)
class SlabModel:
    """What to paint large: the bottle's name (empty for none) and the order."""

    act: Act
    name: str
    order: str


def wordings(order: str) -> tuple[str, ...]:
    """An order as it may be drawn, in full first: `LET OUT 1 3/4`, `OUT 1 3/4`.

    Parts of a stroke stand in figures: a fraction squeezed into one glyph cannot be read from afar.
    """
    text = order.upper()
    for sign, figures in _PARTS.items():
        text = text.replace(sign, f" {figures}")
    text = " ".join(text.split())
    return (text, text.removeprefix("LET ")) if text.startswith("LET OUT") else (text,)


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
        """The name and the order in the largest letters that hold both, else the order alone in such."""
        name, orders = drawable(model.name), wordings(model.order)
        if lettering.TALL.has(name):
            for size, order in itertools.product(SIZES, orders):
                if self._together(canvas, name, order, size, style):
                    return True
        return any(self._order_alone(canvas, model, o, s, style) for s, o in itertools.product(SIZES, orders))

    def _together(self, canvas: Canvas, name: str, order: str, size: Size, style: str) -> bool:
        if not size.alphabet.has(name + order):
            return False
        drawn = lettering.draw(order, size.alphabet, size.scale)
        column = self._chip_end(name, size) + size.gap if name else _SIDE
        if drawn.height > canvas.height or column + drawn.width >= canvas.width:
            return False
        self._chip(canvas, name, size)
        self._letters(canvas, drawn, column, style)
        return True

    def _order_alone(self, canvas: Canvas, model: SlabModel, order: str, size: Size, style: str) -> bool:
        if not size.alphabet.has(order):
            return False
        drawn = lettering.draw(order, size.alphabet, size.scale)
        column = _SIDE + len(model.name) + 2
        if drawn.height > canvas.height or column + drawn.width >= canvas.width:
            return False
        canvas.text(_SIDE - 1, canvas.height // 2, f" {model.name} ", "bold $chip")
        self._letters(canvas, drawn, column, style)
        return True

    @staticmethod
    def _chip_end(name: str, size: Size) -> int:
        return _SIDE + size.alphabet.width_px(name) * size.scale + 2 * size.scale

    def _chip(self, canvas: Canvas, name: str, size: Size) -> None:
        """The name on a label, as it stands on the bottle."""
        if not name:
            return
        chip = lettering.draw(name, size.alphabet, size.scale)
        top = self._top(canvas, chip)
        canvas.fill(_SIDE, top, self._chip_end(name, size) - _SIDE, chip.height, "$chip")
        canvas.letters(_SIDE + size.scale, top, chip, "bold $chip")

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
