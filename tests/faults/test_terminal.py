"""What a terminal or a pipe can do to a command: end early, or know few characters."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

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
