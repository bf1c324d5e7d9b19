"""The journal on disk: SQLite in WAL mode, every append synced before it returns.

WAL with `synchronous=FULL` syncs once per commit (a rollback journal needs three) and lets readers
read while a session writes. Do not lower `synchronous`: NORMAL loses acknowledged events when the
power goes. Rows are read in batches by id, so a slow reader holds no transaction open.
"""

from __future__ import annotations

import contextlib
import json
import math
import sqlite3
import threading
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.events import Imported, TakenBack
from rounds.journal import schema
from rounds.journal.chain import Tail, Witness, with_links
from rounds.journal.claim import claimed
from rounds.journal.copying import copy_whole
from rounds.journal.faults import RESCUE, told
from rounds.journal.imports import with_their_events
from rounds.journal.opening import begin_writing, open_to_read, open_to_write
from rounds.journal.protocol import Checkpoint
from rounds.journal.rows import from_row, to_row
from rounds.journal.takenback import resolved
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable, Iterator, Sequence
    from types import TracebackType

    from rounds.events import Event
    from rounds.journal.rows import Row

_BATCH = 2000
_LOOKED_BACK = 200
_CHECKPOINTS_KEPT = 12
"""The newest; a rig that was changed leaves its old ones behind."""
_INSERT = "INSERT INTO events (at_s, kind, fields, check_sum, link) VALUES (?, ?, ?, ?, ?)"


