"""The journal keeps what was acknowledged, says plainly what it cannot do, and belongs to its owner.

Durability itself is tested by killing processes, in tests/faults/.
"""

from __future__ import annotations

import datetime
import math
import os
import sqlite3
import stat
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.bounds import BOUNDS
from rounds.errors import JournalError
from rounds.events import (
    AirMoved,
    Event,
    NoteWritten,
    RoundOpened,
    SessionStarted,
    Strike,
    Temperature,
    Unknown,
)
from rounds.journal import Journal, MemoryJournal, schema
from rounds.journal.care import back_up_daily
from rounds.journal.restoring import restore
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from pathlib import Path

finite = st.floats(allow_nan=False, allow_infinity=False)
texts = st.text(max_size=30).filter(lambda s: not any("\ud800" <= c <= "\udfff" for c in s))


def within(name: str) -> st.SearchStrategy[float]:
    """Every number that a field of this name may be."""
    return st.floats(BOUNDS[name].least, BOUNDS[name].most)


times = within("at_s")
events = st.one_of(
    st.builds(NoteWritten, at_s=times, text=texts, bottle=st.none() | texts),
    st.builds(Temperature, at_s=times, temp_c=within("temp_c")),
    st.builds(
        AirMoved, at_s=times, bottle=texts, pump=st.none() | texts, strokes=st.none() | within("strokes")
    ),
    st.builds(
        Strike,
        at_s=times,
        bottle=st.none() | texts,
        verdict=st.sampled_from(("clear", "quiet")),
        hz=st.none() | within("hz"),
        cents=st.none() | within("cents"),
        u95_cents=st.none() | within("u95_cents"),
    ),
    st.builds(
        RoundOpened,
        at_s=st.floats(0.0, 1e7),
        round_id=texts,
        downbeat_s=st.none() | st.floats(0.0, 1e7),
        block_s=within("block_s"),
        needed=st.dictionaries(texts, finite, max_size=3),
        pieces=st.tuples(texts),
    ),
    st.builds(
        Unknown, at_s=finite, original_kind=st.just("from_tomorrow"), fields=st.dictionaries(texts, finite)
    ),
)


def note(number: int) -> NoteWritten:
    return NoteWritten(at_s=1000.0 + number, text=f"note {number}")


@settings(max_examples=30, deadline=None)
@given(st.lists(events, max_size=8))
def test_what_goes_in_comes_out(tmp_path_factory: pytest.TempPathFactory, some: list[Event]) -> None:
    path = tmp_path_factory.mktemp("journal") / "j.db"
    with Journal(path) as journal:
        for event in some[:4]:
            journal.append(event)
        assert journal.append_many(some[4:]) == len(some)
    with Journal(path, read_only=True) as journal:
        assert list(journal.events()) == list(enumerate(some, 1))
    assert list(MemoryJournal(some).events()) == list(enumerate(some, 1))


