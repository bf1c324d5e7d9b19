"""Nothing acknowledged is lost, and each fault gives one clear sentence.

The larger runs are `python -m tests.benchmarks.kills`, reported in docs/reliability.md.
"""

from __future__ import annotations

import contextlib
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from rounds.errors import JournalError
from rounds.events import NoteWritten, RoundOpened
from rounds.journal import Journal, care
from rounds.journal.rescuing import rescue

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

KILLS = 8
NOW_S = 1.79e9


def writer(path: Path, **options: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.faults.writer", str(path)]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, stdout=pipe, stderr=pipe, text=True, **options)  # type: ignore[call-overload, no-any-return]


def acknowledged(process: subprocess.Popen[str]) -> int:
    out, _ = process.communicate()
    whole = [line for line in out.splitlines(keepends=True) if line.endswith("\n")]
    return int(whole[-1]) if whole else 0


def test_killed_at_any_moment_keeps_all_it_acknowledged(tmp_path: Path) -> None:
    rng = random.Random(9)
    path = tmp_path / "j.db"
    for _ in range(KILLS):
        process = writer(path)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.08))
        process.send_signal(signal.SIGKILL)
        said = acknowledged(process)
        with Journal(path, read_only=True) as journal:
            assert journal.last_id >= said
        found = care.check(path)
        assert found.problems == ()
        assert found.events >= said
    assert found.events > KILLS


def test_a_full_disk_by_the_limit_on_a_file(tmp_path: Path) -> None:
    path = tmp_path / "j.db"

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))

    process = writer(path, preexec_fn=limit)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 1
    assert_one_sentence(err, path, "not kept")
    assert_intact(path, int(out.split()[-1]))


def test_a_full_disk(small_disk: Path) -> None:
    path = small_disk / "j.db"
    process = writer(path)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 1
    assert_one_sentence(err, path, "disk is full")
    said = int(out.split()[-1])
    (small_disk / "filler").unlink()
    assert_intact(path, said)


def assert_one_sentence(err: str, path: Path, words: str) -> None:
    assert err.startswith(f"{path}: ")
    assert words in err
    assert len(err.splitlines()) == 1


def assert_intact(path: Path, said: int) -> None:
    """Everything acknowledged is there, and the journal goes on."""
    assert said > 50
    with Journal(path) as journal:
        assert journal.last_id >= said
        journal.append(NoteWritten(at_s=0.0, text="room again"))
    assert care.check(path).problems == ()


def mounted(folder: Path, *options: str) -> None:
    """Mount a small disk, or skip."""
    command = ["mount", "-t", "tmpfs", "-o", ",".join(("size=1m", *options)), "tmpfs", str(folder)]
    try:
        subprocess.run(command, check=True, capture_output=True, timeout=20)
    except (OSError, subprocess.CalledProcessError) as error:
        pytest.skip(f"this needs the right to mount a small disk: {error}")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of one megabyte, half of it taken."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted(folder)
    try:
        (folder / "filler").write_bytes(b"x" * 500_000)
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=False)


@pytest.fixture
def locked_folder(tmp_path: Path) -> Iterator[Path]:
    """A folder that holds a journal of one event and cannot be written."""
    folder = tmp_path / "locked"
    folder.mkdir()
    as_root = os.geteuid() == 0
    if as_root:
        # Modes do not bind root, a mount does.
        mounted(folder)
    with Journal(folder / "j.db") as journal:
        journal.append(NoteWritten(at_s=1.0, text="kept"))
    try:
        if as_root:
            subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        else:
            (folder / "j.db").chmod(0o400)
            folder.chmod(0o500)
        yield folder
    finally:
        if as_root:
            subprocess.run(["umount", "-l", str(folder)], check=False)
        else:
            folder.chmod(0o700)


def test_a_folder_that_cannot_be_written(locked_folder: Path) -> None:
    for name in ("j.db", "new.db"):
        with pytest.raises(JournalError) as caught:
            Journal(locked_folder / name)
        assert_one_sentence(str(caught.value), locked_folder / name, "another")
    with pytest.raises(JournalError):
        Journal(locked_folder / "deeper" / "j.db")
    with Journal(locked_folder / "j.db", read_only=True) as journal:
        assert [event for _, event in journal.events()] == [NoteWritten(at_s=1.0, text="kept")]
        journal.backup(locked_folder.parent / "copy.db")


def test_a_journal_left_by_a_session_cannot_be_written_there_either(locked_folder: Path) -> None:
    """Closed in order it is one file; SQLite then says "cannot open" rather than "read-only"."""
    with pytest.raises(JournalError, match="cannot be written here"):
        Journal(locked_folder / "j.db")


