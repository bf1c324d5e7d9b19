"""The journal's tables, built in steps: a new file takes all steps, an older one those it lacks.

So making and migrating are one piece of code, and a step once released is never edited. The number
of steps taken stands in `user_version`; `application_id` tells our files from any other database.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3

APPLICATION_ID = 0x526E6473
"""`Rnds`, as SQLite's file header carries it."""

STEPS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE events (
            id INTEGER PRIMARY KEY,
            at_s REAL NOT NULL,
            kind TEXT NOT NULL,
            fields TEXT NOT NULL,
            check_sum INTEGER NOT NULL
        )""",
        """CREATE TRIGGER events_stay BEFORE UPDATE ON events
            BEGIN SELECT RAISE(ABORT, 'events are never changed'); END""",
        """CREATE TRIGGER events_remain BEFORE DELETE ON events
            BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END""",
    ),
    (
        """CREATE TABLE checkpoints (
            name TEXT PRIMARY KEY,
            last_id INTEGER NOT NULL,
            blob BLOB NOT NULL,
            check_sum INTEGER NOT NULL
        )""",
    ),
    (
        """CREATE INDEX events_setting ON events (id) WHERE kind IN ('session_started', 'round_opened',
            'round_closed', 'take_started', 'take_stopped', 'clock_set')""",
    ),
    ("CREATE INDEX events_taken_back ON events (id) WHERE kind = 'taken_back'",),
    ("ALTER TABLE events ADD COLUMN link INTEGER",),
)
VERSION = len(STEPS)
READABLE = 2
"""From this version on a journal can be read as it is: later steps only make reading quicker."""
SETTING = frozenset(
    {"session_started", "round_opened", "round_closed", "take_started", "take_stopped", "clock_set"}
)
"""Kinds that tell in which setting others happened: few among many, with an index of their own."""
SETTING_TERM = (
    "kind IN ('session_started', 'round_opened', 'round_closed', 'take_started', 'take_stopped', 'clock_set')"
)
"""The index is used where a query says this word for word."""
TAKEN_BACK_TERM = "kind = 'taken_back'"
"""The same for what the player took back, so that every fold knows in no time what to pass over."""


LINKED = 5
"""From this version on events carry a link to the one before them (`rounds.journal.chain`)."""


def event_sum(at_s: float, kind: str, fields: str) -> int:
    """Checksum of a stored event: a flipped bit inside a text is invisible to SQLite itself."""
    return zlib.crc32(f"{at_s!r} {kind} {fields}".encode())


def take_steps(connection: sqlite3.Connection, have: int) -> None:
    """Bring a journal with `have` steps up to date, all in one transaction."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        have = max(have, connection.execute("PRAGMA user_version").fetchone()[0])
        for step in STEPS[have:]:
            for statement in step:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.rollback()
        raise
