"""Look after a journal: is it whole, and if not, what can be saved from it."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.events import EVENT_TYPES, EventsMissing, Unknown
from rounds.files.places import make_folder
from rounds.journal.chain import linked
from rounds.journal.faults import NO_ROOM_TO_OPEN, told
from rounds.journal.mending import missing_words
from rounds.journal.pages import found_events
from rounds.journal.store import Journal

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
    missing: int = 0
    """Events that had been kept and were found missing at a start since: nothing here brings them back."""

    @property
    def whole(self) -> bool:
        """Whether all that was ever kept is here, as it was written."""
        return not self.problems and not self.missing


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
            walk.problems += _broken_links(journal)
            walk.taken_back = len(journal.taken_back())
            if (ahead := journal.missing_end()) is not None:
                walk.problems.append(f"{missing_words(journal, journal.tail, ahead)} {MAY_COME_BACK}")
    except JournalError as error:
        if not isinstance(error.__cause__, (sqlite3.DatabaseError, ValueError)) or _is_foreign(error):
            raise
        walk.problems.append(str(error))
    if walk.problems:
        saved = len({number for number, *_ in _found(path)})
        walk.problems.append(f"{saved} events can still be read; `rounds journal rescue FILE` saves them.")
    return Checked(
        walk.events,
        walk.first_s,
        walk.last_s,
        walk.clock_back,
        walk.unbelieved,
        walk.taken_back,
        tuple(walk.problems),
        walk.missing,
    )


MAY_COME_BACK = "Any command that writes, such as `rounds log add`, brings back what the pages still hold."


def _broken_links(journal: Journal) -> Iterator[str]:
    """Events that do not follow from the one before them, though each is whole."""
    before, number_before, said = 0, 0, 0
    for number, check_sum, link in journal.links():
        broken = link is not None and link != linked(before, check_sum) and number == number_before + 1
        if broken and said < _MOST_TOLD:
            said += 1
            yield f"event {number} does not follow from the one before it: events between them are missing"
        before, number_before = check_sum if link is None else link, number


def _is_foreign(error: JournalError) -> bool:
    code = getattr(error.__cause__, "sqlite_errorcode", None)
    if code is None:
        return False
    return code in NO_ROOM_TO_OPEN or code & 0xFF not in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_IOERR}


class _Walk:
    """Events seen one after another."""

    def __init__(self) -> None:
        self.events = self.clock_back = self.last_id = self.unbelieved = self.taken_back = self.missing = 0
        self.first_s: float | None = None
        self.last_s: float | None = None
        self.problems: list[str] = []

    def see(self, number: int, event: Event) -> None:
        """Take in one event."""
        at_s = event.at_s
        self.unbelieved += isinstance(event, Unknown)
        self.missing += event.events if isinstance(event, EventsMissing) else 0
        if isinstance(event, Unknown) and event.original_kind in EVENT_TYPES:
            self._note(
                f"event {number} ({event.original_kind}) has a number that cannot be: it is not believed"
            )
        if number != self.last_id + 1:
            self._note(f"events {self.last_id + 1} to {number - 1} are missing")
        if self.last_s is not None and at_s < self.last_s - CLOCK_BACK_S:
            self.clock_back += 1
        self.first_s = at_s if self.first_s is None else self.first_s
        self.last_s, self.last_id = at_s, number
        self.events += 1

    def _note(self, problem: str) -> None:
        if len(self.problems) < _MOST_TOLD:
            self.problems.append(problem)


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


def _found(path: Path) -> Iterator[tuple[int, Row, int | None]]:
    with told(path):
        yield from found_events(path)
