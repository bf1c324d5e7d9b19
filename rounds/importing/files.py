"""Which kind of file it is, and its lines as units of events or as what is wrong with them.

Three kinds: readings (see `readings`), our own CSV (known by its `event` column, which alone
counts) and JSON lines of events, or the one document that `rounds log --json` prints.
"""

from __future__ import annotations

import csv
import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TextIO

from rounds.errors import BadInput
from rounds.importing.keeping import event_of, read_event
from rounds.importing.lines import Lines
from rounds.importing.readings import read_header, read_row
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rounds.events import Event
    from rounds.rig import Rig

MOST_DOCUMENT_CHARS = 64_000_000
"""A JSON document is read whole; more than this is asked for as JSON lines."""
EVENT_COLUMN = "event"
_DOCUMENT = re.compile(r'\s*\{\s*"(journal|events)"')


@dataclass(frozen=True)
class Unit:
    """The events of one line. `sort_s` orders units that come from different lines: those of readings."""

    line: int
    events: tuple[Event, ...]
    sort_s: float = 0.0

    @property
    def is_reading(self) -> bool:
        """Whether it was a row of readings, and no event that was written out."""
        return self.sort_s != 0.0


@dataclass(frozen=True)
class BadLine:
    """A line that cannot be used, and why."""

    line: int
    problem: str


def read_units(file: TextIO, path: str, rig: Rig | None) -> Iterator[Unit | BadLine]:
    """Every line of a file, in order.

    Raises:
        BadInput: the file as a whole cannot be used.
    """
    start = file.readline(2000)
    file.seek(0)
    if not start.strip():
        raise BadInput(f"{path} is empty; the first line names the columns.")
    if start.lstrip().startswith("{"):
        if _DOCUMENT.match(start):
            return _document(file, path)
        return _json_lines(file)
    return _csv_lines(file, start, path, rig)


def _document(file: TextIO, path: str) -> Iterator[Unit | BadLine]:
    text = file.read(MOST_DOCUMENT_CHARS + 1)
    if len(text) > MOST_DOCUMENT_CHARS:
        raise BadInput(f"{path} is too long for one document; use `rounds log export FILE.jsonl` instead.")
    try:
        entries = json.loads(text)["events"]
        if not isinstance(entries, list):
            raise TypeError("'events' is not a list")
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise BadInput(f"{path} is not what `rounds log --json` prints ({plain(error, 80)}).") from error
    for number, entry in enumerate(entries, 1):
        try:
            yield Unit(number, (event_of(entry["event"]),))
        except (ValueError, KeyError, TypeError) as error:
            yield BadLine(number, f"entry {number}: {plain(error, 200)}")


def _json_lines(file: TextIO) -> Iterator[Unit | BadLine]:
    lines = Lines(file)
    for line in lines:
        if not line.strip():
            continue
        try:
            yield Unit(lines.number, (read_event(line),))
        except ValueError as error:
            yield BadLine(lines.number, plain(error, 200))


def _csv_lines(file: TextIO, start: str, path: str, rig: Rig | None) -> Iterator[Unit | BadLine]:
    delimiter = ";" if start.count(";") > start.count(",") else ","
    lines = Lines(file)
    reader = csv.reader(iter(lines), delimiter=delimiter, strict=True)
    try:
        names = next(reader)
    except csv.Error as error:
        raise BadInput(f"{path}: line 1: {plain(error)}; the first line names the columns.") from error
    folded = [n.strip().casefold() for n in names]
    if EVENT_COLUMN in folded:
        column = folded.index(EVENT_COLUMN)
        return _records(
            reader, lines, lambda cells: (read_event(cells[column] if column < len(cells) else ""),)
        )
    header = read_header(names, path, decimal_comma=delimiter == ";")
    if rig is None:
        raise BadInput(f"{path} holds readings of a rig's bottles; say which rig with --rig RIG.")
    return _records(reader, lines, lambda cells: read_row(cells, header, rig), by_time=True)


def _records(
    reader: Any, lines: Lines, read: Callable[[list[str]], tuple[Event, ...]], *, by_time: bool = False
) -> Iterator[Unit | BadLine]:
    """Units of a CSV file's records; `by_time` orders them by their own time."""
    last_bad = 0
    while True:
        number = lines.next_number
        try:
            cells = next(reader)
            if not any(cell.strip() for cell in cells):
                continue
            events = read(cells)
        except StopIteration:
            return
        except (csv.Error, ValueError) as error:
            if number != last_bad:
                yield BadLine(number, _problem(error, number, lines.number))
            last_bad = number
        else:
            yield Unit(number, events, events[-1].at_s if by_time else 0.0)


def _problem(error: Exception, first: int, last: int) -> str:
    if not isinstance(error, csv.Error):
        return plain(error, 500)
    through = f", with the lines to {last} (a quote is not closed?)" if last > first else ""
    return f"not CSV: {plain(error)}{through}"
