"""One border between SQLite's codes and sentences: nothing above it sees a `sqlite3.Error`."""

from __future__ import annotations

import contextlib
import sqlite3
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

RESCUE = "`rounds journal check` tells how far, and `rounds journal rescue` saves what can be read."

_SENTENCES = {
    sqlite3.SQLITE_FULL: "the disk is full, so the last event was not kept; all before it is safe. "
    "Free some space and go on.",
    sqlite3.SQLITE_READONLY: "the journal cannot be written here. Make the file and its folder writable, "
    "or name another with --journal. Reading and backing up still work.",
    sqlite3.SQLITE_PERM: "the journal may not be used by you. Make it yours, or name another with --journal.",
    sqlite3.SQLITE_CANTOPEN: "the journal cannot be opened. Look whether its folder is there and yours, "
    "or name another with --journal.",
    sqlite3.SQLITE_BUSY: "another program has been writing the journal for too long. End it and try again.",
    sqlite3.SQLITE_LOCKED: "another program holds the journal. End it and try again.",
    sqlite3.SQLITE_CORRUPT: f"the journal is damaged. {RESCUE}",
    sqlite3.SQLITE_NOTADB: "this is not a journal of rounds. Name another with --journal.",
    sqlite3.SQLITE_IOERR: "the disk does not take or give the journal's data, so the last event was not "
    "kept. Look whether it is full, unplugged or failing.",
    sqlite3.SQLITE_TOOBIG: "the event is too big to be kept.",
}


NO_ROOM_TO_OPEN = (sqlite3.SQLITE_IOERR_SHMOPEN, sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_SHMMAP)
"""SQLite could not make the file in which those who use a journal at the same time agree."""
_NO_ROOM = (
    "the journal cannot be opened while its disk is full or failing; what is in it is safe. "
    "Free some space and try again."
)


def sentence(path: Path, error: sqlite3.Error) -> str:
    """What went wrong with a journal and what to do, in one sentence or two."""
    code = getattr(error, "sqlite_errorcode", None)
    if code in NO_ROOM_TO_OPEN:
        return f"{plain(path)}: {_NO_ROOM}"
    if code == sqlite3.SQLITE_CANTOPEN and path.exists():
        code = sqlite3.SQLITE_READONLY
    if isinstance(code, int) and code & 0xFF in _SENTENCES:
        return f"{plain(path)}: {_SENTENCES[code & 0xFF]}"
    return (
        f"{plain(path)}: the journal cannot be used ({plain(error)}). `rounds journal check` may tell more."
    )


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn SQLite's and the system's errors into a `JournalError` with a sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise JournalError(sentence(path, error)) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise JournalError(
            f"{plain(path)}: {reason}. Look at the folder, or name another journal with --journal."
        ) from error
