"""Two pictures of a day: pitch and temperature over time, and how each bottle was found."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

from rounds.wording.pictures import BLUE, FAINT, GREEN, INK, ORANGE, RED, SKY, Scale, Svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.report.day import BottleFacts, Day

WIDTH, LEFT, RIGHT = 960, 64, 24
_STEPS_S = tuple(60 * m for m in (5, 10, 15, 30, 60, 120, 240, 480))
_MOST_TICKS = 10
_CHARACTER = 7.0
"""Width of a letter of the usual size, on the wide side."""
LEAST_RANGE_CENTS, MOST_RANGE_CENTS = 20.0, 120.0


def over_time(day: Day, tolerance_cents: float) -> str:
    """Every clear reading and the air's temperature over the day, rounds and takes as bands."""
    top, pitch_low, temp_top, bottom = 64.0, 356.0, 396.0, 500.0
    svg = Svg(WIDTH, 548, "Pitch and temperature over the day")
    svg.text(LEFT, 24, "Pitch as read, cents off target", size=16)
    _legend(svg)
    x = _time_scale(day)
    span = _range([r.cents for r in day.reads])
    y = Scale(-span, span, pitch_low, top)
    _bands(svg, day, x, top, bottom)
    svg.rect(
        LEFT,
        y.at(tolerance_cents),
        WIDTH - LEFT - RIGHT,
        y.at(-tolerance_cents) - y.at(tolerance_cents),
        GREEN,
        0.15,
    )
    _levels(svg, y, [-span, -span / 2, 0.0, span / 2, span], "{:+.0f}")
    for read in day.reads:
        _read(svg, x.at(read.at_s), read.cents, y, span, found=read.found)
    _temperature(svg, day, x, temp_top, bottom)
    _time_axis(svg, x, bottom)
    return str(svg)


def _legend(svg: Svg) -> None:
    svg.dot(LEFT + 6, 44, 3.5, RED)
    svg.text(LEFT + 16, 48, "as found")
    svg.dot(LEFT + 96, 44, 3.0, BLUE, hollow=True)
    svg.text(LEFT + 106, 48, "while tuning")
    for place, colour, opacity, name in (
        (210, GREEN, 0.15, "in tune"), (290, SKY, 0.25, "round"), (360, ORANGE, 0.22, "take"),
    ):  # fmt: skip
        svg.rect(LEFT + place, 38, 14, 12, colour, opacity)
        svg.text(LEFT + place + 20, 48, name)
    svg.wedge(LEFT + 432, 46, 5, INK, up=True)
    svg.text(LEFT + 442, 48, "further out than drawn")


def _time_scale(day: Day) -> Scale:
    times = [r.at_s for r in day.reads] + [t.at_s for t in day.temperatures]
    for begun, ended in _stretches(day):
        times += [begun, ended]
    low, high = (min(times), max(times)) if times else (0.0, 0.0)
    middle, half = (low + high) / 2, max(600.0, (high - low) * 0.52)
    return Scale(middle - half, middle + half, LEFT, WIDTH - RIGHT)


def _stretches(day: Day) -> list[tuple[float, float]]:
    rounds = [(r.opened.at_s, (r.closed or r.opened).at_s) for r in day.rounds]
    return rounds + [(t.started.at_s, (t.stopped or t.started).at_s) for t in day.takes]


