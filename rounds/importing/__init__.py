"""Bring readings and events from a file into a journal: all of them, or the good ones, or none."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO

from rounds.errors import BadInput, RoundsError
from rounds.importing.files import BadLine, read_units
from rounds.importing.lines import open_text
from rounds.importing.spool import Spool
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rounds.journal import Journal
    from rounds.rig import Rig

__all__ = ["BadLine", "Imported", "import_file"]


@dataclass(frozen=True)
class Imported:
    """What came of an import, in lines of the file; `events` are those newly kept."""

    kept: int
    known: int
    bad: int
    events: int


def import_file(
    path: Path, journal: Journal, rig: Rig | None, *, keep_good: bool, on_bad: Callable[[BadLine], None]
) -> Imported:
    """Import a file; `on_bad` is called with every line that cannot be used.

    Lines whose event is in the journal already are counted as known and not kept twice.

    Raises:
        BadInput: the file cannot be used, or has bad lines and `keep_good` is false; nothing is kept.
    """
    with contextlib.closing(Spool()) as spool, open_text(path) as file:
        try:
            return _import(file, path, spool, journal, rig, keep_good=keep_good, on_bad=on_bad)
        except sqlite3.Error as error:
            raise RoundsError(
                f"{plain(path)}: the import needs more room for temporary files ({plain(error)}); "
                "nothing was kept. Free some space and try again."
            ) from error


def _import(
    file: TextIO,
    path: Path,
    spool: Spool,
    journal: Journal,
    rig: Rig | None,
    *,
    keep_good: bool,
    on_bad: Callable[[BadLine], None],
) -> Imported:
    good = bad = 0
    for item in read_units(file, plain(path), rig):
        if isinstance(item, BadLine):
            bad += 1
            on_bad(item)
        elif keep_good or not bad:
            good += 1
            spool.add(item.line, item.events, item.sort_s)
    if bad and not keep_good:
        lines = "1 line" if bad == 1 else f"{bad} lines"
        raise BadInput(
            f"{plain(path)}: {lines} cannot be used, so nothing was kept. "
            "Mend them, or keep the others with --keep-good."
        )
    known = spool.drop_known(journal)
    before = journal.last_id
    return Imported(good - known, known, bad, journal.append_rows(spool.ordered()) - before)
