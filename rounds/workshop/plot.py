"""The comparison as a picture: intervals on one scale a measure, in characters or as SVG.

Colour never tells A from B alone: A is a filled disc (o in text), B a hollow square (# in text), and
each has its own line with its letter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.wording.pictures import BLUE, FAINT, RED, Scale, Svg
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.workshop.compare import Comparison, Contrast, Interval

TEXT_COLUMNS = 46
_ROW_PX, _LEFT_PX, _WIDTH_PX, _RIGHT_PX = 74, 190, 420, 24
_INK = {"A": BLUE, "B": RED}


def scale_of(contrast: Contrast, start: float, end: float) -> Scale:
    """A scale from a first place to a last one that holds both intervals with a margin."""
    ends = [e for i in (contrast.a, contrast.b) if i for e in _ends(i)]
    low, high = min(ends), max(ends)
    margin = 0.1 * (high - low) or max(0.05 * abs(high), 0.5)
    return Scale(low - margin, high + margin, start, end)


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
            bar = _bar(interval, scale_of(contrast, 0.0, TEXT_COLUMNS - 1), "o" if name == "A" else "#")
            lines.append(f"{label:<22}{name} {bar}")
    return lines


def _bar(interval: Interval, scale: Scale, mark: str) -> str:
    cells = ["·"] * TEXT_COLUMNS
    first, last = (round(scale.at(e)) for e in _ends(interval))
    cells[first : last + 1] = ["-"] * (last - first + 1)
    if last > first:
        cells[first] = cells[last] = "|"
    cells[round(scale.at(interval.mean))] = mark
    return "".join(cells)


def svg_plot(comparison: Comparison) -> str:
    """A self-contained SVG document."""
    rows = [c for c in comparison.contrasts if _both(c)]
    height = 60 + _ROW_PX * len(rows)
    svg = Svg(_LEFT_PX + _WIDTH_PX + _RIGHT_PX, height, "Two recordings of strikes side by side")
    for name, file, y in (("A", comparison.a.name, 20), ("B", comparison.b.name, 40)):
        _mark(svg, name, 16, y - 4)
        svg.text(30, y, f"{name}: {plain(file, 70)}", size=13)
    for k, contrast in enumerate(rows):
        _row(svg, contrast, 60 + _ROW_PX * k)
    return str(svg)


def _mark(svg: Svg, name: str, x: float, y: float) -> None:
    if name == "A":
        svg.dot(x, y, 5.0, _INK[name])
    else:
        svg.square(x, y, 5.0, _INK[name])


def _row(svg: Svg, contrast: Contrast, top: float) -> None:
    scale, measure, base = scale_of(contrast, _LEFT_PX, _LEFT_PX + _WIDTH_PX), contrast.measure, top + 54
    svg.text(12, top + 28, f"{measure.label}, {measure.unit}", size=13)
    svg.line(scale.start, base, scale.end, base, FAINT)
    for value, anchor in ((scale.low, "start"), (scale.high, "end")):
        svg.text(scale.at(value), base + 14, f"{value:.{measure.digits}f}", anchor=anchor, size=11)
    for name, interval in _both(contrast):
        y = top + (18 if name == "A" else 38)
        first, last = (scale.at(e) for e in _ends(interval))
        svg.line(first, y, last, y, _INK[name], 2.0)
        for end in (first, last):
            svg.line(end, y - 5, end, y + 5, _INK[name], 2.0)
        _mark(svg, name, scale.at(interval.mean), y)
