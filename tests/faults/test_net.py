"""An error that nobody foresaw, caused in each face and in a thread: one sentence, exit 1, nothing lost."""

from __future__ import annotations

import contextlib
import os
import select
import stat
import subprocess
import sys
import threading
import time
from typing import TYPE_CHECKING

import pytest

from rounds import cli
from rounds.errors import ExitCode
from rounds.events import Strike
from rounds.files import faultlog
from rounds.journal import Journal
from rounds.journal.care import check
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session

if TYPE_CHECKING:
    from pathlib import Path

RIG = "configs/one_rail.toml"
CODE = """
import sys
from rounds.{module} import {name} as broken
was, calls = broken.{method}, 0
def {method}(self, *args, **kwargs):
    global calls
    calls += 1
    if calls > {good}:
        raise KeyError("a slip of ours\\x1b[31m")
    return was(self, *args, **kwargs)
broken.{method} = {method}
from rounds.cli import main
sys.exit(main(sys.argv[1:]))
"""


def ran(code: str, home: Path, *argv: str, given: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *argv],
        input=given,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**os.environ, "ROUNDS_HOME": str(home)},
    )


def held(home: Path, said: str) -> None:
    """One sentence without a control character, and the traceback in a file that nobody else reads."""
    assert said.count("\n") == 1
    assert said.startswith(f"rounds: {faultlog.SHOULD_NOT_HAPPEN} (KeyError: ")
    assert "nothing in the journal is lost" in said
    assert "\x1b" not in said
    log = home / faultlog.LOG_NAME
    assert str(log) in said
    assert "Traceback (most recent call last)" in log.read_text()
    assert stat.S_IMODE(log.stat().st_mode) == 0o600


def test_lines_end_with_a_sentence_and_the_journal_goes_on(tmp_path: Path) -> None:
    rig = load_rig(RIG)
    first = rig.bottles[0]
    code = CODE.format(module="sessions.session", name="Session", method="strike", good=1)
    strike = '{{"t": {}, "strike": {{"hz": {}, "u95_cents": 1}}}}\n'
    given = '{"t": 0, "open": {}}\n' + "".join(strike.format(t, rig.target_hz(first.id)) for t in (3, 6, 9))
    found = ran(code, tmp_path, "tune", "--rig", RIG, "--lines", given=given)
    assert found.returncode == ExitCode.FAILED
    assert len(found.stdout.splitlines()) == 2
    held(tmp_path, found.stderr)
    path = tmp_path / "journal.db"
    assert check(path).problems == ()
    with Journal(path) as journal:
        assert sum(isinstance(e, Strike) for _, e in journal.events()) == 1
        assert Session(rig, journal, time.time()).round is not None


def test_sentences_end_the_same_way(tmp_path: Path) -> None:
    (tmp_path / "cautions-read").touch()
    code = CODE.format(module="sessions.session", name="Session", method="temperature", good=0)
    found = ran(code, tmp_path, "tune", "--rig", RIG, "--plain", given="status\ntemp 20\nstatus\n")
    assert found.returncode == ExitCode.FAILED
    held(tmp_path, found.stderr)


def test_a_command_ends_the_same_way(tmp_path: Path) -> None:
    code = CODE.format(module="report.logbook", name="Filter", method="newest", good=0)
    with Journal(tmp_path / "journal.db"):
        pass
    found = ran(code, tmp_path, "log")
    assert found.returncode == ExitCode.FAILED
    held(tmp_path, found.stderr)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="a pseudo-terminal needs POSIX")
def test_the_screens_end_the_same_way_and_leave_the_terminal_as_it_was(tmp_path: Path) -> None:
    import pty

    keys, terminal = pty.openpty()
    code = CODE.format(module="faces.viewing", name="Viewer", method="view", good=4)
    (tmp_path / "cautions-read").touch()
    process = subprocess.Popen(
        [sys.executable, "-c", code, "tune", "--rig", RIG],
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        env={**os.environ, "ROUNDS_HOME": str(tmp_path), "TERM": "xterm-256color"},
    )
    os.close(terminal)
    said = _all_said(keys)
    assert process.wait(30) == ExitCode.FAILED
    assert "Traceback" not in said
    assert "\x1b[?1049l" in said
    after = said.rpartition("rounds: ")[1:]
    held(tmp_path, "".join(after).replace("\r\n", "\n"))


def _all_said(keys: int, most_s: float = 60.0) -> str:
    said, until_s = b"", time.monotonic() + most_s
    with contextlib.suppress(OSError):  # Linux: the other end is closed
        while time.monotonic() < until_s:
            if select.select([keys], [], [], 0.5)[0]:
                said += os.read(keys, 65536)
    os.close(keys)
    return said.decode(errors="replace")


@pytest.mark.usefixtures("the_net")
def test_a_thread_that_fails_leaves_the_screen_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("ROUNDS_HOME", str(tmp_path))
    faultlog.keep_those_of_threads()
    thread = threading.Thread(target={"here": 1}.__getitem__, args=("missing",))
    thread.start()
    thread.join()
    assert capsys.readouterr().err == ""
    assert "missing" in (tmp_path / faultlog.LOG_NAME).read_text()


@pytest.mark.usefixtures("the_net")
def test_where_no_log_can_be_written_the_sentence_comes_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("ROUNDS_HOME", str(tmp_path / "file" / "below"))
    said = faultlog.sentence(ValueError("odd"))
    assert said == f"{faultlog.SHOULD_NOT_HAPPEN} (ValueError: odd): nothing in the journal is lost"


def test_a_log_that_has_grown_long_is_begun_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROUNDS_HOME", str(tmp_path))
    monkeypatch.setattr(faultlog, "MOST_BYTES", 500)
    for number in range(20):
        faultlog.kept(ValueError(f"slip {number}"))
    text = (tmp_path / faultlog.LOG_NAME).read_text()
    assert "slip 19" in text
    assert len(text) < 1500


@pytest.mark.usefixtures("the_net")
def test_in_this_process_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROUNDS_HOME", str(tmp_path))

    def slip(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("rounds.commands.journal.run_check", slip)
    monkeypatch.setattr("rounds.journal.care.check", slip)
    assert cli.main(["journal", "check"]) == ExitCode.FAILED


def test_bytes_that_are_no_text_are_refused_in_their_line(tmp_path: Path) -> None:
    process = subprocess.run(
        [sys.executable, "-m", "rounds", "tune", "--rig", RIG, "--lines"],
        input=b'\xff\xfe\n{"tick": true}\n',
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, "ROUNDS_HOME": str(tmp_path), "PYTHONUTF8": "1"},
    )
    first, second = process.stdout.decode().splitlines()
    assert (process.returncode, process.stderr) == (0, b"")
    assert "not a JSON object" in first
    assert '"error": null' in second