def test_events_after_an_id_of_some_kinds_in_some_hours(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        last = journal.append_many(note(n) for n in range(4500))
        journal.append(Temperature(at_s=3.0, temp_c=20.5))
        assert last == 4500
        assert [i for i, _ in journal.events(after_id=4499)] == [4500, 4501]
        assert [i for i, _ in journal.events(kinds=("temperature",))] == [4501]
        assert [i for i, _ in journal.events(start_s=1010.0, end_s=1012.0)] == [11, 12]
        assert sum(1 for _ in journal.events()) == 4501


def test_events_by_time_and_by_bottle(tmp_path: Path) -> None:
    old = [AirMoved(at_s=float(-n), bottle=f"B{n % 3}", pump=None, strokes=1.0) for n in range(5000)]
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(old)
        assert list(journal.events_by_time()) == sorted(old, key=lambda e: e.at_s)
        assert len(list(journal.events_by_time(-4990.0))) == 10
        assert [e for _, e in journal.events(bottle="B1")] == [e for e in old if e.bottle == "B1"]
        assert list(journal.events(bottle="B")) == []


def test_files_are_private(tmp_path: Path) -> None:
    path = tmp_path / "new" / "j.db"
    old_mask = os.umask(0)
    try:
        with Journal(path) as journal:
            journal.claim()
            journal.append(note(1))
            journal.backup(tmp_path / "copy.db")
            files = [*path.parent.iterdir(), tmp_path / "copy.db"]
            assert len(files) >= 4
            assert {stat.S_IMODE(f.stat().st_mode) for f in files} == {0o600}
    finally:
        os.umask(old_mask)
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_all_or_none(tmp_path: Path) -> None:
    def fails_late() -> object:
        yield note(1)
        raise RuntimeError("the file ended in the middle")

    with Journal(tmp_path / "j.db") as journal:
        with pytest.raises(RuntimeError):
            journal.append_many(fails_late())  # type: ignore[arg-type]
        with pytest.raises(JournalError, match="cannot be kept"):
            journal.append_many([note(1), Temperature(at_s=1.0, temp_c=math.nan)])
        assert journal.last_id == 0
        assert journal.append(note(2)) == 1


def test_events_are_never_changed(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append(note(1))
    for statement in ("DELETE FROM events", "UPDATE events SET at_s = 0"):
        with sqlite3.connect(tmp_path / "j.db") as connection, pytest.raises(sqlite3.IntegrityError):
            connection.execute(statement)
        connection.close()


def test_an_older_journal_is_brought_up_to_date_after_a_copy(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    make_old(path)
    with pytest.raises(JournalError, match="older version"):
        Journal(path, read_only=True)
    with Journal(path) as journal:
        assert list(journal.events()) == [(1, note(7))]
        journal.save_checkpoint("belief", 1, b"state")
    copy = tmp_path / f"j.before-v{schema.VERSION}.db"
    with sqlite3.connect(copy) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)
        assert connection.execute("SELECT count(*) FROM events").fetchone() == (1,)
    connection.close()


def test_a_journal_without_the_newest_index_is_read_as_it_is_and_gets_it_when_written(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    began = SessionStarted(at_s=5.0, rig="Porch")
    with Journal(path) as journal:
        journal.append_many([began, note(1)])
    with sqlite3.connect(path) as connection:
        connection.execute("DROP INDEX events_setting")
        connection.execute("DROP INDEX events_taken_back")
        connection.execute("ALTER TABLE events DROP COLUMN link")
        connection.execute("PRAGMA user_version = 2")
    connection.close()
    for read_only in (True, False):
        with Journal(path, read_only=read_only) as journal:
            assert list(journal.events(kinds=("session_started", "clock_set"))) == [(1, began)]
    query = f"SELECT id FROM events INDEXED BY events_setting WHERE {schema.SETTING_TERM} ORDER BY id"
    with sqlite3.connect(path) as connection:
        plan = [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {query}")]
    connection.close()
    assert plan == ["SCAN events USING INDEX events_setting"]


def make_old(path: Path) -> None:
    """A journal of schema version 1: events, and no checkpoints."""
    from rounds.journal.rows import to_row

    connection = sqlite3.connect(path, isolation_level=None)
    for statement in schema.STEPS[0]:
        connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.execute("PRAGMA user_version = 1")
    connection.execute(
        "INSERT INTO events (at_s, kind, fields, check_sum) VALUES (?, ?, ?, ?)", to_row(note(7))
    )
    connection.close()


def test_a_newer_journal_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append(note(1))
    with sqlite3.connect(path) as connection:
        connection.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    connection.close()
    before = path.read_bytes()
    for read_only in (False, True):
        with pytest.raises(JournalError, match="newer rounds"):
            Journal(path, read_only=read_only)
    assert path.read_bytes() == before


@pytest.mark.parametrize("read_only", [False, True])
def test_foreign_files_are_refused_and_left_as_they_are(tmp_path: Path, read_only: bool) -> None:
    text = tmp_path / "letter.db"
    text.write_bytes(b"Dear reader, this is no database at all." * 40)
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    for path in (text, other):
        before = path.read_bytes()
        with pytest.raises(JournalError, match="not a journal of rounds"):
            Journal(path, read_only=read_only)
        assert path.read_bytes() == before
    with pytest.raises(JournalError):
        Journal(tmp_path, read_only=read_only)


def test_no_journal_yet(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="no journal yet"):
        Journal(tmp_path / "none.db", read_only=True)
    assert not (tmp_path / "none.db").exists()


def test_one_session_at_a_time_and_anyone_may_read_and_add(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with Journal(path) as first, Journal(path) as second:
        first.claim()
        with pytest.raises(JournalError, match=rf"another session .*process {os.getpid()}"):
            second.claim()
        first.append(note(1))
        second.append(note(2))
        with Journal(path, read_only=True) as reader:
            assert [e for _, e in reader.events()] == [note(1), note(2)]
    with Journal(path) as third:
        third.claim()


def test_another_writer_is_waited_for_and_then_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rounds.journal.opening.BUSY_S", 0.05)
    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append(note(1))
        with sqlite3.connect(path, isolation_level=None) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(JournalError, match="another program"):
                journal.append(note(2))
            other.execute("ROLLBACK")
        other.close()
        assert journal.append(note(3)) == 2


def test_checkpoints_are_a_shortcut_that_is_checked(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append(note(1))
        assert journal.load_checkpoint("belief") is None
        journal.save_checkpoint("belief", 1, b"one")
        journal.save_checkpoint("belief", 1, b"two")
        found = journal.load_checkpoint("belief")
        assert found is not None
        assert (found.last_id, found.blob) == (1, b"two")
        journal.save_checkpoint("ahead", 2, b"from a copy that went on")
        assert journal.load_checkpoint("ahead") is None
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE checkpoints SET blob = x'00'")
    connection.close()
    with Journal(path) as journal:
        assert journal.load_checkpoint("belief") is None


def test_a_backup_is_whole_while_the_journal_is_written(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(note(n) for n in range(100))
        journal.backup(tmp_path / "copy.db")
        journal.append(note(100))
        with pytest.raises(JournalError, match="a file already"):
            journal.backup(tmp_path / "copy.db")
        with pytest.raises(JournalError):
            journal.backup(tmp_path / "no folder" / "copy.db")
    with Journal(tmp_path / "copy.db", read_only=True) as copy:
        assert copy.last_id == 100


def test_daily_backups_keep_the_newest(tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    days = [datetime.date(2026, 5, 28) + datetime.timedelta(days=n) for n in range(5)]
    with Journal(tmp_path / "j.db") as journal:
        for number, day in enumerate(days):
            journal.append(note(number))
            made = back_up_daily(journal, folder, day, keep=3)
            assert made is not None
            assert back_up_daily(journal, folder, day, keep=3) is None
    assert sorted(p.name for p in folder.iterdir()) == [f"daily-{day}.db" for day in days[2:]]
    assert made is not None
    with Journal(made, read_only=True) as copy:
        assert copy.last_id == 5


@settings(max_examples=200)
@given(st.text())
def test_plain_text_cannot_disturb_a_terminal(text: str) -> None:
    safe = plain(text)
    assert safe.isprintable()
    assert len(plain(text, 10)) <= 10


def test_plain_names_what_it_replaced() -> None:
    assert plain("C4 é …") == "C4 é …"
    assert plain("\x1b[2J\nx\u202e\u2066\udcff\U000e0041") == r"\x1b[2J\x0ax\u202e\u2066\udcff\U000e0041"
    assert plain("e" + "\u0301" * 50) == "e" + "\u0301" * 4


def test_a_copy_is_restored_though_a_crash_left_a_write_ahead_file(tmp_path: Path) -> None:
    path, copy = tmp_path / "j.db", tmp_path / "copy.db"
    with Journal(path) as journal:
        journal.append_many([note(1), note(2)])
        journal.save_checkpoint("state", 2, b"x")
        journal.backup(copy)
    crashed = Journal(path)
    crashed.append_many(note(n) for n in range(3, 300))
    left = {name: (tmp_path / name).read_bytes() for name in ("j.db", "j.db-wal")}
    crashed.close()
    for name, data in left.items():
        (tmp_path / name).write_bytes(data)
    aside = restore(path, copy)
    assert aside == tmp_path / "j.before-restore.db"
    with Journal(path) as journal:
        assert [event for _, event in journal.events()] == [note(1), note(2)]
        assert journal.load_checkpoint("state") is not None
    with Journal(aside) as journal:
        assert journal.last_id == 299
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_is_not_whole_is_not_restored_and_nothing_changes(tmp_path: Path) -> None:
    path, copy = tmp_path / "j.db", tmp_path / "copy.db"
    with Journal(path) as journal:
        journal.append_many(note(n) for n in range(200))
        journal.backup(copy)
    copy.write_bytes(copy.read_bytes()[:-6000])
    with pytest.raises(JournalError, match="not whole"):
        restore(path, copy)
    with Journal(path) as journal:
        journal.claim()
        assert journal.last_id == 200
        with pytest.raises(JournalError, match="another session"):
            restore(path, path)
    names = sorted(p.name for p in tmp_path.iterdir() if "session" not in p.name)
    assert names == ["copy.db", "j.db", "j.db-head"]


def test_a_stretch_of_time_is_read_in_batches_and_each_event_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rounds.journal.store._BATCH", 3)
    notes = [note(number) for number in range(10)]
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(notes)
        assert [event for _, event in journal.events()] == notes
        first_s, last_s = notes[1].at_s, notes[8].at_s
        between = [event for _, event in journal.events(start_s=first_s, end_s=last_s)]
        assert between == [n for n in notes if first_s <= n.at_s < last_s]
        assert [row[0] for row in journal.rows(first_s, last_s)] == [n.at_s for n in notes[1:9]]


def test_a_journal_knows_which_bottles_it_mentions(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append(AirMoved(at_s=1.0, bottle="C4", pump=None, strokes=-1.0))
        assert journal.mentions("C4")
        assert not journal.mentions("C5")
