"""The instruction: the bottle and the act as the largest letters that fit, on a slab in the act's colour.

Where room is left the bottle itself stands at the end, its level against its mark; it is dropped first.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui import lettering
from rounds.tui.canvas import Canvas, clipped
from rounds.tui.widgets.painted import Painted
from rounds.wording import shown

if TYPE_CHECKING:
    from rounds.instruction import Act

_TINT: dict[Act, str] = {
    "strike": "$slab-strike",
    "connect": "$slab-pump",
    "add": "$slab-pump",
    "release": "$slab-out",
    "disconnect": "$slab-rest",
    "gauge": "$slab-ask",
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
    strokes: float | None = None
    """Strokes that the bottle wants (out: negative); None: no bottle is drawn."""


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
        canvas.fill(0, 0, canvas.width, canvas.height, tint)
        end = self._large(canvas, self.model, f"bold {tint}")
        if not end:
            self._small(canvas, self.model, f"bold {tint}")
        elif self.model.strokes is not None:
            _bottle_at_the_end(canvas, self.model.strokes, end, f"bold {tint}")

    def _large(self, canvas: Canvas, model: SlabModel, style: str) -> int:
        """The name and the order in the largest letters that hold both, else the order alone in such.

        Returns the column after them, 0 where none fit.
        """
        name, orders = drawable(model.name), wordings(model.order)
        if lettering.TALL.has(name):
            for size, order in itertools.product(SIZES, orders):
                end = self._together(canvas, name, order, size, style)
                if end:
                    return end
        ends = (self._order_alone(canvas, model, o, s, style) for s, o in itertools.product(SIZES, orders))
        return next(filter(None, ends), 0)

    def _together(self, canvas: Canvas, name: str, order: str, size: Size, style: str) -> int:
        if not size.alphabet.has(name + order):
            return 0
        drawn = lettering.draw(order, size.alphabet, size.scale)
        column = self._chip_end(name, size) + size.gap if name else _SIDE
        if drawn.height > canvas.height or column + drawn.width >= canvas.width:
            return 0
        self._chip(canvas, name, size)
        self._letters(canvas, drawn, column, style)
        return column + drawn.width

    def _order_alone(self, canvas: Canvas, model: SlabModel, order: str, size: Size, style: str) -> int:
        if not size.alphabet.has(order):
            return 0
        drawn = lettering.draw(order, size.alphabet, size.scale)
        column = _SIDE + len(model.name) + 2
        if drawn.height > canvas.height or column + drawn.width >= canvas.width:
            return 0
        canvas.text(_SIDE - 1, canvas.height // 2, f" {model.name} ", "bold $label")
        self._letters(canvas, drawn, column, style)
        return column + drawn.width

    @staticmethod
    def _chip_end(name: str, size: Size) -> int:
        return _SIDE + size.alphabet.width_px(name) * size.scale + 2 * size.scale

    def _chip(self, canvas: Canvas, name: str, size: Size) -> None:
        """The name on a label, as on the bottle itself."""
        if not name:
            return
        chip = lettering.draw(name, size.alphabet, size.scale)
        top = self._top(canvas, chip)
        canvas.fill(_SIDE, top, self._chip_end(name, size) - _SIDE, chip.height, "$label")
        canvas.letters(_SIDE + size.scale, top, chip, "bold $label")

    def _letters(self, canvas: Canvas, drawn: lettering.Lettering, column: int, style: str) -> None:
        canvas.letters(column, self._top(canvas, drawn), drawn, style)

    @staticmethod
    def _top(canvas: Canvas, drawn: lettering.Lettering) -> int:
        return (canvas.height - drawn.height + 1) // 2

    def _small(self, canvas: Canvas, model: SlabModel, style: str) -> None:
        row = (canvas.height - 1) // 2
        column = 1
        if model.name:
            column = canvas.text(1, row, f" {model.name} ", "bold $label") + 1
        canvas.text(column, row, clipped(model.order, canvas.width - column), style)


def _bottle_at_the_end(canvas: Canvas, strokes: float, after: int, style: str) -> None:
    """The bottle in hand, where it fits behind the letters: a row of levels below its mark."""
    rows = canvas.height
    width = 7 if rows < 9 else 13
    x = canvas.width - width - _SIDE
    if rows < 5 or x <= after + 2:
        return
    inner, neck = width - 2, (width - 4) // 3
    body = rows - 3
    filled = body if strokes < 0 else round(body * shown.fullness(strokes))
    canvas.text(x, 0, ("▄" * (neck + 2)).center(width), style)
    canvas.text(x, 1, f"╭{'─' * neck}╯{' ' * neck}╰{'─' * neck}╮", style)
    for row in range(body):
        inside = ("█" if body - row <= filled else " ") * inner
        left, right = ("├", "┤") if row == 0 else ("│", "│")
        canvas.text(x, 2 + row, f"{left}{inside}{right}", style)
    canvas.text(x, rows - 1, f"╰{'─' * inner}╯", style)
