"""Put a copy of a journal in the journal's place.

Copying the file over by hand goes wrong after a crash: the write-ahead file of the old journal still
lies beside, and SQLite would play it into the new one. So the old one is set aside with it.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.files.places import make_folder
from rounds.journal.care import check
from rounds.journal.chain import Witness
from rounds.journal.claim import claimed
from rounds.journal.faults import told
from rounds.journal.opening import free_name
from rounds.journal.store import Journal
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from pathlib import Path


def restore(path: Path, source: Path) -> Path | None:
    """Make a journal what a copy of it is; where the present one was set aside, None if there was none.

    Raises:
        JournalError: the copy is not whole, a session runs, or the folder cannot be written.
    """
    if check(source).problems:
        raise JournalError(
            f"{plain(source)}: this copy is not whole, so nothing was changed. "
            "`rounds journal rescue` saves what can be read of it into a new journal."
        )
    make_folder(path.parent)
    part = path.with_name(f"{path.name}.part-{os.getpid()}")
    with claimed(path), told(path):
        with Journal(source, read_only=True) as copy:
            copy.backup(part)
        try:
            aside = _set_aside(path)
        except OSError:
            part.unlink(missing_ok=True)
            raise
        os.replace(part, path)
        Witness(path).forget()
    return aside


def _set_aside(path: Path) -> Path | None:
    if not path.exists():
        return None
    aside = free_name(path, "before-restore")
    wal = path.with_name(path.name + "-wal")
    if wal.exists():
        os.replace(wal, aside.with_name(aside.name + "-wal"))
    path.with_name(path.name + "-shm").unlink(missing_ok=True)
    os.replace(path, aside)
    return aside
