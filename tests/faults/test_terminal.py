"""What a terminal or a pipe can do to a command: end early, or know few characters."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from rounds.events import NoteWritten
from rounds.journal import Journal

if TYPE_CHECKING:
    from pathlib import Path


def rounds(path: Path, *argv: str, **more: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "rounds", "log", "--journal", str(path), *argv]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, stdout=pipe, stderr=pipe, env={**os.environ, **more})


def filled(path: Path, text: str) -> None:
    with Journal(path) as journal:
        journal.append_many(NoteWritten(at_s=float(n), text=text) for n in range(3000))


def test_a_pipe_that_closes_early_is_no_error(tmp_path: Path) -> None:
    filled(tmp_path / "j.db", "x" * 100)
    for form in ("--all", "--last=1"):
        process = rounds(tmp_path / "j.db", form, "--json")
        assert process.stdout is not None
        assert process.stderr is not None
        if form == "--all":
            process.stdout.read(10)
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(30) == 0


def test_a_terminal_that_knows_few_characters(tmp_path: Path) -> None:
    filled(tmp_path / "j.db", "Straße 😀")
    process = rounds(tmp_path / "j.db", "--last=2", PYTHONIOENCODING="ascii")
    out, err = process.communicate(timeout=30)
    assert (process.returncode, err) == (0, b"")
    assert b"note: Stra\\xdfe \\U0001f600" in out


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals of this kind")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_leaves_the_terminal_as_it_was(tmp_path: Path, number: signal.Signals) -> None:
    """xterm's control sequences: ?1049 is the alternate screen, ?1000 reports the mouse (h on, l off)."""
    said, process = _on_a_terminal(tmp_path, "demo", "--seed", "1")
    seen = _read_until(said, b"\x1b[?1049h")
    process.send_signal(number)
    seen += _read_until(said, None)
    assert process.wait(30) == 128 + number
    assert seen.rfind(b"\x1b[?1049l") > seen.rfind(b"\x1b[?1049h")
    assert seen.rfind(b"\x1b[?1000l") > seen.rfind(b"\x1b[?1000h")


def _on_a_terminal(home: Path, *words: str) -> tuple[int, subprocess.Popen[bytes]]:
    """A command on a pseudo-terminal of 80 by 24; what it prints is read from the descriptor."""
    import fcntl
    import pty
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    env = {**os.environ, "ROUNDS_HOME": str(home), "TERM": "xterm-256color"}
    command = [sys.executable, "-m", "rounds", *words]

    def usual_signals() -> None:  # under nohup a hang-up would be ignored by what we start
        signal.signal(signal.SIGHUP, signal.SIG_DFL)

    process = subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, env=env, preexec_fn=usual_signals
    )
    os.close(theirs)
    return ours, process


def _read_until(said: int, wanted: bytes | None) -> bytes:
    """What a terminal prints until some bytes come and it then rests, or until it is closed."""
    seen, until_s = b"", time.monotonic() + 40.0
    while time.monotonic() < until_s:
        ready, _, _ = select.select([said], [], [], 1.0)
        if not ready and wanted is not None and wanted in seen:
            return seen
        try:
            part = os.read(said, 65536) if ready else b""
        except OSError:
            return seen
        if ready and not part:
            return seen
        seen += part
        if wanted is not None and wanted in seen and len(seen) > 20_000:
            return seen
    raise AssertionError(f"the terminal never showed {wanted!r}")
