"""Rows of readings as anyone can write them: at, bottle, cents or hz, temp_c, touched.

`at` is ISO 8601 in UTC (another offset is converted, none means UTC). Cents are off the bottle's
nominal target; hz is turned into cents by the rig. `touched` is 1 when air moved in or out of this
bottle since its row before. Each row becomes the events that the tool itself would have kept.
"""

from __future__ import annotations

import datetime
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.events import AirMoved, Event, Strike, Temperature
from rounds.files.problems import near_miss, shown
from rounds.importing.lines import is_text
from rounds.notes import cents as cents_between
from rounds.notes import shifted_hz

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.rig import Rig

COLUMNS = ("at", "bottle", "cents", "hz", "temp_c", "touched")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?\Z", re.ASCII)
MOST_CENTS = 4800.0
HZ_RANGE = (10.0, 20_000.0)
TEMP_RANGE_C = (-50.0, 70.0)
AGREEMENT_CENTS = 5.0
"""How far cents and hz in one row may disagree, for rounding; cents count."""
_GUARDED = re.compile(r"'[=+\-@]")


@dataclass(frozen=True)
class Header:
    """Where each column is, and how numbers are written."""

    index: dict[str, int]
    decimal_comma: bool = False

    def cell(self, cells: list[str], column: str) -> str:
        """The text of a cell; empty when the column or the cell is missing."""
        place = self.index.get(column)
        return cells[place].strip() if place is not None and place < len(cells) else ""


def read_header(names: list[str], path: str, *, decimal_comma: bool) -> Header:
    """Find the columns.

    Raises:
        BadInput: a column that is needed is missing, or one is there twice.
    """
    found = [n.strip().casefold() for n in names]
    problems = [f"column {c!r} is there twice" for c in COLUMNS if found.count(c) > 1]
    problems += [
        f"column {c!r} is missing{near_miss(c, found)}" for c in ("at", "bottle", "touched") if c not in found
    ]
    if "cents" not in found and "hz" not in found:
        problems.append("column 'cents' (or 'hz') is missing")
    if problems:
        wanted = ", ".join(("at", "bottle", "cents (or hz)", "temp_c", "touched"))
        raise BadInput(f"{path}: line 1: {'; '.join(problems)}. The first line names the columns: {wanted}.")
    return Header({c: found.index(c) for c in COLUMNS if c in found}, decimal_comma)


def read_row(cells: list[str], header: Header, rig: Rig) -> tuple[Event, ...]:
    """The events of one row.

    Raises:
        ValueError: the row cannot be used; the text names every problem of it.
    """
    problems: list[str] = []

    def read(column: str, reader: Callable[[str], float | str | bool | None]) -> float | str | bool | None:
        try:
            return reader(header.cell(cells, column))
        except ValueError as error:
            problems.append(f"{column}: {error}")
            return None

    def number(text: str) -> float | None:
        return _number(text, decimal_comma=header.decimal_comma)

    at_s = read("at", _time)
    bottle = read("bottle", lambda text: _bottle(text, rig))
    touched = read("touched", _touched)
    temp_c = read("temp_c", lambda text: _within(number(text), *TEMP_RANGE_C))
    cents = read("cents", lambda text: _within(number(text), -MOST_CENTS, MOST_CENTS))
    hz = read("hz", lambda text: _within(number(text), *HZ_RANGE))
    if problems:
        raise ValueError("; ".join(problems))
    assert isinstance(at_s, float)
    assert isinstance(bottle, str)
    return _events(at_s, bottle, _pitch(cents, hz, rig.target_hz(bottle)), temp_c, touched is True)


def _events(
    at_s: float, bottle: str, pitch: tuple[float, float], temp_c: float | str | bool | None, touched: bool
) -> tuple[Event, ...]:
    cents, hz = pitch
    strike = Strike(at_s=at_s, bottle=bottle, verdict="clear", hz=hz, cents=cents, u95_cents=None)
    air = (AirMoved(at_s=at_s, bottle=bottle, pump=None, strokes=None),) if touched else ()
    air_temperature = (
        (Temperature(at_s=at_s, temp_c=temp_c, source="import"),) if isinstance(temp_c, float) else ()
    )
    return (*air_temperature, *air, strike)


def _pitch(
    cents: float | str | bool | None, hz: float | str | bool | None, target_hz: float
) -> tuple[float, float]:
    if isinstance(hz, float):
        by_hz = cents_between(hz, target_hz)
        if not isinstance(cents, float):
            if abs(by_hz) > MOST_CENTS:
                raise ValueError(f"hz: {hz:g} is {by_hz:+.0f} cents off this bottle's {target_hz:.1f} Hz")
            return by_hz, hz
        if abs(by_hz - cents) > AGREEMENT_CENTS:
            raise ValueError(f"cents and hz disagree: {cents:g} against {by_hz:.1f} cents by {hz:g} Hz")
        return cents, hz
    if isinstance(cents, float):
        return cents, shifted_hz(target_hz, cents)
    raise ValueError("cents: there is neither cents nor hz")


def parse_time(text: str) -> float:
    """UTC epoch seconds of an ISO 8601 date and time; no offset means UTC.

    Raises:
        ValueError: it is not one.
    """
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or not re.search(r"\d[T ]\d", text):
        raise ValueError(f"{shown(text)} is not a date and time such as 2026-05-31T14:05:00Z")
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=datetime.UTC)
    return moment.timestamp()


def _time(text: str) -> float:
    if not text:
        raise ValueError("it is empty; a date and time such as 2026-05-31T14:05:00Z is needed")
    return parse_time(text)


def _bottle(text: str, rig: Rig) -> str:
    name = text[1:] if _GUARDED.match(text) else text
    if rig.has_bottle(name):
        return name
    found = shown(text) if is_text(text) else "text that is not UTF-8"
    raise ValueError(f"the rig has no bottle {found}{near_miss(name, (b.id for b in rig.bottles))}")


def _touched(text: str) -> bool:
    if text not in {"0", "1"}:
        raise ValueError(f"{shown(text)} is neither 0 nor 1")
    return text == "1"


def _number(text: str, *, decimal_comma: bool) -> float | None:
    if not text:
        return None
    written = text.replace("\N{MINUS SIGN}", "-")
    written = written.replace(",", ".") if decimal_comma else written
    value = float(written) if _NUMBER.match(written) else math.nan
    if not math.isfinite(value):
        raise ValueError(f"{shown(text)} is not a number")
    return value


def _within(value: float | None, least: float, most: float) -> float | None:
    if value is not None and not least <= value <= most:
        raise ValueError(f"{value:g} lies outside {least:g} to {most:g}")
    return value