class Journal:
    """An append-only list of events in a file. Usable from any thread."""

    def __init__(self, path: str | os.PathLike[str], *, read_only: bool = False) -> None:
        """Open a journal, or make one where there is none.

        Raises:
            JournalError: it cannot be read or written, is damaged, foreign, or of a newer version.
        """
        self.path = Path(path)
        self.read_only = read_only
        self._lock = threading.RLock()
        self._claims = contextlib.ExitStack()
        self._witness = Witness(self.path)
        # Before the journal is looked at: another process may be writing it.
        self._noted = self._witness.told()
        with told(self.path):
            self._connection = open_to_read(self.path) if read_only else open_to_write(self.path)
            version = self._connection.execute("PRAGMA user_version").fetchone()[0]
            self._indexed, self._taken_indexed = version >= 3, version >= 4
            self._linked = version >= schema.LINKED

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Fold the write-ahead file into the journal, as far as no other process needs it, and close."""
        self._claims.close()
        with self._lock, contextlib.suppress(sqlite3.Error):
            self._connection.close()

    def claim(self) -> None:
        """Hold the journal for this session until closed.

        Raises:
            JournalError: another session holds it.
        """
        self._claims.enter_context(claimed(self.path))

    @property
    def last_id(self) -> int:
        """Id of the newest event; 0 when there is none."""
        with self._lock, told(self.path):
            return int(self._connection.execute("SELECT ifnull(max(id), 0) FROM events").fetchone()[0])

    def append(self, event: Event) -> int:
        """Keep one event and return its id. It is safe on disk when this returns."""
        return self.append_many((event,))

    def append_many(self, events: Iterable[Event]) -> int:
        """Keep all of these or none; returns the newest id. An error raised by the iterable keeps none."""
        return self.append_rows(map(to_row, events))

    def append_rows(self, rows: Iterable[Row]) -> int:
        """Keep all of these events, made ready by `to_row`, or none; returns the newest id."""
        with self._lock, told(self.path), self._transaction():
            self._connection.executemany(_INSERT, with_links(rows, self.tail.link))
            tail = self.tail
        self._witness.tell(tail)
        self._noted = None
        return tail.last_id

    @property
    def tail(self) -> Tail:
        """The newest event's id, link and time."""
        link = "link" if self._linked else "NULL"
        query = f"SELECT id, ifnull({link}, check_sum), at_s FROM events ORDER BY id DESC LIMIT 1"
        with self._lock, told(self.path):
            return Tail(*(self._connection.execute(query).fetchone() or ()))

    def link_at(self, number: int) -> int | None:
        """The link of an event; that of one of an older version is its check sum."""
        link = "link" if self._linked else "NULL"
        query = f"SELECT ifnull({link}, check_sum) FROM events WHERE id = ?"
        with self._lock, told(self.path):
            row = self._connection.execute(query, (number,)).fetchone()
        return None if row is None else int(row[0])

    def links(self) -> Iterator[tuple[int, int, int | None]]:
        """Id, check sum and link of every event, in order; the link is None for those of an older version."""
        link = "link" if self._linked else "NULL"
        with self._lock, told(self.path):
            cursor = self._connection.execute(f"SELECT id, check_sum, {link} FROM events ORDER BY id")
        while True:
            with self._lock, told(self.path):
                rows = cursor.fetchmany(_BATCH)
            if not rows:
                return
            yield from rows

    def missing_end(self) -> Tail | None:
        """How far the journal had come when it was opened, if it does not come so far any more."""
        noted = self._noted
        return noted if noted is not None and noted.last_id > self.tail.last_id else None

    def bring_back(self, rows: Sequence[Row], after: Tail) -> None:
        """Keep events again that had been lost sight of, if the journal still ends where they follow on."""
        with self._lock, told(self.path), self._transaction():
            if self.tail == after:
                self._connection.executemany(_INSERT, with_links(rows, after.link))

    def rows(self, start_s: float, end_s: float) -> Iterator[tuple[float, str, str, int]]:
        """Events as they are stored, from a time through another, in order of happening."""
        after_id = 0
        query = (
            "SELECT id, at_s, kind, fields, check_sum FROM events "
            f"WHERE id > ? AND at_s BETWEEN ? AND ? ORDER BY id LIMIT {_BATCH}"
        )
        while True:
            with self._lock, told(self.path):
                found = self._connection.execute(query, (after_id, start_s, end_s)).fetchall()
            yield from (row[1:] for row in found)
            if len(found) < _BATCH:
                return
            after_id = found[-1][0]

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        begin_writing(self._connection)
        try:
            yield
            self._connection.execute("COMMIT")
        except BaseException:
            # A full disk may have ended the transaction already.
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise

    def events(
        self,
        after_id: int = 0,
        *,
        until_id: int | None = None,
        kinds: Iterable[str] = (),
        bottle: str | None = None,
        start_s: float = -math.inf,
        end_s: float = math.inf,
    ) -> Iterator[tuple[int, Event]]:
        """Id and event of everything after an id, in order of happening.

        Args:
            until_id: only up to this id.
            kinds: only these kinds of events; all when empty.
            bottle: only events that name this bottle (and perhaps a few more).
            start_s: only from this time on (UTC epoch seconds).
            end_s: only before this time.
        """
        wanted, extra, index = "", list[str | int](), ""
        if until_id is not None:
            wanted += " AND id <= ?"
            extra.append(until_id)
        if chosen := sorted(set(kinds)):
            wanted += " AND kind IN (SELECT value FROM json_each(?))"
            extra.append(json.dumps(chosen))
            if self._indexed and schema.SETTING.issuperset(chosen):
                wanted, index = f"{wanted} AND {schema.SETTING_TERM}", "INDEXED BY events_setting "
        if bottle is not None:
            wanted += " AND instr(fields, ?)"
            extra.append(f'"bottle":{json.dumps(bottle)}')
        query = (
            f"SELECT id, at_s, kind, fields, check_sum FROM events {index}"
            f"WHERE id > ? AND at_s >= ? AND at_s < ?{wanted} ORDER BY id LIMIT {_BATCH}"
        )
        while True:
            with self._lock, told(self.path):
                rows = self._connection.execute(query, (after_id, start_s, end_s, *extra)).fetchall()
            for row in rows:
                yield row[0], self._event(row)
            if len(rows) < _BATCH:
                return
            after_id = rows[-1][0]

    def newest(self, last_id: int, kinds: tuple[str, ...]) -> Event | None:
        """The newest event up to an id of these kinds, which must be among `schema.SETTING`."""
        index = "INDEXED BY events_setting " if self._indexed else ""
        query = (
            f"SELECT id, at_s, kind, fields, check_sum FROM events {index}WHERE {schema.SETTING_TERM} "
            "AND id <= ? AND kind IN (SELECT value FROM json_each(?)) ORDER BY id DESC LIMIT 1"
        )
        with self._lock, told(self.path):
            row = self._connection.execute(query, (last_id, json.dumps(kinds))).fetchone()
        return None if row is None else self._event(row)

    def mentions(self, bottle: str) -> bool:
        """Whether any event names this bottle (or, rarely, quotes such a name)."""
        query = "SELECT 1 FROM events WHERE instr(fields, ?) LIMIT 1"
        with self._lock, told(self.path):
            found = self._connection.execute(query, (f'"bottle":{json.dumps(bottle)}',)).fetchone()
        return found is not None

    def touched_before(self, first_id: int, bottle: str, gone: Iterable[int]) -> bool:
        """Whether air moved in a bottle after its newest clear strike before an id."""
        query = (
            "SELECT kind FROM events WHERE id < ? AND instr(fields, ?) AND (kind = 'air_moved' "
            """OR kind = 'strike' AND instr(fields, '"verdict":"clear"')) """
            "AND id NOT IN (SELECT value FROM json_each(?)) ORDER BY id DESC LIMIT 1"
        )
        with self._lock, told(self.path):
            row = self._connection.execute(
                query, (first_id, f'"bottle":{json.dumps(bottle)}', json.dumps(sorted(gone)))
            ).fetchone()
        return row is not None and row[0] == "air_moved"

    def taken_back(self, after_id: int = 0) -> frozenset[int]:
        """Ids of the events that the player took back after an id: they stay, and no fold believes them."""
        index = "INDEXED BY events_taken_back " if self._taken_indexed else ""
        query = (
            f"SELECT id, at_s, kind, fields, check_sum FROM events {index}"
            f"WHERE {schema.TAKEN_BACK_TERM} AND id > ? ORDER BY id"
        )
        with self._lock, told(self.path):
            rows = self._connection.execute(query, (after_id,)).fetchall()
        found = ((row[0], self._event(row)) for row in rows)
        gone = resolved(((n, e) for n, e in found if isinstance(e, TakenBack)), self._sums_before)
        return with_their_events(gone, self._imports_among(gone), self.sums) if gone else gone

    def _imports_among(self, ids: Iterable[int]) -> list[tuple[int, Imported]]:
        query = (
            "SELECT id, at_s, kind, fields, check_sum FROM events "
            "WHERE id IN (SELECT value FROM json_each(?)) AND kind = ?"
        )
        with self._lock, told(self.path):
            rows = self._connection.execute(query, (json.dumps(list(ids)), Imported.kind)).fetchall()
        found = ((row[0], self._event(row)) for row in rows)
        return [(number, event) for number, event in found if isinstance(event, Imported)]

    def _sums_before(self, number: int) -> Iterator[tuple[int, int]]:
        query = (
            f"SELECT id, check_sum FROM events WHERE id < ? AND NOT {schema.SETTING_TERM} "
            f"ORDER BY id DESC LIMIT {_LOOKED_BACK}"
        )
        while True:
            with self._lock, told(self.path):
                rows = self._connection.execute(query, (number,)).fetchall()
            yield from rows
            if len(rows) < _LOOKED_BACK:
                return
            number = rows[-1][0]

    def sums(self, ids: Sequence[int]) -> tuple[int, ...]:
        """The check sums of some events, by which `TakenBack` names them."""
        query = "SELECT check_sum FROM events WHERE id IN (SELECT value FROM json_each(?)) ORDER BY id"
        with self._lock, told(self.path):
            return tuple(s for (s,) in self._connection.execute(query, (json.dumps(list(ids)),)))

    def events_by_time(self, until_s: float = math.inf) -> Iterator[Event]:
        """Every event up to a time that was not taken back, oldest first: an import may bring older days.

        For commands that read once: it holds one reading transaction open until it is done.
        """
        query = "SELECT id, at_s, kind, fields, check_sum FROM events WHERE at_s <= ? ORDER BY at_s, id"
        gone = self.taken_back()
        with self._lock, told(self.path):
            cursor = self._connection.execute(query, (until_s,))
        while True:
            with self._lock, told(self.path):
                rows = cursor.fetchmany(_BATCH)
            if not rows:
                return
            yield from (self._event(row) for row in rows if row[0] not in gone)

    def _event(self, row: tuple[int, float, str, str, int]) -> Event:
        try:
            return from_row(*row)
        except (ValueError, TypeError, RecursionError) as error:
            raise JournalError(
                f"{plain(self.path)}: the journal is damaged ({plain(error)}). {RESCUE}"
            ) from error

    def save_checkpoint(self, name: str, last_id: int, blob: bytes) -> None:
        """Keep a fold's state after event `last_id`, replacing the one of that name."""
        with self._lock, told(self.path), self._transaction():
            self._connection.execute(
                "INSERT OR REPLACE INTO checkpoints VALUES (?, ?, ?, ?)",
                (name, last_id, blob, zlib.crc32(blob)),
            )
            self._connection.execute(
                "DELETE FROM checkpoints WHERE rowid NOT IN "
                f"(SELECT rowid FROM checkpoints ORDER BY rowid DESC LIMIT {_CHECKPOINTS_KEPT})"
            )

    def load_checkpoint(self, name: str) -> Checkpoint | None:
        """The kept state of that name, if it is whole, not ahead of the events, and nothing that it holds was
        taken back after it."""
        with self._lock, told(self.path):
            row = self._connection.execute(
                "SELECT last_id, blob, check_sum FROM checkpoints WHERE name = ?", (name,)
            ).fetchone()
        if row is None or zlib.crc32(row[1]) != row[2] or row[0] > self.last_id:
            return None
        stale = any(number <= row[0] for number in self.taken_back(row[0]))
        return None if stale else Checkpoint(row[0], row[1])

    def page_problems(self, most: int) -> list[str]:
        """What SQLite finds wrong with the file's pages, at most so many sentences."""
        with self._lock, told(self.path):
            found = self._connection.execute(f"PRAGMA integrity_check({int(most)})").fetchall()
        return [plain(line, 200) for (text,) in found if text != "ok" for line in text.splitlines()][:most]

    def backup(self, to: Path) -> None:
        """Copy the journal to a new file while it may be in use, by SQLite's online backup.

        Raises:
            JournalError: the file is there already, or cannot be written.
        """
        copy_whole(self._connection, to)
