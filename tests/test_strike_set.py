"""A set of strikes that can be given away: sound as it came, and a table that says what each is."""

from __future__ import annotations

import csv
import json
import wave
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from rounds import cli
from rounds.errors import BadInput
from rounds.hearing.reading import Reading
from rounds.hearing.strike_set import COLUMNS, TABLE, Told, add
from tests.audio import write_wav
from tests.test_soundcheck import RATE_HZ, strikes_of

if TYPE_CHECKING:
    from pathlib import Path

AT_S = 1_780_236_000.0
SOUND = np.linspace(-1.0, 1.0, 4801, dtype=np.float32)
READINGS = [Reading(440.0, 1.0), Reading(442.0, 2.0), Reading(None, None, "unclear")]


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / TABLE).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_sound_comes_back_to_24_bits_and_the_table_says_what_it_is(tmp_path: Path) -> None:
    told = Told("C4", "C4", 1250.0, "tall, clear", 241.3, 20.5, "a microphone")
    path = add(tmp_path / "set", told, SOUND, 48_000, READINGS, AT_S)
    assert path.name == "C4_35psi_20260531T140000Z.wav"
    read, rate_hz = soundfile.read(path)
    assert rate_hz == 48_000
    np.testing.assert_allclose(read, SOUND, atol=2.0**-23)
    (row,) = rows_of(path.parent)
    assert tuple(row) == COLUMNS
    assert (row["gauge_psi"], row["temp_c"], row["make"]) == ("35", "20.5", "tall, clear")
    assert (row["strikes"], row["clear"], row["hz"], row["u95_cents"]) == ("3", "2", "441", "1.5")


def test_a_second_one_is_a_second_line_and_what_is_not_known_stays_empty(tmp_path: Path) -> None:
    add(tmp_path, Told("C4"), SOUND, 48_000, READINGS, AT_S)
    add(tmp_path, Told("=cmd"), SOUND, 48_000, READINGS, AT_S + 5.0)
    first, second = rows_of(tmp_path)
    assert (first["gauge_psi"], first["temp_c"]) == ("", "")
    assert second["bottle"] == "'=cmd"


def test_another_table_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / TABLE).write_text("mine\n1\n", encoding="utf-8")
    with pytest.raises(BadInput, match="no table of strikes"):
        add(tmp_path, Told("C4"), SOUND, 48_000, READINGS, AT_S)
    assert [p.name for p in tmp_path.iterdir()] == [TABLE]


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    return write_wav(tmp_path / "three.wav", strikes_of(drr_db=30.0), RATE_HZ)


def test_the_command(tmp_path: Path, recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "set"
    asked: tuple[str, ...] = (
        "check",
        "--from",
        str(recording),
        "--keep",
        str(folder),
        "--bottle",
        "a4",
        "--gauge",
        "2.4 bar",
    )
    asked += ("--temp", "21", "--make", "tall", "--rig", "configs/one_rail.toml")
    assert cli.main((*asked, "--json")) == 0
    document = json.loads(capsys.readouterr().out)
    (row,) = rows_of(folder)
    assert document["kept"] == str(folder / row["file"])
    assert (row["bottle"], row["note"], row["volume_ml"], row["gauge_psi"]) == ("A4", "A4", "1250", "34.8")
    with wave.open(document["kept"]) as kept, wave.open(str(recording)) as before:
        assert (kept.getnframes(), kept.getframerate()) == (before.getnframes(), before.getframerate())


@pytest.mark.parametrize(
    ("left_out", "words"),
    [
        ("--bottle", "--keep needs --bottle"),
        ("--gauge", "--keep needs --gauge"),
        ("--temp", "--keep needs --temp"),
    ],
)
def test_what_a_stranger_would_miss_is_asked_for(
    tmp_path: Path, recording: Path, capsys: pytest.CaptureFixture[str], left_out: str, words: str
) -> None:
    said = {"--bottle": "A4", "--gauge": "none", "--temp": "none"}
    given = [part for name, value in said.items() if name != left_out for part in (name, value)]
    assert cli.main(("check", "--from", str(recording), "--keep", str(tmp_path / "set"), *given)) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "set").exists()


def test_where_nothing_was_clear_nothing_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    silent = write_wav(tmp_path / "silent.wav", np.zeros(RATE_HZ), RATE_HZ)
    said = ("--bottle", "A4", "--gauge", "none", "--temp", "none")
    assert cli.main(("check", "--from", str(silent), "--keep", str(tmp_path / "set"), *said)) == 1
    assert "no strike was clear" in capsys.readouterr().err
    assert not (tmp_path / "set").exists()
