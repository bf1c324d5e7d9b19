"""As much SVG as the pictures need: shapes and texts in pixels, y downwards, every text escaped.

No library: the pictures have axes, dots, bars and bands, and a plotting package would be heavier
than the tool. Colours are told apart by colour-blind eyes (palette of Okabe & Ito 2008) and shapes
say the same again.
"""

from __future__ import annotations

from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from rounds.wording.printable import plain

INK, FAINT, PAPER = "#222222", "#d0d0d0", "#ffffff"
BLUE, ORANGE, GREEN, RED, SKY = "#0072b2", "#e69f00", "#009e73", "#d55e00", "#56b4e9"


@dataclass(frozen=True)
class Scale:
    """A straight map from values to pixels."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """The pixel of a value."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


class Svg:
    """A picture that grows shape by shape; later shapes lie on top."""

    def __init__(self, width: int, height: int, title: str) -> None:
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
            f'viewBox="0 0 {width} {height}" font-family="sans-serif" font-size="12">',
            f"<title>{escape(plain(title))}</title>",
        ]
        self.rect(0, 0, width, height, PAPER)

    def _shape(self, name: str, **attributes: object) -> None:
        written = " ".join(
            f"{key.replace('_', '-')}={quoteattr(_number(value))}" for key, value in attributes.items()
        )
        self._parts.append(f"<{name} {written}/>")

    def rect(self, x: float, y: float, width: float, height: float, fill: str, opacity: float = 1.0) -> None:
        """A filled rectangle."""
        self._shape("rect", x=x, y=y, width=max(0.0, width), height=height, fill=fill, fill_opacity=opacity)

    def line(self, x1: float, y1: float, x2: float, y2: float, stroke: str = INK, width: float = 1.0) -> None:
        """A straight line."""
        self._shape("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=width)

    def path(self, points: list[tuple[float, float]], stroke: str, width: float = 1.5) -> None:
        """Straight lines through points."""
        joined = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
        self._shape("polyline", points=joined, fill="none", stroke=stroke, stroke_width=width)

    def dot(self, x: float, y: float, radius: float, fill: str, *, hollow: bool = False) -> None:
        """A disc, or a ring."""
        self._shape(
            "circle", cx=x, cy=y, r=radius, fill=PAPER if hollow else fill, stroke=fill, stroke_width=1.2
        )

    def wedge(self, x: float, y: float, size: float, fill: str, *, up: bool) -> None:
        """A triangle that points up or down: the value lies further out."""
        tip = y - size if up else y + size
        points = (
            f"{_number(x - size)},{_number(y)} {_number(x + size)},{_number(y)} {_number(x)},{_number(tip)}"
        )
        self._shape("polygon", points=points, fill=fill)

    def square(self, x: float, y: float, half: float, stroke: str) -> None:
        """An empty square about a point."""
        side = 2.0 * half
        self._shape(
            "rect", x=x - half, y=y - half, width=side, height=side, fill=PAPER, stroke=stroke, stroke_width=2
        )

    def text(
        self, x: float, y: float, words: object, *, anchor: str = "start", size: int = 12, fill: str = INK
    ) -> None:
        """A line of text; `anchor` is start, middle or end."""
        place = f'x="{_number(x)}" y="{_number(y)}" text-anchor="{anchor}" font-size="{size}" fill="{fill}"'
        self._parts.append(f"<text {place}>{escape(plain(words))}</text>")

    def __str__(self) -> str:
        return "\n".join((*self._parts, "</svg>", ""))


def _number(value: object) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
