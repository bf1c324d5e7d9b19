"""The command line as a whole: help, exit codes, what goes where."""

from __future__ import annotations

import subprocess
import sys

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
