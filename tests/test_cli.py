"""The command line as a whole: help, exit codes, what goes where."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from rounds import cli
from rounds.errors import ExitCode
from tests.commands_page import PAGE, page


def rounds(*words: str, text_in: str = "") -> subprocess.CompletedProcess[str]:
    """Run the command as a player would."""
    return subprocess.run(
        [sys.executable, "-m", "rounds", *words],
        input=text_in,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_the_page_of_commands_is_what_the_command_line_says() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python -m tests.commands_page"


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_has_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        cli.main([name, "--help"])
    assert left.value.code == 0
    assert f"rounds {name}" in capsys.readouterr().out


def test_an_unknown_command_is_a_usage_error_and_says_what_there_is() -> None:
    ran = rounds("strum")
    assert ran.returncode == ExitCode.USAGE
    assert "demo" in ran.stderr
    assert ran.stdout == ""


def test_a_missing_rig_is_one_sentence_and_exit_code_2() -> None:
    ran = rounds("tune", "--rig", "no_such_rig.toml", "--lines")
    assert ran.returncode == ExitCode.USAGE
    assert "no_such_rig.toml" in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize("minutes", ["0", "-3", "1e9", "nan"])
def test_a_demo_of_impossible_length_is_refused(minutes: str) -> None:
    ran = rounds("demo", "--auto", "--minutes", minutes)
    assert ran.returncode == ExitCode.USAGE
    assert "minutes" in ran.stderr


def through_the_shell(line: str, home: Path) -> subprocess.CompletedProcess[str]:
    """Run `rounds` in a POSIX shell, which can close a stream or send it to a full device."""
    return subprocess.run(
        ["sh", "-c", line.replace("rounds", f"{sys.executable} -m rounds", 1)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={**os.environ, "ROUNDS_HOME": str(home)},
    )


on_posix = pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full: not Linux")


@on_posix
@pytest.mark.parametrize("words", ["range C3-G6 --json", "range C3-G6", "pieces --rig configs/one_rail.toml"])
def test_a_full_disk_under_the_output_is_one_sentence(words: str, tmp_path: Path) -> None:
    ran = through_the_shell(f"rounds {words} > /dev/full", tmp_path)
    assert ran.returncode == ExitCode.FAILED
    assert ran.stderr.splitlines()[-1].startswith("rounds: the output cannot be written: No space left")
    assert "Traceback" not in ran.stderr


@on_posix
@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("rounds range C3-G6 >&-", ExitCode.FINE),
        ("rounds tune --rig configs/one_rail.toml --lines <&-", ExitCode.FINE),
        ("rounds plan --visits - <&-", ExitCode.USAGE),
        ("rounds range C3-G6 <&- >&- 2>&-", ExitCode.FINE),
        ("rounds strum 2>/dev/full", ExitCode.USAGE),
        ("rounds tune --rig no_such_rig.toml --lines 2>/dev/full", ExitCode.USAGE),
    ],
)
def test_a_stream_that_is_closed_or_full_is_no_fault(line: str, code: int, tmp_path: Path) -> None:
    ran = through_the_shell(line, tmp_path)
    assert ran.returncode == code
    assert "Traceback" not in ran.stderr


def test_the_screens_are_not_opened_where_nobody_sees_them() -> None:
    ran = rounds("tune", "--rig", "configs/one_rail.toml")
    assert ran.returncode == ExitCode.USAGE
    assert (
        ran.stderr == "rounds: the screens need a terminal; use --plain for sentences or --lines for JSON\n"
    )
    assert ran.stdout == ""


@pytest.mark.skipif(os.name != "posix", reason="a pseudo-terminal needs POSIX")
@pytest.mark.parametrize("term", ["dumb", "", "xterm"])
def test_the_screens_are_not_opened_on_a_dumb_terminal_or_into_a_pipe(term: str) -> None:
    import pty

    keys, terminal = pty.openpty()
    out = subprocess.PIPE if term == "xterm" else terminal
    ran = subprocess.run(
        [sys.executable, "-m", "rounds", "tune", "--rig", "configs/one_rail.toml"],
        stdin=terminal,
        stdout=out,
        stderr=terminal,
        env={**os.environ, "TERM": term},
        timeout=60,
        check=False,
    )
    os.close(terminal)
    said = os.read(keys, 10_000).decode()
    os.close(keys)
    assert ran.returncode == ExitCode.USAGE
    assert "need a terminal" in said
    assert "\x1b" not in said


def test_a_rig_that_is_not_named_can_be_named_for_good(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("ROUNDS_RIG", raising=False)
    assert cli.main(["due"]) == ExitCode.USAGE
    assert "export ROUNDS_RIG=FILE" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["demo", "--minutes", "x"], "'x' is not a number of minutes"),
        (["tune", "--rig", "r", "--block", "soon"], "'soon' is not a number of minutes"),
        (["tune", "--rig", "r", "--temp", "warm"], "'warm' is not a number of degrees"),
        (["check", "--seconds", "nan"], "'nan' is not a number of seconds"),
    ],
)
def test_a_number_that_is_none_is_refused_in_plain_words(
    argv: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        cli.main(argv)
    told = capsys.readouterr().err
    assert said in told
    assert "float" not in told
