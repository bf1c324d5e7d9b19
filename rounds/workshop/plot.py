"""The comparison as a picture: intervals on one scale a measure, in characters or as SVG.

Colour never tells A from B alone: A is a filled disc (o in text), B a hollow square (# in text), and
each has its own line with its letter.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.workshop.compare import Comparison, Contrast, Interval

TEXT_COLUMNS = 46
_ROW_PX, _LEFT_PX, _WIDTH_PX, _RIGHT_PX = 74, 190, 420, 24
_INK = {"A": "#1f5fa8", "B": "#a8481f"}


@dataclass(frozen=True)
class Scale:
    """Maps values of one measure onto 0 to 1."""

    low: float
    high: float

    def at(self, value: float) -> float:
        """Where a value lies, 0 to 1."""
        return (value - self.low) / (self.high - self.low)


def scale_of(contrast: Contrast) -> Scale:
    """A scale that holds both intervals with a margin."""
    ends = [e for i in (contrast.a, contrast.b) if i for e in _ends(i)]
    low, high = min(ends), max(ends)
    margin = 0.1 * (high - low) or max(0.05 * abs(high), 0.5)
    return Scale(low - margin, high + margin)


def _ends(interval: Interval) -> tuple[float, float]:
    half = interval.half_width or 0.0
    return interval.mean - half, interval.mean + half


def _both(contrast: Contrast) -> list[tuple[str, Interval]]:
    return [(name, i) for name, i in (("A", contrast.a), ("B", contrast.b)) if i]


def text_plot(comparison: Comparison) -> list[str]:
    """Two lines a measure, `|---o---|` for A and `|---#---|` for B."""
    lines: list[str] = []
    for contrast in comparison.contrasts:
        for name, interval in _both(contrast):
            label = contrast.measure.label if name == "A" or contrast.a is None else ""
            lines.append(
                f"{label:<22}{name} {_bar(interval, scale_of(contrast), 'o' if name == 'A' else '#')}"
            )
    return lines


def _bar(interval: Interval, scale: Scale, mark: str) -> str:
    cells = ["·"] * TEXT_COLUMNS
    first, last = (round(scale.at(e) * (TEXT_COLUMNS - 1)) for e in _ends(interval))
    cells[first : last + 1] = ["-"] * (last - first + 1)
    if last > first:
        cells[first] = cells[last] = "|"
    cells[round(scale.at(interval.mean) * (TEXT_COLUMNS - 1))] = mark
    return "".join(cells)


def svg_plot(comparison: Comparison) -> str:
    """A self-contained SVG document."""
    rows = [c for c in comparison.contrasts if _both(c)]
    height = 60 + _ROW_PX * len(rows)
    width = _LEFT_PX + _WIDTH_PX + _RIGHT_PX
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="sans-serif" font-size="13">\n'
        f"<title>Two recordings of strikes side by side</title>\n"
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n'
        f"{_legend('A', comparison.a.name, 20)}{_legend('B', comparison.b.name, 40)}"
    )
    return head + "".join(_svg_row(c, 60 + _ROW_PX * k) for k, c in enumerate(rows)) + "</svg>\n"


def _legend(name: str, file: str, y: int) -> str:
    return f'{_mark(name, 16, y - 4)}<text x="30" y="{y}">{name}: {escape(plain(file, 70))}</text>\n'


def _mark(name: str, x: float, y: float) -> str:
    ink = _INK[name]
    if name == "A":
        return f'<circle cx="{x:.1f}" cy="{y}" r="5" fill="{ink}"/>'
    box = f'<rect x="{x - 5:.1f}" y="{y - 5}" width="10" height="10" '
    return f'{box}fill="#ffffff" stroke="{ink}" stroke-width="2"/>'


def _svg_row(contrast: Contrast, top: int) -> str:
    scale, measure = scale_of(contrast), contrast.measure
    parts = [f'<text x="12" y="{top + 28}">{escape(measure.label)}, {escape(measure.unit)}</text>']
    base = top + 54
    parts.append(f'<path d="M{_LEFT_PX} {base}h{_WIDTH_PX}" stroke="#888888"/>')
    for share, anchor in ((0.0, "start"), (1.0, "end")):
        value = scale.low + share * (scale.high - scale.low)
        x = _LEFT_PX + share * _WIDTH_PX
        label = f"{value:.{measure.digits}f}"
        parts.append(
            f'<text x="{x:.0f}" y="{base + 14}" font-size="11" text-anchor="{anchor}">{label}</text>'
        )
    parts += [_svg_bar(name, i, scale, top + (18 if name == "A" else 38)) for name, i in _both(contrast)]
    return "\n".join(parts) + "\n"


def _svg_bar(name: str, interval: Interval, scale: Scale, y: int) -> str:
    first, last = (_LEFT_PX + scale.at(e) * _WIDTH_PX for e in _ends(interval))
    line = f'<path d="M{first:.1f} {y}H{last:.1f}M{first:.1f} {y - 5}v10M{last:.1f} {y - 5}v10" '
    middle = _LEFT_PX + scale.at(interval.mean) * _WIDTH_PX
    return f'{line}stroke="{_INK[name]}" stroke-width="2"/>{_mark(name, middle, y)}'
