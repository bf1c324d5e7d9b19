"""Save what can be read of a damaged or hurt journal into a new one; the old one is left as it is.

What cannot be is left out, and said: numbers outside every bound, and moments more than a day ahead of the
clock. A session that began after such a moment ran by it; its events go back to what the clock showed.
"""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.bounds import LATEST_S, misplaced
from rounds.errors import JournalError
from rounds.events import EVENT_TYPES, ClockSet, Event, Unknown
from rounds.journal.faults import sentence, told
from rounds.journal.pages import found_events
from rounds.journal.retiming import retimed
from rounds.journal.rows import from_row
from rounds.journal.store import Journal
from rounds.times.journal_time import Scale
from rounds.times.local import utc
from rounds.wording.printable import plain
from rounds.wording.words import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    Numbered = Callable[[], Iterator[tuple[int, Event]]]


@dataclass(frozen=True)
class Rescued:
    """What a rescue saved; `lost` counts ids that were given and could not be read.

    `left_out` says of each event that could be read why it was not saved; `gaps` names those that could not.
    """

    saved: int
    lost: int
    left_out: tuple[str, ...] = ()
    gaps: tuple[str, ...] = ()


def rescue(path: Path, to: Path, now_s: float) -> Rescued:
    """Save every event that can be read and believed into a new journal.

    Args:
        path: the journal.
        to: the new one.
        now_s: what the machine's clock shows.

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
            read, last = spool.execute("SELECT count(*), ifnull(max(id), 0) FROM found").fetchone()
            if not read:
                raise JournalError(f"{plain(path)}: no event of a journal can be read in it.")
            last = max(last, _last_given(path))
            found = _saved(to, lambda: _events(spool), read, last, now_s)
            return replace(found, gaps=tuple(_gaps(spool, last)))
        except sqlite3.Error as error:
            raise JournalError(sentence(to, error)) from error


def _last_given(path: Path) -> int:
    """The newest id of the journal's table, also of an event that cannot be read; 0 where nobody can tell."""
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"  # nothing beside it is made or changed
    with contextlib.suppress(sqlite3.Error), contextlib.closing(sqlite3.connect(uri, uri=True)) as journal:
        return int(journal.execute("SELECT ifnull(max(id), 0) FROM events").fetchone()[0])
    return 0


def _gaps(spool: sqlite3.Connection, last: int) -> Iterator[str]:
    """The events that could not be read, in runs, and between which moments they were."""
    before, at_s = 0, None
    rows = [*spool.execute("SELECT id, at_s FROM found ORDER BY id"), (last + 1, None)]
    for number, next_s in rows:
        if number > before + 1:
            one = number == before + 2
            which = f"event {before + 1}" if one else f"events {before + 1} to {number - 1}"
            after, until = (utc(s) if s is not None else None for s in (at_s, next_s))
            yield which + (f", after {after}" if after else "") + (f", before {until}" if until else "")
        before, at_s = number, next_s


def _flat(path: Path) -> Iterator[tuple[int, float, str, str, int]]:
    with told(path):
        for number, row, _ in found_events(path):
            yield (number, *row)


def _events(spool: sqlite3.Connection) -> Iterator[tuple[int, Event]]:
    for row in spool.execute("SELECT id, at_s, kind, fields, check_sum FROM found ORDER BY id"):
        yield row[0], from_row(*row)


def _saved(to: Path, numbered: Numbered, read: int, last: int, now_s: float) -> Rescued:
    impossible = {n: _named(n, e, "a number in it cannot be") for n, e in numbered() if _cannot_be(e)}
    ahead = {n: _named(n, e, why) for n, e, why in _ahead(numbered, now_s) if n not in impossible}
    # Where most lies ahead it is the clock that is wrong.
    out = impossible if 2 * len(ahead) > read else {**impossible, **ahead}
    kept = ((n, e) for n, e in numbered() if n not in out)
    events = _put_back(kept) if len(out) > len(impossible) else (e for _, e in kept)
    try:
        with Journal(to) as journal:
            saved = journal.append_many(events)
    except BaseException:
        for name in (to.name, f"{to.name}-wal", f"{to.name}-shm", f"{to.name}-head"):
            to.with_name(name).unlink(missing_ok=True)
        raise
    return Rescued(saved, last - read, tuple(out[n] for n in sorted(out)))


def _cannot_be(event: Event) -> bool:
    return isinstance(event, Unknown) and event.original_kind in EVENT_TYPES


def _ahead(numbered: Numbered, now_s: float) -> Iterator[tuple[int, Event, str]]:
    """Events that lay in the future by all that the clock showed."""
    scale = Scale()
    for number, event in numbered():
        if isinstance(event, ClockSet):
            scale = Scale(event.ahead_s, event.at_s)
        at_s = scale.told(event.at_s)
        if at_s > now_s and (why := misplaced(at_s, now_s)):
            yield number, event, why


def _named(number: int, event: Event, why: str) -> str:
    kind = event.original_kind if isinstance(event, Unknown) else event.kind
    return f"event {number} ({plain(kind, 40)}, {utc(event.at_s) or f'{event.at_s:g} s'}): {why}"


def _put_back(kept: Iterator[tuple[int, Event]]) -> Iterator[Event]:
    """Events of sessions that ran by a moment far ahead, at what the clock showed; others as they are."""
    scale = Scale()

    def later_s(event: Event) -> float:
        far = scale.ahead_s > LATEST_S and event.at_s >= scale.from_s
        return -scale.ahead_s if far else 0.0

    def settled() -> Iterator[Event]:
        nonlocal scale
        for _, event in kept:
            if isinstance(event, ClockSet):
                scale = Scale(event.ahead_s, event.at_s)
                if event.ahead_s > LATEST_S:
                    continue
            yield event

    yield from retimed(settled(), later_s)


def summary(found: Rescued, to: Path) -> str:
    """What came of it, in words."""
    head = f"{counted(found.saved, 'event')} saved into {plain(to)}, {found.lost} lost"
    lost = [f"lost: {line}; `rounds journal restore` goes back to a daily copy" for line in found.gaps]
    return "\n".join([head, *lost, *(f"left out: {line}" for line in found.left_out)])
