"""The log as a table for people, as Markdown, as CSV and as one JSON document.

CSV and JSON carry each event whole (in the `event` column or key) and can be imported again to
the same journal. The other columns are for reading; a text in them that a spreadsheet would take
for a formula gets an apostrophe before it, also after a semicolon, which splits cells in some
locales. Machine forms are in UTC and never change with locale or terminal.
"""

from __future__ import annotations

import csv
import json
import re
from typing import TYPE_CHECKING, Any, TextIO

from rounds import events as ev
from rounds.event_fields import to_json
from rounds.times.local import local, utc
from rounds.wording.events import sentence
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.report.logbook import Entry

CSV_COLUMNS = (
    "at", "kind", "place", "round", "bottle", "take", "cents", "hz", "u95_cents", "verdict",
    "temp_c", "touched", "strokes", "taken_back", "text", "event",
)  # fmt: skip
_FORMULA = re.compile(r"(^|[;\t\r\n])(?=\s*[=+\-@＝＋－＠\t\r])")
_SPLITTERS = {ord(c): f"\\u{ord(c):04x}" for c in ";=+@|"}
"""Characters that JSON need not contain bare inside texts; escaped, no cell can begin with them."""


def said(entry: Entry) -> str:
    """What happened, and whether it was taken back."""
    return f"{sentence(entry.event)} (taken back)" if entry.taken_back else sentence(entry.event)


def guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return _FORMULA.sub(r"\1'", text)


def write_csv(entries: Iterable[Entry], out: TextIO) -> None:
    """All entries, one a line, with a header line."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for entry in entries:
        writer.writerow([_cell(entry, column) for column in CSV_COLUMNS])


def _cell(entry: Entry, column: str) -> str:
    value = _value(entry, column)
    if value is None:
        return ""
    if isinstance(value, str) and column not in {"at", "event"}:
        return guarded(plain(value))
    return str(value)


def _value(entry: Entry, column: str) -> Any:
    event = entry.event
    if column == "at":
        return utc(entry.told_s)
    if column == "event":
        return safe_json(event)
    if column == "text":
        return said(entry)
    if column == "touched":
        return int(entry.touched) if isinstance(event, ev.Strike) else None
    if column == "taken_back":
        return int(entry.taken_back)
    own = {"kind": entry.kind, "place": entry.place, "round": entry.round_id, "take": entry.take}
    return own[column] if column in own else getattr(event, column, None)


def safe_json(event: ev.Event) -> str:
    """The event as JSON in which texts hold no bare formula or cell sign; the same event when read."""
    pieces = re.split(r'("(?:[^"\\]|\\.)*")', to_json(event))
    return "".join(p.translate(_SPLITTERS) if p.startswith('"') else p for p in pieces)


def write_lines(entries: Iterable[Entry], out: TextIO) -> None:
    """All events as JSON lines: the form to keep and to carry to another machine."""
    for entry in entries:
        out.write(to_json(entry.event) + "\n")


def write_json(entries: Iterable[Entry], out: TextIO) -> None:
    """One JSON document, written entry by entry so that a long log needs little memory."""
    out.write('{"events": [')
    separator = "\n"
    for entry in entries:
        out.write(separator + json.dumps(_document(entry), allow_nan=False))
        separator = ",\n"
    out.write("\n]}\n")


def _document(entry: Entry) -> dict[str, Any]:
    return {
        "id": entry.id,
        "at": utc(entry.told_s),
        "place": entry.place,
        "round": entry.round_id,
        "bottle": entry.bottle,
        "take": entry.take,
        "text": said(entry),
        "taken_back": entry.taken_back,
        "event": json.loads(to_json(entry.event)),
    }


_HEADINGS = ("when", "place", "round", "bottle", "take", "what")
_WIDEST = (19, 16, 18, 10, 14, 120)


def _texts(entry: Entry) -> tuple[str, ...]:
    cells = (entry.place, entry.round_id, entry.bottle, entry.take, said(entry))
    return (local(entry.told_s), *("" if c is None else c for c in cells))


def write_table(entries: Iterable[Entry], out: TextIO) -> None:
    """A table for people, in local time; texts are made safe for the terminal."""
    rows = [
        tuple(plain(text, widest) for text, widest in zip(_texts(e), _WIDEST, strict=True)) for e in entries
    ]
    widths = [max(map(len, column)) for column in zip(_HEADINGS, *rows, strict=True)]
    for row in (_HEADINGS, *rows):
        line = "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True))
        out.write(line.rstrip() + "\n")


def markdown(text: object) -> str:
    """A text that means nothing to Markdown or HTML."""
    return re.sub(r"([\\`*_{}\[\]()#+!|<>~&])", r"\\\1", plain(text))


def write_markdown(entries: Iterable[Entry], out: TextIO) -> None:
    """A Markdown table, in local time."""
    out.write(f"| {' | '.join(_HEADINGS)} |\n|{' --- |' * len(_HEADINGS)}\n")
    for entry in entries:
        out.write(f"| {' | '.join(markdown(text) for text in _texts(entry))} |\n")
