"""The command line as a whole: help, exit codes, what goes where."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from rounds import cli
from rounds.commands.completion import SHELLS
from rounds.errors import ExitCode
from rounds.events import Replaced
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig
from tests.commands_page import PAGE, page

ROOT = Path(__file__).parents[1]


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
    assert "rounds --help lists them" in ran.stderr
    assert "did you mean rounds tune?" in rounds("tun").stderr
    assert ran.stdout == ""


def test_help_is_grouped_and_names_examples_and_variables(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["help"]) == 0
    shown = capsys.readouterr().out
    assert [title for title, _ in cli.GROUPS if f"{title}:" in shown] == [title for title, _ in cli.GROUPS]
    assert all(f"  {name} " in shown for name in cli.COMMANDS)
    assert shown.count("  rounds ") == 2
    assert "ROUNDS_RIG" in shown
    assert "ROUNDS_HOME" in shown


def test_help_of_one_command_and_of_all(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        cli.main(["help", "replace"])
    one = capsys.readouterr().out
    assert one.startswith("usage: rounds replace")
    assert cli.main(["help", "all"]) == 0
    assert one in capsys.readouterr().out


@pytest.mark.parametrize("shell", SHELLS)
def test_completion_scripts_know_the_commands(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("shtab", reason="the extra `completion` is not installed")
    assert cli.main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(name in script for name in cli.COMMANDS)


@pytest.mark.skipif(shutil.which("bash") is None, reason="this machine has no bash")
def test_bash_takes_its_completion_script(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("shtab", reason="the extra `completion` is not installed")
    cli.main(["completion", "bash"])
    script = tmp_path / "script"
    script.write_text(capsys.readouterr().out)
    asked = "COMP_WORDS=(rounds repl); COMP_CWORD=1; _shtab_rounds; echo ${COMPREPLY[*]}"
    done = subprocess.run(
        ["bash", "-c", f"source {shlex.quote(str(script))}; {asked}"], capture_output=True, text=True
    )
    assert done.stdout.split() == ["replace"]


def test_replace_refuses_a_bottle_that_nobody_knows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal = str(tmp_path / "journal.db")
    assert cli.main(["replace", "nosuch", "--cap", "--journal", journal]) == ExitCode.USAGE
    assert "no bottle 'nosuch'" in capsys.readouterr().err
    with Journal(Path(journal), read_only=True) as kept:
        assert kept.last_id == 0


def test_replace_takes_any_capitals(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROUNDS_RIG", str(ROOT / "configs" / "one_rail.toml"))
    journal = tmp_path / "journal.db"
    bottle = load_rig(ROOT / "configs" / "one_rail.toml").bottles[0].id
    assert cli.main(["replace", bottle.lower(), "--cap", "--journal", str(journal)]) == 0
    with Journal(journal, read_only=True) as kept:
        assert [e.bottle for _, e in kept.events() if isinstance(e, Replaced)] == [bottle]


def test_an_unknown_kind_of_entry_lists_the_kinds(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        cli.main(["log", "--kind", "zzz"])
    assert "strike" in capsys.readouterr().err


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
        ["sh", "-c", line.replace("rounds", f"{shlex.quote(sys.executable)} -m rounds", 1)],
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
