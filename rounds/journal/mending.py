"""What a journal lost at its end without SQLite's noticing: brought back where it can be, and said.

Events that were kept and that SQLite no longer sees may still stand in the pages of the damaged write-ahead
file. What follows there link by link is brought back; what does not is noted as missing, once, as an event.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.events import EventsMissing
from rounds.journal.chain import linked
from rounds.journal.opening import copies_of
from rounds.journal.pages import found_events
from rounds.journal.store import Journal
from rounds.times.local import local
from rounds.wording.printable import plain
from rounds.wording.words import counted

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.journal.chain import Tail
    from rounds.journal.rows import Row


def mend(journal: Journal) -> str:
    """Bring back what is missing at the end; in words what was found, nothing where nothing is missing."""
    ahead = journal.missing_end()
    if ahead is None:
        return ""
    before = journal.tail
    found = _following(found_events(journal.path), before, ahead.last_id)
    journal.bring_back(found, before)
    left = ahead.last_id - before.last_id - len(found)
    words = ""
    if found:
        words = f"{counted(len(found), 'event')} at its end had been lost sight of, and were brought back"
    if left <= 0:
        return f"{plain(journal.path)}: {words}."
    tail = journal.tail
    journal.append(EventsMissing(at_s=max(tail.at_s, ahead.at_s), events=left, since_s=tail.at_s))
    return f"{plain(journal.path)}: {words}{'; ' if words else ''}{missing_words(journal, tail, ahead)}"


def missing_words(journal: Journal, tail: Tail, ahead: Tail) -> str:
    """What is missing after a newest event, from when, and which copy has it."""
    count = counted(ahead.last_id - tail.last_id, "event")
    since = f"after {local(tail.at_s)}" if tail.last_id else "from its beginning"
    missing = f"{count} that were kept are missing, {since} until {local(ahead.at_s)}"
    return f"{missing}. {_copies_words(journal, tail)}"


def _following(found: Iterable[tuple[int, Row, int | None]], tail: Tail, last_id: int) -> list[Row]:
    """The rows found in bare pages that follow a newest event link by link, at most through an id."""
    ways: dict[int, list[tuple[Row, int | None]]] = {}
    for number, row, link in found:
        if tail.last_id < number <= last_id:
            ways.setdefault(number, []).append((row, link))
    kept: list[Row] = []
    link_before = tail.link
    for number in range(tail.last_id + 1, last_id + 1):
        fitting = [row for row, link in ways.get(number, ()) if link == linked(link_before, row[3])]
        if not fitting:
            break
        kept.append(fitting[0])
        link_before = linked(link_before, fitting[0][3])
    return kept


def _copies_words(journal: Journal, tail: Tail) -> str:
    """Which daily copies hold more of the same journal than there is."""
    best = ""
    for copy in sorted(copies_of(journal.path)):
        try:
            with Journal(copy, read_only=True) as kept:
                more = kept.last_id - tail.last_id
                if more > 0 and (kept.link_at(tail.last_id) or 0) == tail.link:
                    best = f"{plain(copy)} has {more} of them: `rounds journal restore` brings it back."
        except JournalError:
            continue
    return best or "No daily copy has them."
