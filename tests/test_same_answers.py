"""The same lines give the same answers: run again, with other hashing, at another time, or killed half-way.

Whole answers are compared, as text. The lines are those of a simulated rehearsal, made once.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from rounds.journal import Journal
from rounds.journal.timing import lines_begun
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from tests.benchmarks.kills import RIG, reference

if TYPE_CHECKING:
    from pathlib import Path

MOST_LINES = 60
"""Enough for bottles that are heard, visited, given up for want of time, and heard anew."""


@pytest.fixture(scope="module")
def lines() -> list[str]:
    """Lines of a round, not all of them understood, with too little time for all."""
    return [line.sent for line in reference(4, rounds=1, weak_every=5, downbeat_in_s=300.0)[0]][:MOST_LINES]


def process(folder: Path, hashing: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "rounds", "tune", "--lines", "--rig", RIG]
    environment = {**os.environ, "ROUNDS_HOME": str(folder), "PYTHONHASHSEED": str(hashing)}
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
    )


def answers(folder: Path, lines: list[str], hashing: int) -> list[str]:
    out, _ = process(folder, hashing).communicate("\n".join(lines) + "\n")
    return out.splitlines()


def killed_after(folder: Path, lines: list[str], hashing: int) -> list[str]:
    running = process(folder, hashing)
    assert running.stdin is not None
    assert running.stdout is not None
    found = []
    for line in lines:
        running.stdin.write(line + "\n")
        running.stdin.flush()
        found.append(running.stdout.readline().rstrip("\n"))
    running.send_signal(signal.SIGKILL)
    running.communicate()
    return found


@pytest.mark.slow
def test_three_runs_answer_alike_one_of_them_killed_and_taken_up(lines: list[str], tmp_path: Path) -> None:
    half = len(lines) // 2
    whole = answers(tmp_path / "one", lines, 1)
    time.sleep(0.37)  # another fraction of a second on the wall clock
    again = answers(tmp_path / "two", lines, 2)
    first = killed_after(tmp_path / "three", lines[:half], 3)
    rest = answers(tmp_path / "three", lines[half:], 4)
    assert len(whole) == len(lines)
    assert again == whole
    assert first + rest == whole


def begun_again(folder: Path, t: float, clock_s: float) -> tuple[float, float]:
    """When the clock of a session of lines shows 0, and where it stands, after one that came to t = 100."""
    with Journal(folder / "j.db") as journal:
        Session(load_rig(RIG), journal, 1000.0, zero_s=1000.0).note("the newest", 1100.25)
        found = lines_begun(journal, t, clock_s)
        return found.zero_s, found.clock_s


def test_a_new_clock_begins_at_a_whole_second(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        assert lines_begun(journal, 0.0, 1234.5678).zero_s == 1234.0
        assert lines_begun(journal, None, 1234.5678).zero_s == 1234.0


def test_lines_that_go_on_after_a_kill_go_on_by_the_same_clock(tmp_path: Path) -> None:
    assert begun_again(tmp_path, 101.0, 1050.0) == (1000.0, 1100.25)


def test_lines_that_begin_anew_count_from_the_present_or_from_the_journal(tmp_path: Path) -> None:
    (tmp_path / "later").mkdir()
    assert begun_again(tmp_path, 0.0, 1050.5) == (1101.0, 1050.0)
    assert begun_again(tmp_path / "later", 0.0, 9000.5) == (9000.0, 9000.0)


def test_a_clock_that_says_the_next_day_is_believed_whatever_the_lines_say(tmp_path: Path) -> None:
    assert begun_again(tmp_path, 101.0, 90_000.5)[0] == 90_000.0
