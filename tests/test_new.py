"""`rounds new`: from options, from answers on a terminal, and never over an existing file."""

from __future__ import annotations

import argparse
import io
import sys
from typing import TYPE_CHECKING

import pytest

from rounds.commands import new
from rounds.errors import BadInput, BadRig, RoundsError
from rounds.rigs.rigfile import load_rig

if TYPE_CHECKING:
    from pathlib import Path


def run(path: Path, *options: str) -> int:
    """Run the command as the command line would."""
    parser = argparse.ArgumentParser()
    new.register(parser.add_subparsers())
    args = parser.parse_args(["new", str(path), *options])
    return int(args.run(args))


class Terminal(io.StringIO):
    """A stdin that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def _no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO())


def answer(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    """Type these lines."""
    monkeypatch.setattr(sys, "stdin", Terminal("".join(f"{line}\n" for line in lines)))


def test_defaults_make_a_small_rig(tmp_path: Path) -> None:
    path = tmp_path / "porch.toml"
    assert run(path) == 0
    rig = load_rig(path)
    assert rig.name == "porch"
    notes = "C4 D4 E4 F4 G4 A4 B4 C5 D5 E5 F5 G5 A5"
    assert " ".join(b.note.name for b in rig.by_pitch) == notes
    assert {b.volume_ml for b in rig.bottles} == {1250.0}


def test_options_say_everything(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    options = (
        "--range",
        "Bb3-G6",
        "--scale",
        "chromatic",
        "--volumes",
        "2000, 1000, 500",
        "--pumps",
        "180,80",
    )
    assert run(path, *options, "--reference", "442", "--name", "Big one") == 0
    rig = load_rig(path)
    assert (rig.name, rig.reference.a4_hz, len(rig.bottles)) == ("Big one", 442.0, 34)
    assert rig.bottle("A#3").volume_ml == 2000.0
    assert rig.bottle("G6").volume_ml == 500.0
    assert rig.pump_of("A#3").barrel_ml == 80.0  # the small pump for the bass
    assert rig.pump_of("C4").barrel_ml == 180.0
    assert len({b.rail for b in rig.bottles}) == 3
    assert path.read_text(encoding="utf-8").startswith("# A rig made by `rounds new`")


def test_answers_on_a_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "rig.toml"
    answer(monkeypatch, "c3", "c3 to c4", "Yard", "", "2000", "100", "")
    assert run(path) == 0
    rig = load_rig(path)
    assert (rig.name, rig.by_pitch[0].id, rig.by_pitch[-1].id) == ("Yard", "C3", "C4")
    assert rig.pumps[0].barrel_ml == 100.0
    told = capsys.readouterr()
    assert told.out == ""
    assert "is not a range" in told.err


def test_given_options_are_not_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answer(monkeypatch, "", "", "", "")
    options = ("--range", "C4-C5", "--name", "A")
    assert run(tmp_path / "rig.toml", *options) == 0


def test_yes_asks_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answer(monkeypatch)
    assert run(tmp_path / "rig.toml", "--yes") == 0


@pytest.mark.parametrize("lines", [(), ("C4-C5",), ("x",) * 9])
def test_a_broken_off_dialogue_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: tuple[str, ...]
) -> None:
    answer(monkeypatch, *lines)
    with pytest.raises(BadInput):
        run(tmp_path / "rig.toml")
    assert not list(tmp_path.iterdir())


def test_an_existing_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(RoundsError, match="--force"):
        run(path)
    assert path.read_text(encoding="utf-8") == "mine"
    assert run(path, "--force") == 0
    assert load_rig(path).bottles


@pytest.mark.parametrize(
    "options",
    [
        ("--range", "C4"),
        ("--range", "A5-C4"),
        ("--range", "C0-C9"),
        ("--range", "C#4-C#4"),
        ("--range", "H4-C5"),
        ("--volumes", "3"),
        ("--volumes", "1000,2000"),
        ("--volumes", "nan"),
        ("--pumps", "inf"),
        ("--pumps", ""),
        ("--reference", "1e999"),
        ("--name", "a\x1b[2J"),
    ],
)
def test_bad_options_are_one_sentence(tmp_path: Path, options: tuple[str, ...]) -> None:
    with pytest.raises(BadInput) as caught:
        run(tmp_path / "rig.toml", *options)
    assert not isinstance(caught.value, BadRig)
    assert str(caught.value).isprintable()
    assert not list(tmp_path.iterdir())
