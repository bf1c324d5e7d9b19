"""The shelf: the bottles a player owns or can get, as read from their TOML file.

A line of the shelf is one make and size, not one bottle, because nobody can tell two bottles of
one make apart before they are pumped. What is heard of one of them (a pitch at a gauge pressure)
stands for the line; two or more pressures give the line its own shell, one gives it the usual share
of stiffness, none leaves it the prior of its size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rounds.air import DEFAULT_CEILING_KPA, KPA_PER_PSI, STIFFNESS_SHARE, Shell, kpa_to_psi
from rounds.errors import BadRig
from rounds.files.problems import Problems, Table, is_number, shown
from rounds.files.tomltext import parse_toml, read_toml
from rounds.notes import parse_note

if TYPE_CHECKING:
    import os

WHAT = "shelf file"
MOST_LINES = 200
MOST_BOTTLES = 500
_CEILING_PSI = round(kpa_to_psi(DEFAULT_CEILING_KPA), 6)
_LEAST_APART = 1.1
"""Two pressures closer than this ratio say too little about a slope to be believed."""


@dataclass(frozen=True)
class Heard:
    """A bottle of this line sounded at hz when its gauge showed gauge_kpa."""

    gauge_kpa: float
    hz: float


@dataclass(frozen=True)
class ShelfLine:
    """So many bottles of one make and size."""

    id: str
    volume_ml: float
    count: int = 1
    ceiling_kpa: float = DEFAULT_CEILING_KPA
    heard: tuple[Heard, ...] = ()

    @property
    def measured_shell(self) -> Shell | None:
        """The shell that was heard, None when nothing was."""
        if not self.heard:
            return None
        return shell_of_one(self.heard[0]) if len(self.heard) == 1 else shell_of_many(self.heard)


def shell_of_one(heard: Heard) -> Shell:
    """The shell through one pitch at one pressure, its stiffness the usual share (a prior)."""
    hz2 = heard.hz * heard.hz
    return Shell(STIFFNESS_SHARE * hz2, (1.0 - STIFFNESS_SHARE) * hz2 / heard.gauge_kpa)


def shell_of_many(heard: tuple[Heard, ...]) -> Shell:
    """Least-squares line of f² on gauge pressure, the law of the pressurised shell."""
    n = len(heard)
    mean_kpa = sum(h.gauge_kpa for h in heard) / n
    mean_hz2 = sum(h.hz**2 for h in heard) / n
    spread = sum((h.gauge_kpa - mean_kpa) ** 2 for h in heard)
    slope = sum((h.gauge_kpa - mean_kpa) * (h.hz**2 - mean_hz2) for h in heard) / spread
    return Shell(mean_hz2 - slope * mean_kpa, slope)


def load_shelf(path: str | os.PathLike[str]) -> tuple[ShelfLine, ...]:
    """Read and check a shelf file.

    Raises:
        BadRig: it cannot be read or has problems; all of them are listed.
    """
    return _checked(read_toml(path, WHAT), str(path))


def parse_shelf(text: str, path: str = "shelf") -> tuple[ShelfLine, ...]:
    """Check the text of a shelf file.

    Raises:
        BadRig: it has problems; all of them are listed.
    """
    return _checked(parse_toml(text, path, WHAT), path)


def _checked(data: dict[str, Any], path: str) -> tuple[ShelfLine, ...]:
    problems = Problems()
    lines = _read_lines(data, problems)
    if problems.found:
        raise BadRig(path, problems.found)
    return lines


def _read_lines(data: dict[str, Any], problems: Problems) -> tuple[ShelfLine, ...]:
    top = Table(data, "top level", problems)
    entries = top.raw("bottle")
    top.finish()
    if not (
        isinstance(entries, list)
        and 0 < len(entries) <= MOST_LINES
        and all(isinstance(e, dict) for e in entries)
    ):
        top.wrong("bottle", f"1 to {MOST_LINES} tables, each under a line [[bottle]]")
        return ()
    lines = tuple(_read_line(Table(e, f"[[bottle]] {i}", problems)) for i, e in enumerate(entries, 1))
    ids = [line.id for line in lines]
    for twin in sorted({i for i in ids if ids.count(i) > 1}):
        problems.add(
            "[[bottle]] id", f"found {shown(twin)} twice", "each id once; use count for more of one make"
        )
    if sum(line.count for line in lines) > MOST_BOTTLES:
        problems.add("[[bottle]] count", "too many bottles in all", f"at most {MOST_BOTTLES} together")
    return lines


def _read_line(table: Table) -> ShelfLine:
    line = ShelfLine(
        id=table.text("id"),
        volume_ml=table.number("volume_ml", None, 100.0, 20_000.0, "mL"),
        count=table.whole("count", 1, 1, MOST_BOTTLES),
        ceiling_kpa=table.number("ceiling_psi", _CEILING_PSI, 1.0, _CEILING_PSI, "psi") * KPA_PER_PSI,
        heard=_read_heard(table),
    )
    table.finish()
    return line


def _read_heard(table: Table) -> tuple[Heard, ...]:
    entries = table.raw("heard") if table.has("heard") else []
    if not (isinstance(entries, list) and all(isinstance(e, dict) for e in entries)):
        table.wrong("heard", "a list such as [{ psi = 20, note = 'C4' }] or [{ psi = 20, hz = 261 }]")
        return ()
    before = len(table.problems.found)
    heard = tuple(
        _read_one(Table(e, f"{table.at('heard')} {i}", table.problems)) for i, e in enumerate(entries, 1)
    )
    if len(table.problems.found) == before and len(heard) > 1:
        _check_rising(heard, table)
    return heard


def _read_one(table: Table) -> Heard:
    gauge_kpa = table.number("psi", None, 0.5, 100.0, "psi") * KPA_PER_PSI
    hz = _pitch_hz(table)
    table.finish()
    return Heard(gauge_kpa, hz)


def _pitch_hz(table: Table) -> float:
    """`hz` or `note` (at A4 = 440 Hz); one of them must be there."""
    if table.has("note"):
        try:
            return parse_note(str(table.raw("note"))).hz()
        except ValueError:
            table.wrong("note", "a note name such as C4, F#5 or Bb3")
            return 440.0
    value = table.raw("hz")
    if is_number(value) and 20.0 <= value <= 10_000.0:
        return float(value)
    table.wrong("hz", "a number from 20 to 10000 Hz, or note = 'C4' instead")
    return 440.0


def _check_rising(heard: tuple[Heard, ...], table: Table) -> None:
    pressures = [h.gauge_kpa for h in heard]
    if max(pressures) < _LEAST_APART * min(pressures):
        table.problems.add(
            table.at("heard"), "the pressures are too close together", "pressures 10 % apart or more"
        )
        return
    shell = shell_of_many(heard)
    if shell.slope_hz2_per_kpa <= 0.0:
        table.problems.add(table.at("heard"), "the pitch does not rise with pressure", "more air is sharper")
    elif shell.stiffness_hz2 < 0.0:
        what = "the pitch rises faster than pressure alone can raise it; one pitch or gauge reading is wrong"
        table.problems.add(table.at("heard"), what, "pitch at most doubles when pressure goes up fourfold")
