"""Look after a journal: is it whole, and if not, what can be saved from it."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.events import Unknown
from rounds.files.places import make_folder
from rounds.journal.faults import NO_ROOM_TO_OPEN, sentence, told
from rounds.journal.pages import found_events
from rounds.journal.store import Journal
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterator
    from pathlib import Path

    from rounds.events import Event
    from rounds.journal.rows import Row

_MOST_TOLD = 20
CLOCK_BACK_S = 1.0
BACKUPS_KEPT = 7


@dataclass(frozen=True)
class Checked:
    """What a look at a journal found. `clock_back`: how often an event is older than the one before.

    `unbelieved` counts events that no fold believes, for a number in them cannot be or a newer version wrote
    them, and `taken_back` those that the player took back.
    """

    events: int
    first_s: float | None
    last_s: float | None
    clock_back: int
    unbelieved: int
    taken_back: int
    problems: tuple[str, ...]


def check(path: Path) -> Checked:
    """Read the whole journal, every page and every event.

    Raises:
        JournalError: there is none, or it is foreign or of another version.
    """
    walk = _Walk()
    try:
        with Journal(path, read_only=True) as journal:
            walk.problems += journal.page_problems(_MOST_TOLD)
            for number, event in journal.events():
                walk.see(number, event)
            walk.taken_back = len(journal.taken_back())
    except JournalError as error:
        if not isinstance(error.__cause__, (sqlite3.DatabaseError, ValueError)) or _is_foreign(error):
            raise
        walk.problems.append(str(error))
    if walk.problems:
        saved = len({number for number, _ in _found(path)})
        walk.problems.append(f"{saved} events can still be read; `rounds journal rescue FILE` saves them.")
    return Checked(
        walk.events,
        walk.first_s,
        walk.last_s,
        walk.clock_back,
        walk.unbelieved,
        walk.taken_back,
        tuple(walk.problems),
    )


def _is_foreign(error: JournalError) -> bool:
    code = getattr(error.__cause__, "sqlite_errorcode", None)
    if code is None:
        return False
    return code in NO_ROOM_TO_OPEN or code & 0xFF not in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_IOERR}


class _Walk:
    """Events seen one after another."""

    def __init__(self) -> None:
        self.events = self.clock_back = self.last_id = self.unbelieved = self.taken_back = 0
        self.first_s: float | None = None
        self.last_s: float | None = None
        self.problems: list[str] = []

    def see(self, number: int, event: Event) -> None:
        """Take in one event."""
        at_s = event.at_s
        self.unbelieved += isinstance(event, Unknown)
        if number != self.last_id + 1 and len(self.problems) < _MOST_TOLD:
            self.problems.append(f"events {self.last_id + 1} to {number - 1} are missing")
        if self.last_s is not None and at_s < self.last_s - CLOCK_BACK_S:
            self.clock_back += 1
        self.first_s = at_s if self.first_s is None else self.first_s
        self.last_s, self.last_id = at_s, number
        self.events += 1


def back_up_daily(
    journal: Journal, folder: Path, day: datetime.date, keep: int = BACKUPS_KEPT
) -> Path | None:
    """Copy the journal once a day and keep the newest copies; the copy, or None when there was one.

    For the end of a session: a copy of a million events takes about a second.

    Raises:
        JournalError: the folder cannot be written.
    """
    to = folder / f"daily-{day.isoformat()}.db"
    with told(folder):
        make_folder(folder)
        if to.exists():
            return None
        journal.backup(to)
        for old in sorted(folder.glob("daily-*.db"))[:-keep]:
            old.unlink()
    return to


@dataclass(frozen=True)
class Rescued:
    """What a rescue saved; `lost` counts ids that were given and could not be read."""

    saved: int
    lost: int


def rescue(path: Path, to: Path) -> Rescued:
    """Save every event that can be read into a new journal; the damaged one is left as it is.

    Raises:
        JournalError: nothing can be read, or the new file is there already or cannot be written.
    """
    if to.exists():
        raise JournalError(f"{plain(to)}: there is a file already. Name one that does not exist.")
    with contextlib.closing(sqlite3.connect("", isolation_level=None)) as spool:
        try:
            spool.execute("CREATE TABLE found (id INTEGER PRIMARY KEY, at_s REAL, kind, fields, check_sum)")
            spool.execute("BEGIN")
            spool.executemany("INSERT OR IGNORE INTO found VALUES (?, ?, ?, ?, ?)", _flat(path))
            saved, last = spool.execute("SELECT count(*), ifnull(max(id), 0) FROM found").fetchone()
            if not saved:
                raise JournalError(f"{plain(path)}: no event of a journal can be read in it.")
            with Journal(to) as journal:
                journal.append_rows(
                    spool.execute("SELECT at_s, kind, fields, check_sum FROM found ORDER BY id")
                )
        except sqlite3.Error as error:
            raise JournalError(sentence(to, error)) from error
    return Rescued(saved, last - saved)


def _flat(path: Path) -> Iterator[tuple[int, float, str, str, int]]:
    for number, row in _found(path):
        yield (number, *row)


def _found(path: Path) -> Iterator[tuple[int, Row]]:
    with told(path):
        yield from found_events(path)