def _range(cents: Sequence[float]) -> float:
    """Half the height of the picture in cents: nearly all readings, the wildest are drawn at the edge."""
    ordered = sorted(abs(c) for c in cents)
    nearly_all = ordered[int(0.97 * (len(ordered) - 1))] if ordered else 0.0
    wanted = 20.0 * -(-nearly_all * 1.1 // 20.0)
    return min(MOST_RANGE_CENTS, max(LEAST_RANGE_CENTS, wanted))


def _bands(svg: Svg, day: Day, x: Scale, top: float, bottom: float) -> None:
    for facts in day.rounds:
        begun = x.at(facts.opened.at_s)
        ended = x.at((facts.closed or facts.opened).at_s)
        svg.rect(begun, top, max(1.5, ended - begun), bottom - top, SKY, 0.25)
        _name(svg, begun, ended, top, facts.opened.round_id)
    for take in day.takes:
        begun, ended = x.at(take.started.at_s), x.at((take.stopped or take.started).at_s)
        svg.rect(begun, top, max(1.5, ended - begun), bottom - top, ORANGE, 0.22)
        _name(svg, begun, ended, top, take.started.take)


def _name(svg: Svg, begun: float, ended: float, top: float, name: str) -> None:
    """The name of a round or take, where its band is wide enough for it."""
    if _CHARACTER * len(name) <= ended - begun - 8.0:
        svg.text(begun + 4.0, top + 14.0, name)


def _levels(svg: Svg, y: Scale, values: Sequence[float], form: str) -> None:
    for value in values:
        svg.line(LEFT, y.at(value), WIDTH - RIGHT, y.at(value), FAINT)
        svg.text(LEFT - 8, y.at(value) + 4, form.format(value) if value else "0", anchor="end")


def _read(svg: Svg, x: float, cents: float, y: Scale, span: float, *, found: bool) -> None:
    colour = RED if found else BLUE
    if abs(cents) > span:
        svg.wedge(x, y.at(span if cents > 0 else -span), 5, colour, up=cents > 0)
    else:
        svg.dot(x, y.at(cents), 3.5 if found else 3.0, colour, hollow=not found)


def _temperature(svg: Svg, day: Day, x: Scale, top: float, bottom: float) -> None:
    svg.text(LEFT, top - 8, "Air, °C" if day.temperatures else "Air: no temperature was given", size=14)
    svg.line(LEFT, bottom, WIDTH - RIGHT, bottom, INK)
    if not day.temperatures:
        return
    values = [t.temp_c for t in day.temperatures]
    middle, half = (min(values) + max(values)) / 2, max(1.0, (max(values) - min(values)) * 0.6)
    y = Scale(middle - half, middle + half, bottom, top)
    _levels(svg, y, [middle - half, middle, middle + half], "{:.1f}")
    svg.path([(x.at(t.at_s), y.at(t.temp_c)) for t in sorted(day.temperatures, key=lambda t: t.at_s)], INK)
    for t in day.temperatures:
        svg.dot(x.at(t.at_s), y.at(t.temp_c), 2.5, INK)


def _time_axis(svg: Svg, x: Scale, bottom: float) -> None:
    step = next((s for s in _STEPS_S if (x.high - x.low) / s <= _MOST_TICKS), 86_400)
    offset = datetime.datetime.fromtimestamp(x.low).astimezone().utcoffset() or datetime.timedelta()
    shift = offset.total_seconds()
    tick = ((x.low + shift) // step + 1) * step - shift
    while tick <= x.high:
        svg.line(x.at(tick), bottom, x.at(tick), bottom + 6)
        svg.text(x.at(tick), bottom + 22, f"{datetime.datetime.fromtimestamp(tick):%H:%M}", anchor="middle")
        tick += step
    svg.text(WIDTH - RIGHT, bottom + 40, "local time", anchor="end", fill=INK)


def by_bottle(bottles: Sequence[BottleFacts], tolerance_cents: dict[str, float]) -> str:
    """How far off each bottle was found, low to high, with its connections below."""
    top, low, bottom = 60.0, 320.0, 380.0
    svg = Svg(WIDTH, 440, "How each bottle was found")
    svg.text(
        LEFT, 24, "How each bottle was found, cents off target: a dot a round, first fills left out", size=16
    )
    span = _range([c for b in bottles for c in b.found_cents])
    y = Scale(-span, span, low, top)
    _levels(svg, y, [-span, -span / 2, 0.0, span / 2, span], "{:+.0f}")
    step = (WIDTH - LEFT - RIGHT) / max(1, len(bottles))
    most = max([b.connections for b in bottles], default=0)
    svg.text(LEFT, 346, f"Connections (at most {most})", size=12)
    for index, facts in enumerate(bottles):
        x = LEFT + (index + 0.5) * step
        half = tolerance_cents.get(facts.id)
        if half is not None:
            svg.rect(x - step * 0.45, y.at(half), step * 0.9, y.at(-half) - y.at(half), GREEN, 0.15)
        _bottle(svg, x, facts, y, span)
        if facts.connections:
            height = 28.0 * facts.connections / most
            svg.rect(x - step * 0.3, bottom - height, step * 0.6, height, BLUE)
        svg.text(
            x, bottom + 16 + 14 * (index % 2) * (len(bottles) > 20), facts.id[:6], anchor="middle", size=11
        )
    svg.line(LEFT, bottom, WIDTH - RIGHT, bottom)
    return str(svg)


def _bottle(svg: Svg, x: float, facts: BottleFacts, y: Scale, span: float) -> None:
    if not facts.found_cents:
        return
    kept = [min(span, max(-span, c)) for c in facts.found_cents]
    svg.line(x, y.at(min(kept)), x, y.at(max(kept)), RED, 3.0)
    for cents in facts.found_cents:
        if abs(cents) > span:
            svg.wedge(x, y.at(span if cents > 0 else -span), 5, RED, up=cents > 0)
        else:
            svg.dot(x, y.at(cents), 3.0, RED)
