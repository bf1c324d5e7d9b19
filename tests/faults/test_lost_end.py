"""What SQLite loses at a journal's end without a word is seen, said, and brought back where it still stands.

SQLite drops a write-ahead file from the first frame on whose checksum fails (https://www.sqlite.org/walformat.html,
section 4.4, "Recovery"): a bit that flips there takes later, acknowledged events with it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from rounds import cli
from rounds.errors import JournalError
from rounds.events import EventsMissing, NoteWritten, Temperature
from rounds.files.whole import written_whole
from rounds.journal import Journal, care
from rounds.journal.mending import mend
from rounds.journal.opening import backups_of
from rounds.journal.rescuing import rescue

if TYPE_CHECKING:
    from pathlib import Path

NOW_S = 1.79e9
FRAME = 4096 + 24
KEPT = 13


def note(number: int) -> NoteWritten:
    return NoteWritten(at_s=NOW_S + number, text=f"note {number}")


def left_by_a_crash(folder: Path, path: Path, flipped_frame: int) -> None:
    """A journal with its write-ahead file as a killed process leaves it, a bit of one frame flipped."""
    folder.mkdir()
    with Journal(folder / "j.db") as journal:
        journal.append(note(0))
        with Journal(folder / "j.db") as other:  # so that closing folds nothing in
            for number in range(1, KEPT):
                other.append(note(number))
            for end in ("", "-wal", "-head"):
                path.with_name(path.name + end).write_bytes((folder / f"j.db{end}").read_bytes())
    wal = path.with_name(path.name + "-wal")
    data = bytearray(wal.read_bytes())
    place = len(data) - flipped_frame * FRAME + 24 + 4000
    data[place] ^= 4
    wal.write_bytes(data)


def texts(path: Path) -> list[str]:
    with Journal(path, read_only=True) as journal:
        return [e.text for _, e in journal.events() if isinstance(e, NoteWritten)]


def test_a_flipped_bit_is_said_by_check_and_what_stands_in_the_pages_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    left_by_a_crash(tmp_path / "was", path, 11)
    assert texts(path) == ["note 0", "note 1"]
    found = care.check(path)
    assert not found.whole
    assert found.problems[0].startswith("11 events that were kept are missing, after 2026-")
    with Journal(path) as journal:
        assert "11 events at its end had been lost sight of, and were brought back" in mend(journal)
    assert texts(path) == [f"note {n}" for n in range(KEPT)]
    assert care.check(path).whole


def test_what_does_not_come_back_is_noted_and_the_copy_that_has_it_named(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    left_by_a_crash(tmp_path / "was", path, 11)
    backups_of(path).mkdir()
    with Journal(tmp_path / "was" / "j.db") as journal:
        journal.backup(backups_of(path) / "daily-2026-09-01.db")
    path.with_name("j.db-wal").write_bytes(b"")
    with Journal(path) as journal:
        words = mend(journal)
        assert "that were kept are missing" in words
        assert "daily-2026-09-01.db has" in words
        assert mend(journal) == ""
        *_, (_, event) = journal.events()
        assert isinstance(event, EventsMissing)
    found = care.check(path)
    assert (found.whole, found.problems) == (False, ())
    assert found.missing == event.events > 0


def test_an_event_taken_out_of_the_middle_or_put_elsewhere_breaks_the_chain(tmp_path: Path) -> None:
    import sqlite3

    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append_many(note(n) for n in range(9))
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TRIGGER events_stay")
        swapped = "at_s = (SELECT at_s FROM events e WHERE e.id = 9 - events.id)"
        swapped += ", fields = (SELECT fields FROM events e WHERE e.id = 9 - events.id)"
        swapped += ", check_sum = (SELECT check_sum FROM events e WHERE e.id = 9 - events.id)"
        connection.execute(f"UPDATE events SET {swapped} WHERE id IN (4, 5)")
    connection.close()
    assert care.check(path).problems[0].startswith("event 4 does not follow from the one before it")


def test_an_older_journal_is_linked_from_its_next_event_on(tmp_path: Path) -> None:
    import sqlite3

    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append_many(note(n) for n in range(3))
    with sqlite3.connect(path) as connection:
        connection.execute("ALTER TABLE events DROP COLUMN link")
        connection.execute("PRAGMA user_version = 4")
    connection.close()
    with Journal(path, read_only=True) as journal:
        assert journal.tail.last_id == 3
    assert care.check(path).whole
    with Journal(path) as journal:
        journal.append(note(3))
        assert journal.link_at(4) is not None
    assert care.check(path).whole
    assert rescue(path, tmp_path / "new.db", NOW_S + 60.0).saved == 4


def test_an_empty_file_beside_copies_begins_no_day(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "journal.db"
    with Journal(path) as journal:
        journal.append(note(1))
        backups_of(path).mkdir()
        journal.backup(backups_of(path) / "daily-2026-09-01.db")
    path.write_bytes(b"")
    path.with_name("journal.db-wal").unlink(missing_ok=True)
    assert cli.main(["log", "add", "x", "--journal", str(path)]) != 0
    assert "daily-2026-09-01.db" in capsys.readouterr().err
    assert cli.main(["log", "--journal", str(path)]) != 0
    assert "daily-2026-09-01.db" in capsys.readouterr().err
    assert path.read_bytes() == b""
    path.unlink()
    assert cli.main(["log", "add", "x", "--journal", str(path)]) == 0
    said = capsys.readouterr().err
    assert "is missing" in said
    assert "daily-2026-09-01.db" in said
    assert cli.main(["log", "add", "x", "--journal", str(path)]) == 0
    assert "is missing" not in capsys.readouterr().err


@pytest.mark.parametrize("text", ["short", "x" * 600, " "])
def test_a_text_is_no_journal_and_stays_as_it_is(tmp_path: Path, text: str) -> None:
    path = tmp_path / "notes.txt"
    path.write_text(text)
    for read_only in (False, True):
        with pytest.raises(JournalError, match="not a journal of rounds"):
            Journal(path, read_only=read_only)
    assert path.read_text() == text


def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for words in (["log"], ["log", "add", "x"], ["journal", "check"]):
        command = [sys.executable, "-m", "rounds", *words, "--journal", str(tmp_path / "pipe")]
        done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False)
        assert done.returncode != 0
        assert "is not a file" in done.stderr


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    old = tmp_path / "old"
    old.write_bytes(b"as it was")

    def fail(path: Path) -> None:
        with written_whole(path, replace=True) as out:
            out.write(b"half")
            raise OSError(28, "full")

    for path in (old, tmp_path / "new"):
        with pytest.raises(OSError, match="full"):
            fail(path)
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("old", b"as it was")]


def test_a_hurt_journal_is_rescued_and_what_is_left_out_is_said(tmp_path: Path) -> None:
    """2062-01-01 is 2903299200 and 9999-12-31T23:59:59Z 253402300799 (Python's calendar.timegm)."""
    from rounds.sessions.session import Session
    from tests.test_session import rig

    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append_many([note(0), Temperature(at_s=2903299200.0, temp_c=20.0)])
        journal.append(note(253402300799 - int(NOW_S)))
        session = Session(rig(), journal, NOW_S + 10.0)
        session.note("after it", session.now_s + 5.0)
    found = rescue(path, tmp_path / "new.db", NOW_S + 60.0)
    assert [line.partition(":")[0] for line in found.left_out] == [
        "event 2 (temperature, 2062-01-01T00",
        "event 3 (note_written, 9999-12-31T23",
    ]
    with Journal(tmp_path / "new.db") as journal:
        kept = [(e.kind, e.at_s) for _, e in journal.events()]
        assert kept == [
            ("note_written", NOW_S),
            ("session_started", pytest.approx(NOW_S + 10.0)),
            ("note_written", pytest.approx(NOW_S + 15.0)),
        ]
        assert Session(rig(), journal, NOW_S + 60.0).now_s == NOW_S + 60.0
    assert care.check(tmp_path / "new.db").whole
    assert not care.check(path).whole


def test_a_clock_that_is_wrong_itself_leaves_nothing_out(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(note(n) for n in range(5))
    assert rescue(tmp_path / "j.db", tmp_path / "new.db", 1000.0).saved == 5
