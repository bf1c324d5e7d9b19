"""Bring readings and events from a file into a journal: all of them, or the good ones, or none."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds import events as ev
from rounds.bounds import misfit, misplaced, misplaced_reading
from rounds.errors import BadInput, RoundsError
from rounds.files.problems import shown
from rounds.importing.files import BadLine, Unit, read_units
from rounds.importing.lines import open_text
from rounds.importing.spool import Spool
from rounds.journal.imports import with_import
from rounds.journal.timing import scale_now
from rounds.times.local import utc
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from rounds.journal import Journal
    from rounds.rig import Rig

__all__ = ["BadLine", "Imported", "import_file", "newest_import"]


@dataclass(frozen=True)
class Imported:
    """What came of an import, in lines of the file; `events` are those newly kept."""

    kept: int
    known: int
    bad: int
    events: int


def import_file(
    path: Path,
    journal: Journal,
    rig: Rig | None,
    *,
    keep_good: bool,
    on_bad: Callable[[BadLine], None],
    now_s: float,
) -> Imported:
    """Import a file; `on_bad` is called with every line that cannot be used.

    Lines whose event is in the journal already are counted as known and not kept twice. One more event says
    what was brought in, so that it can be taken back.

    Args:
        now_s: what the machine's clock shows: nothing that lies far ahead of it is brought in.

    Raises:
        BadInput: the file cannot be used, or has bad lines and `keep_good` is false; nothing is kept.
    """
    with contextlib.closing(Spool()) as spool, open_text(path) as file:
        try:
            units = (_in_bounds(item, now_s) for item in read_units(file, plain(path), rig))
            return _import(units, path, spool, journal, now_s, keep_good=keep_good, on_bad=on_bad)
        except sqlite3.Error as error:
            raise RoundsError(
                f"{plain(path)}: the import needs more room for temporary files ({plain(error)}); "
                "nothing was kept. Free some space and try again."
            ) from error


def _in_bounds(item: Unit | BadLine, now_s: float) -> Unit | BadLine:
    """A line of events that can be, or why one of them cannot."""
    if isinstance(item, BadLine):
        return item
    for event in item.events:
        name = misfit(event)
        if name and name != "at_s":
            return BadLine(item.line, f"{name}: {shown(getattr(event, name))} cannot be")
        why = (misplaced_reading if item.is_reading else misplaced)(event.at_s, now_s)
        if why:
            return BadLine(item.line, f"at: {utc(event.at_s) or shown(event.at_s)} cannot be, for {why}")
    return item


def _import(
    units: Iterable[Unit | BadLine],
    path: Path,
    spool: Spool,
    journal: Journal,
    now_s: float,
    *,
    keep_good: bool,
    on_bad: Callable[[BadLine], None],
) -> Imported:
    good = bad = 0
    has_readings = False
    for item in units:
        if isinstance(item, BadLine):
            bad += 1
            on_bad(item)
        elif keep_good or not bad:
            good += 1
            has_readings = has_readings or item.is_reading
            spool.add(item.line, item.events, item.sort_s)
    if bad and not keep_good:
        lines = "1 line" if bad == 1 else f"{bad} lines"
        raise BadInput(
            f"{plain(path)}: {lines} cannot be used, so nothing was kept. "
            "Mend them, or keep the others with --keep-good."
        )
    known = spool.drop_known(journal)
    at_s = scale_now(journal, now_s).kept(now_s)
    before = journal.last_id
    if not before and not has_readings:
        # A whole log in an empty journal: it is that journal, event for event.
        return Imported(good - known, known, bad, journal.append_rows(spool.ordered()))
    newest = journal.append_rows(with_import(spool.ordered(), path.name, at_s))
    return Imported(good - known, known, bad, max(0, newest - before - 1))


def newest_import(journal: Journal, file: str | None = None) -> tuple[int, ev.Imported] | None:
    """The newest import that was not taken back, of a file of this name where one is given; with its id."""
    gone = journal.taken_back()
    found = [
        (number, event)
        for number, event in journal.events(kinds=(ev.Imported.kind,))
        if isinstance(event, ev.Imported) and number not in gone and file in (None, event.file)
    ]
    return found[-1] if found else None