def test_check_takes_no_full_disk_for_damage(small_disk: Path) -> None:
    path = small_disk / "j.db"
    with Journal(path) as journal:
        journal.append(NoteWritten(at_s=1.0, text="kept"))
    with contextlib.suppress(OSError), (small_disk / "more").open("wb", buffering=0) as more:
        while more.write(b"x" * 4096):
            pass
    with pytest.raises(JournalError, match="Free some space"):
        care.check(path)
    (small_disk / "filler").unlink()
    assert care.check(path).problems == ()


def test_two_sessions(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    first = writer(path)
    assert first.stdout is not None
    first.stdout.readline()
    second = writer(path)
    _, err = second.communicate(timeout=30)
    assert_one_sentence(err, path, f"another session of rounds runs on this journal (process {first.pid})")
    with Journal(path) as journal:
        note_id = journal.append(NoteWritten(at_s=0.0, text="from a third"))
    first.kill()
    assert acknowledged(first) > 1
    with Journal(path) as journal:
        journal.claim()
        assert dict(journal.events(after_id=note_id - 1))[note_id] == NoteWritten(
            at_s=0.0, text="from a third"
        )


def big_journal(path: Path, count: int = 400) -> None:
    with Journal(path) as journal:
        journal.append_many(NoteWritten(at_s=float(n), text=f"note {n} " + "y" * 100) for n in range(count))
        journal.append(NoteWritten(at_s=0.0, text="long " * 3000))
        needed = {f"B{n}": 1.0 for n in range(600)}
        journal.append(RoundOpened(at_s=1.0, round_id="r", downbeat_s=None, block_s=1.0, needed=needed))


@pytest.mark.parametrize("page", range(12))
def test_a_damaged_page_is_told_and_the_rest_is_saved(tmp_path: Path, page: int) -> None:
    path = tmp_path / "j.db"
    big_journal(path)
    data = bytearray(path.read_bytes())
    assert len(data) > 12 * 4096
    start = page * 4096
    data[start + 16 * (page == 0) : start + 4096] = random.Random(page).randbytes(4096 - 16 * (page == 0))
    path.write_bytes(data)
    told: list[str] = []
    try:
        told += care.check(path).problems
    except JournalError as error:
        told.append(str(error))
    assert told
    assert all(line.isprintable() for line in told)
    with contextlib.suppress(JournalError), Journal(path) as journal:
        list(journal.events())
    saved = rescue(path, tmp_path / "saved.db", NOW_S)
    # A page holds some 25 notes; the long note and the round lie on overflow pages.
    assert saved.saved >= 402 - 45
    with Journal(tmp_path / "saved.db", read_only=True) as journal:
        assert sum(1 for _ in journal.events()) == saved.saved
    assert care.check(tmp_path / "saved.db").problems == ()


def test_a_flipped_bit_in_a_text_is_told(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    big_journal(path)
    data = path.read_bytes()
    assert data.count(b'"note 200 ') == 1
    path.write_bytes(data.replace(b'"note 200 ', b'"note 300 '))
    with Journal(path) as journal, pytest.raises(JournalError, match="event 201 is not what was written"):
        list(journal.events())
    assert any("event 201" in problem for problem in care.check(path).problems)
    saved = rescue(path, tmp_path / "saved.db", NOW_S)
    assert (saved.saved, saved.lost) == (401, 1)
    assert [gap.partition(",")[0] for gap in saved.gaps] == ["event 201"]


def test_rescue_reads_what_is_still_in_the_write_ahead_file(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append_many(NoteWritten(at_s=float(n), text="z" * 50) for n in range(300))
        copy = tmp_path / "copy.db"
        copy.write_bytes(path.read_bytes())
        wal = path.with_name("j.db-wal").read_bytes()
    assert len(wal) > 10_000
    copy.with_name("copy.db-wal").write_bytes(wal)
    saved = rescue(copy, tmp_path / "saved.db", NOW_S)
    assert (saved.saved, saved.lost) == (300, 0)


def test_nothing_to_rescue_is_said(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"\x0d" * 20_000)
    for name in ("x", "missing"):
        with pytest.raises(JournalError):
            rescue(tmp_path / name, tmp_path / "to.db", NOW_S)
        assert not (tmp_path / "to.db").exists()


def test_a_clock_set_back_is_kept_in_order_and_told(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    times = [1000.0, 1001.0, 400.0, 401.0]
    with Journal(path) as journal:
        for at_s in times:
            journal.append(NoteWritten(at_s=at_s, text=""))
    assert care.check(path).clock_back == 1
    with Journal(path, read_only=True) as journal:
        assert [event.at_s for _, event in journal.events()] == times


def test_a_missing_event_is_told(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    big_journal(path, 10)
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TRIGGER events_remain")
        connection.execute("DELETE FROM events WHERE id IN (4, 5)")
    connection.close()
    assert care.check(path).problems[0] == "events 4 to 5 are missing"
