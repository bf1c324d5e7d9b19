"""Open the file of a journal: make it, bring it up to date, or refuse it, before anything is written.

Foreign files and those of a newer version are left as they are, byte for byte.
"""

from __future__ import annotations

import contextlib
import random
import sqlite3
import time
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.files.places import PRIVATE_FILE, make_folder, make_private_file
from rounds.journal import schema
from rounds.journal.copying import copy_whole
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from pathlib import Path

BUSY_S = 5.0
"""How long to wait for another writer."""


_MAGIC = b"SQLite format 3\x00"


def backups_of(path: Path) -> Path:
    """The folder beside a journal in which its daily copies are kept."""
    return path.with_name("backups" if path.name == "journal.db" else f"{path.stem}-backups")


def copies_of(path: Path) -> list[Path]:
    """A journal's daily copies, the oldest first."""
    return sorted(backups_of(path).glob("daily-*.db"))


def _refuse_what_is_none(path: Path) -> None:
    """Let SQLite at nothing but its own files: it takes a short text for a journal yet to be begun, and
    writes over it; and it waits for ever on a pipe that nobody writes."""
    if path.exists() and not path.is_file():
        raise JournalError(f"{plain(path)}: this is not a file. Name a journal with --journal.")
    if path.exists() and path.stat().st_size:
        with path.open("rb") as file:
            if file.read(len(_MAGIC)) != _MAGIC:
                raise JournalError(
                    f"{plain(path)}: this is not a journal of rounds. Name another with --journal."
                )


def _refuse_to_begin_anew(path: Path) -> None:
    """An empty file in the place of a journal that has daily copies was a journal once."""
    wal = path.with_name(path.name + "-wal")
    copies = copies_of(path)
    if copies and path.exists() and not path.stat().st_size and not (wal.exists() and wal.stat().st_size):
        raise JournalError(
            f"{plain(path)}: the journal is empty (0 bytes), though {plain(copies[-1])} is a copy of it. "
            f"`rounds journal restore {plain(copies[-1])}` brings that back; to begin anew, remove the file."
        )


def missing_beside_copies(path: Path) -> str | None:
    """A sentence where a journal is gone though copies of it are there: a new one begins."""
    copies = copies_of(path)
    if path.exists() or not copies:
        return None
    return (
        f"{plain(path)} is missing, though {plain(copies[-1])} is a copy of it; a new journal begins. "
        f"`rounds journal restore {plain(copies[-1])}` brings the old one back."
    )


def open_to_write(path: Path) -> sqlite3.Connection:
    """Open a journal to read and write; make it, or bring it up to date, where that is needed."""
    _refuse_what_is_none(path)
    _refuse_to_begin_anew(path)
    make_folder(path.parent)
    with contextlib.suppress(FileExistsError):
        make_private_file(path)
    connection = _connect(path, "rw")
    try:
        have = _steps_taken(connection, path)
        path.chmod(PRIVATE_FILE)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        if have < schema.VERSION:
            if have:
                copy_whole(connection, free_name(path, f"before-v{schema.VERSION}"))
            schema.take_steps(connection, have)
    except BaseException:
        connection.close()
        raise
    return connection


def open_to_read(path: Path) -> sqlite3.Connection:
    """Open a journal that is there, and change nothing."""
    if not path.exists():
        raise JournalError(
            f"{plain(path)}: there is no journal yet. It begins with the first round or import."
        )
    _refuse_what_is_none(path)
    _refuse_to_begin_anew(path)
    try:
        return _checked_to_read(path, "ro")
    except sqlite3.OperationalError as error:
        # Reading a WAL journal needs a file beside it; in a read-only folder it can only be read as
        # unchanging, which is right only when no write-ahead file is left.
        wal = path.with_name(path.name + "-wal")
        if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_CANTOPEN or (wal.exists() and wal.stat().st_size):
            raise
        return _checked_to_read(path, "ro&immutable=1")


def _checked_to_read(path: Path, mode: str) -> sqlite3.Connection:
    connection = _connect(path, mode)
    try:
        have = _steps_taken(connection, path)
        if not have:
            raise JournalError(
                f"{plain(path)}: the journal is empty. It begins with the first round or import."
            )
        if have < schema.READABLE:
            raise JournalError(
                f"{plain(path)}: the journal is of an older version ({have}; this is {schema.VERSION}). "
                "Any command that writes, such as `rounds log add`, brings it up to date and keeps a copy."
            )
    except BaseException:
        connection.close()
        raise
    return connection


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(uri, uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=False)


def begin_writing(connection: sqlite3.Connection) -> None:
    """Begin a transaction that writes, as soon as no other process does, within `BUSY_S`.

    SQLite itself asks ever more seldom while it waits, so a busy writer can starve a second one for
    seconds; asking every millisecond finds the gap.
    """
    until_s = time.monotonic() + BUSY_S
    connection.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                connection.execute("BEGIN IMMEDIATE")
                return
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until_s:
                    raise
            time.sleep(random.uniform(0.0, 0.002))
    finally:
        connection.execute(f"PRAGMA busy_timeout = {round(1000 * BUSY_S)}")


def _steps_taken(connection: sqlite3.Connection, path: Path) -> int:
    """The schema version of the file, 0 for an empty one; foreign and newer files are refused."""
    application: int = connection.execute("PRAGMA application_id").fetchone()[0]
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    empty = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    if application != schema.APPLICATION_ID:
        if empty and application == version == 0:
            return 0
        raise JournalError(f"{plain(path)}: this is not a journal of rounds. Name another with --journal.")
    if version > schema.VERSION:
        raise JournalError(
            f"{plain(path)}: the journal was written by a newer rounds (version {version}; this one knows "
            f"{schema.VERSION}). Update rounds, or name another journal with --journal."
        )
    return version


def free_name(path: Path, what: str) -> Path:
    """A name beside the journal that is not taken: `journal.before-v2.db`, `journal.before-v2-2.db`, ..."""
    number = 1
    while True:
        tail = what if number == 1 else f"{what}-{number}"
        candidate = path.with_name(f"{path.stem}.{tail}{path.suffix}")
        if not candidate.exists():
            return candidate
        number += 1
