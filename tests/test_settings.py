"""What a player sets once: read, checked to the end, and shown."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from rounds.air import psi_to_kpa
from rounds.cli import main
from rounds.errors import BadRig
from rounds.files.problems import Problems
from rounds.files.settings import EXAMPLE, Settings, read_settings
from rounds.rigs.rigfile import load_rig
from rounds.starting.settings import checked_settings
from rounds.tui.intents import INTENTS
from rounds.tui.keying import cap, intents_with, key_named, with_keys

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Writes the settings file of this test."""
    monkeypatch.setenv("ROUNDS_HOME", str(tmp_path))
    monkeypatch.delenv("ROUNDS_RIG", raising=False)

    def write(text: str) -> Path:
        path = tmp_path / "settings.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def problems_of(keys: dict[str, list[str]]) -> list[str]:
    problems = Problems()
    intents_with(keys, problems)
    return problems.found


class TestFile:
    def test_without_a_file_all_is_as_it_comes(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("ROUNDS_HOME", str(tmp_path))
        assert checked_settings() == Settings()

    def test_every_value_is_read(self, written: Callable[[str], Path]) -> None:
        path = written(
            'rig = "mine.toml"\ntheme = "light"\nglyphs = "plain"\nbell = false\n'
            'voice = true\nvoice_output = "phones"\n'
            'pressure = "bar"\n[keys]\nagain = "pageup"\n'
        )
        expected = Settings(
            path.parent / "mine.toml", "light", "plain", False, True, "phones", "bar", {"again": ("pageup",)}
        )
        assert checked_settings() == expected

    def test_all_problems_are_named_with_file_and_key(self, written: Callable[[str], Path]) -> None:
        path = written('theme = "lihgt"\nbell = 1\nbel = true\n[keys]\nagian = ["space"]\nskip = ["warp"]\n')
        with pytest.raises(BadRig) as caught:
            checked_settings()
        text = str(caught.value)
        assert text.startswith(f"{path}: 5 problems")
        assert "top level theme: found 'lihgt'; allowed: 'dark' or 'light' or 'plain'; did you mean" in text
        assert "top level bell: found 1; allowed: true or false" in text
        assert "top level bel: a key that means nothing here" in text
        assert "[keys] agian: no such act" in text
        assert "did you mean 'again'?" in text
        assert "[keys] skip: 'warp' is no key" in text

    @pytest.mark.parametrize(
        "text",
        ["keys = 3\n", "[keys]\nskip = 3\n", "[keys]\nskip = [3]\n", "theme = 3\n", "[[rig]]\n", "x\n"],
    )
    def test_what_cannot_be_used_is_a_sentence_and_exit_code_2(
        self, text: str, written: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
    ) -> None:
        path = written(text)
        assert main(["settings"]) == 2
        assert capsys.readouterr().err.startswith(f"rounds: {path}: 1 problem")

    def test_the_example_sets_nothing_and_its_lines_may_all_be_set(
        self, written: Callable[[str], Path]
    ) -> None:
        written(EXAMPLE)
        assert checked_settings() == Settings()
        lines = [line.removeprefix("# ") if " = " in line else line for line in EXAMPLE.splitlines()]
        written("\n".join(lines))
        assert checked_settings().keys == {"offer": ("enter", "pagedown"), "again": ("space", "pageup")}

    def test_the_rig_that_is_set_is_the_rig_of_a_command(
        self, written: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
    ) -> None:
        written('rig = "nosuch.toml"\n')
        assert main(["pieces"]) == 2
        assert "nosuch.toml: 1 problem" in capsys.readouterr().err

    def test_the_unit_of_pressure_is_that_of_pumps_that_name_none(self, tmp_path: Path) -> None:
        rig = tmp_path / "rig.toml"
        rig.write_text(
            '[[pump]]\nid = "a"\nbarrel_ml = 80\n[[pump]]\nid = "b"\nbarrel_ml = 80\ngauge_unit = "kPa"\n'
            '[[bottle]]\nid = "C4"\nnote = "C4"\nvolume_ml = 1000\nrail = 1\npump = "a"\n'
        )
        assert [p.gauge_unit for p in load_rig(rig, "bar").pumps] == ["bar", "kPa"]
        assert load_rig(rig, "bar").pumps[0].max_gauge_kpa == load_rig(rig).pumps[0].max_gauge_kpa
        assert load_rig(rig).bottles[0].ceiling_kpa <= psi_to_kpa(300.0)


class TestCommand:
    def test_it_says_where_and_what(
        self, written: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
    ) -> None:
        path = written('theme = "light"\n[keys]\nagain = ["Page Up"]\n')
        assert main(["settings"]) == 0
        said = capsys.readouterr().out
        assert f"Settings: {path}\n" in said
        assert 'theme        "light"' in said
        assert 'again        ["pageup"]' in said
        assert main(["settings", "--json"]) == 0
        document = json.loads(capsys.readouterr().out)
        assert (document["file"], document["theme"]) == (str(path), "light")
        assert set(document["keys"]) == {i.name for i in INTENTS}


class TestKeys:
    def test_keys_as_they_come_have_no_problem(self) -> None:
        assert problems_of({}) == []

    @pytest.mark.parametrize(
        ("spelled", "key"),
        [
            ("PageDown", "pagedown"),
            ("page down", "pagedown"),
            ("PgDn", "pagedown"),
            ("?", "question_mark"),
            ("+", "plus"),
            ("Esc", "escape"),
            ("return", "enter"),
            ("Ctrl-A", "ctrl+a"),
            ("ctrl+m", "enter"),
            (" ", "space"),
            ("F5", "f5"),
            ("ä", "ä"),
            ("tab", None),
            ("ctrl+i", None),
            ("warp", None),
            ("", None),
            ("\x07", None),
        ],
    )
    def test_how_a_key_may_be_written(self, spelled: str, key: str | None) -> None:
        found = key_named(spelled)
        assert found == key or (key == "ä" and found is not None)

    def test_a_key_that_is_taken_is_named_with_both_acts(self) -> None:
        (said,) = problems_of({"offer": ["s"]})
        assert said.startswith("[keys] skip: s is the key of offer already")

    def test_a_key_that_was_given_up_is_free(self) -> None:
        assert problems_of({"offer": ["s"], "skip": ["f9"]}) == []
        assert problems_of({"offer": ["s"], "skip": []}) == []

    def test_the_ways_out_stay(self) -> None:
        assert "? is the key of help already" in problems_of({"offer": ["?"]})[0]
        quits = next(i for i in intents_with({"quit": ["f10"]}, Problems()) if i.name == "quit")
        assert quits.keys == "f10,q,ctrl+c"

    def test_keys_are_printed_as_on_the_keyboard(self) -> None:
        printed = [cap(k) for k in ("pagedown", "question_mark", "ctrl+a", "f5", "x", "up", "enter")]
        assert printed == ["PgDn", "?", "^a", "F5", "x", "↑", "Enter"]

    def test_a_sentence_names_the_keys_that_are_set(self) -> None:
        mine = intents_with({"undo": ["pageup", "u"]}, Problems())
        assert with_keys("{undo} takes {this} back", mine) == "PgUp/u takes {this} back"


def test_keys_are_only_checked_where_some_are_set(tmp_path: Path) -> None:
    problems = Problems()
    assert read_settings(tmp_path / "none.toml", problems) == Settings()
    assert problems.found == []
