"""The thermometer of a rig: a file or a command, and that no command runs which was not allowed."""

from __future__ import annotations

import argparse
import io
import os
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from rounds.cli import main
from rounds.errors import BadInput, RoundsError
from rounds.journal import Journal
from rounds.rig import Habits
from rounds.rigs import allowing, thermometer
from rounds.rigs.rigfile import load_rig
from rounds.starting import options, start

if TYPE_CHECKING:
    from collections.abc import Callable

RIG_FILE = Path(__file__).parent.parent / "configs" / "one_rail.toml"


@pytest.mark.parametrize(
    ("text", "temp_c"),
    [("21.5", 21.5), ("2026-05-31 12:00 19,25 °C\n", 19.25), ("21500\n", 21.5), ("t=-3.0", -3.0)],
)
def test_the_last_number_is_the_temperature(text: str, temp_c: float) -> None:
    assert thermometer.temperature_in(text, "x") == pytest.approx(temp_c)


@pytest.mark.parametrize("text", ["", "no number", "451", "nan"])
def test_no_temperature_is_an_error_and_never_a_number(text: str) -> None:
    with pytest.raises(BadInput):
        thermometer.temperature_in(text, "x")


def test_a_thermometer_file_is_read_while_it_is_fresh(tmp_path: Path) -> None:
    path = tmp_path / "air.txt"
    path.write_text("20.0\n21.25\n")
    habits = Habits(thermometer_file=str(path))
    written_s = path.stat().st_mtime
    assert thermometer.read_thermometer(habits, written_s + 10.0) == 21.25
    with pytest.raises(RoundsError, match="20 min ago"):
        thermometer.read_thermometer(habits, written_s + 1200.0)
    with pytest.raises(BadInput, match="cannot be read"):
        thermometer.read_thermometer(Habits(thermometer_file=str(tmp_path / "none")), 0.0)
    assert thermometer.read_thermometer(Habits(), 0.0) is None


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ROUNDS_HOME", str(tmp_path / "home"))
    return tmp_path


def printed(command: str) -> float | None:
    """What a command says that the user has allowed."""
    allowing.allow(command)
    return thermometer.read_thermometer(Habits(thermometer_command=command), 0.0)


@pytest.mark.usefixtures("home")
def test_a_thermometer_command_is_run_without_a_shell() -> None:
    assert printed("echo 'air; 18.5'") == 18.5
    for command in ("false", "no-such-program-here", "'"):
        with pytest.raises(RoundsError):
            printed(command)


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("command", "words"),
    [("yes 22", "prints more"), ("sleep 60", "no answer"), ("sh -c 'sleep 60 & echo 20'", "no answer")],
)
def test_a_command_without_end_is_ended(command: str, words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(thermometer, "COMMAND_TIMEOUT_S", 0.5)
    with pytest.raises(RoundsError, match=words):
        printed(command)


@pytest.mark.parametrize("name", ["~nobody-of-that-name/air.txt", "a\0b"])
def test_a_thermometer_file_that_cannot_be_is_a_sentence(name: str) -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        thermometer.read_thermometer(Habits(thermometer_file=name), 0.0)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are POSIX")
def test_a_named_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(BadInput, match="is not a file"):
        thermometer.read_thermometer(Habits(thermometer_file=str(tmp_path / "pipe")), 0.0)


# -- a command of a rig file is run only when it was allowed ----------------------------------------------


def test_a_command_that_was_not_allowed_is_not_run(home: Path) -> None:
    command = f"touch {home / 'ran'}"
    with pytest.raises(BadInput, match="it was not run, --allow-command allows it"):
        thermometer.read_thermometer(Habits(thermometer_command=command), 0.0)
    assert not (home / "ran").exists()


def test_the_answer_is_remembered_for_this_very_command(home: Path) -> None:
    asked: list[str] = []

    def answer(word: str) -> Callable[[str], str]:
        def answered(question: str) -> str:
            asked.append(question)
            return word

        return answered

    assert not allowing.asked_about("echo 20", answer("y\n"))
    assert allowing.asked_about("echo 20", answer(" Yes\n"))
    assert allowing.asked_about("echo 20", answer("no"))
    assert not allowing.asked_about("echo 20; rm x", answer("no"))
    assert [("echo 20" in question) for question in asked] == [True, True, True]
    kept = home / "home" / allowing.ALLOWED
    assert "echo" not in kept.read_text()
    if os.name == "posix":
        assert kept.stat().st_mode & 0o077 == 0


def test_a_command_of_the_rig_is_run_by_no_command_unasked(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rig = home / "rig.toml"
    told = RIG_FILE.read_text().replace("[rig]", f'[rig]\nthermometer_command = "touch {home / "ran"}"', 1)
    rig.write_text(told)
    Journal(home / "j.db").close()
    common_words = ["--rig", str(rig), "--journal", str(home / "j.db")]
    for words in (["forecast"], ["due"], ["plan"]):
        main([*words, *common_words])
        assert "--allow-command" in capsys.readouterr().err
        assert not (home / "ran").exists()
    main(["forecast", *common_words, "--allow-command"])
    assert (home / "ran").exists()
    assert "shows no number" in capsys.readouterr().err


@pytest.mark.parametrize(("typed", "watched"), [("yes\n", True), ("no\n", False), ("", False)])
def test_tune_asks_before_the_first_run_and_goes_on_without(
    home: Path, typed: str, watched: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Keyboard(io.StringIO):
        def isatty(self) -> bool:
            return True

    rig = replace(load_rig(RIG_FILE), habits=Habits(thermometer_command="echo 20"))
    args = argparse.Namespace(allow_command=False)
    monkeypatch.setattr(sys, "stdin", Keyboard(typed))
    assert start.may_watch(args, rig) is watched
    said = capsys.readouterr().err
    assert "echo 20" in said
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert start.may_watch(args, rig) is watched, "nobody is there to be asked now"
    assert ("was not run" in capsys.readouterr().err) is not watched
    assert start.may_watch(argparse.Namespace(allow_command=True), rig)


LONG = "env " + " ".join(f"SETTING_{n}=a-long-value-{n}" for n in range(60)) + " -u HOME /opt/evil --now"


@pytest.mark.usefixtures("home")
def test_the_program_is_shown_first_and_the_line_whole() -> None:
    asked: list[str] = []

    def no(question: str) -> str:
        asked.append(question)
        return "no"

    assert not allowing.asked_about(LONG, no)
    for told in (asked[0], allowing.refusal(LONG)):
        assert "program: env, which starts /opt/evil\n" in told
        assert LONG in told
        assert "…" not in told
    assert "program: sh\n" in allowing.refusal("sh -c 'env A=1 x'")
    assert "starts rm\n" in allowing.refusal("env -S 'A=1 rm -r x'")
    assert "program: none" in allowing.refusal("'open")


@pytest.mark.usefixtures("home")
def test_what_the_option_allows_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    rig = load_rig("configs/one_rail.toml")
    rig = replace(rig, habits=replace(rig.habits, thermometer_command=LONG))
    for words in (LONG, ""):
        options.allow_command(argparse.Namespace(allow_command=True), rig)
        assert words in capsys.readouterr().err
    assert allowing.is_allowed(LONG)
