"""Rows on their way into a journal: put in order and compared with what is there, outside memory.

A temporary database of SQLite (it spills to disk by itself and is gone when closed) holds the rows
as they will be stored, so a file of millions of rows costs little memory and the journal is locked
only while it is filled.
"""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from rounds.journal.rows import to_row

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rounds.events import Event
    from rounds.journal import Journal
    from rounds.journal.rows import Row

_TABLE = """CREATE TABLE rows (
    seq INTEGER PRIMARY KEY, unit INTEGER, sort_s REAL,
    at_s REAL, kind TEXT, fields TEXT, check_sum INTEGER, is_last INTEGER
)"""
_INSERT = (
    "INSERT INTO rows (unit, sort_s, at_s, kind, fields, check_sum, is_last) VALUES (?, ?, ?, ?, ?, ?, ?)"
)
_SAME = "SELECT unit FROM rows WHERE is_last AND at_s = ? AND kind = ? AND fields = ? AND check_sum = ?"


class Spool:
    """Units of events (one line of a file each), kept whole."""

    def __init__(self) -> None:
        self._connection = sqlite3.connect("", isolation_level=None)
        self._connection.execute(_TABLE)
        self._connection.execute("BEGIN")

    def close(self) -> None:
        """Throw everything away."""
        self._connection.close()

    def add(self, unit: int, events: Iterable[Event], sort_s: float) -> None:
        """Put in the events of one line, to be ordered by `sort_s`, then as they came."""
        rows = [to_row(e) for e in events]
        self._connection.executemany(
            _INSERT, ((unit, sort_s, *row, index == len(rows) - 1) for index, row in enumerate(rows))
        )

    def drop_known(self, journal: Journal) -> int:
        """Take out units whose last event the journal has already; returns how many."""
        first, last = self._connection.execute(
            "SELECT min(at_s), max(at_s) FROM rows WHERE is_last"
        ).fetchone()
        if first is None:
            return 0
        self._connection.execute("CREATE INDEX by_time ON rows (at_s, check_sum)")
        known: set[tuple[int]] = set()
        for row in journal.rows(first, last):
            known.update(self._connection.execute(_SAME, row))
        self._connection.execute("CREATE INDEX by_unit ON rows (unit)")
        self._connection.executemany("DELETE FROM rows WHERE unit = ?", known)
        return len(known)

    def ordered(self) -> Iterator[Row]:
        """The rows in order."""
        yield from self._connection.execute(
            "SELECT at_s, kind, fields, check_sum FROM rows ORDER BY sort_s, seq"
        )
