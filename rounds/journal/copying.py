"""Whole copies of a journal by SQLite's online backup: right even while a session writes."""

from __future__ import annotations

import os
import sqlite3
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.files.places import make_private_file
from rounds.journal.faults import told
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from pathlib import Path


def copy_whole(source: sqlite3.Connection, to: Path) -> None:
    """Copy an open journal into a new file, synced; nothing half-made is left under that name.

    Raises:
        JournalError: the file is there already, or cannot be written.
    """
    if to.exists():
        raise JournalError(f"{plain(to)}: there is a file already. Name one that does not exist.")
    part = to.with_name(f"{to.name}.part-{os.getpid()}")
    with told(to):
        make_private_file(part)
        try:
            _fill(source, part)
            os.replace(part, to)
        except BaseException:
            part.unlink(missing_ok=True)
            raise


def _fill(source: sqlite3.Connection, part: Path) -> None:
    target = sqlite3.connect(part)
    try:
        source.backup(target)
        # One file, to be carried about: no write-ahead file beside it.
        target.execute("PRAGMA journal_mode = DELETE")
    finally:
        target.close()
    handle = os.open(part, os.O_RDWR)  # some systems sync only what may be written
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
