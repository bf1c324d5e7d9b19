"""`rounds plan` and `rounds pieces`, as a script calls them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rounds.cli import main

CONFIGS = Path(__file__).parent.parent / "configs"
KEYS = {"order", "left_out", "late_weight", "connections", "pump_changes", "finish_before_downbeat_s"}


def document(**changes: Any) -> dict[str, Any]:
    visit = {"pump": "A", "work_s": 20, "keep_s": 0, "rail": 1, "position_m": 0.1, "weight": 1}
    whole = {
        "visits": [
            {"id": "a", "hold_s": 900, **visit},
            {"id": "b", "hold_s": 45, **visit},
            {"id": "c", "hold_s": 10, **visit},
        ],
        "setup_s": {"A": 10},
        "mounted": None,
        "available_s": None,
        "quarantine_s": 20,
    }
    return whole | changes


def plan(tmp_path: Path, text: str, *options: str) -> int:
    file = tmp_path / "visits.json"
    file.write_text(text, encoding="utf-8")
    return main(["plan", "--visits", str(file), *options])


def test_the_document_is_that_of_the_contract(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert plan(tmp_path, json.dumps(document()), "--json") == 0
    told = capsys.readouterr()
    found = json.loads(told.out)
    assert set(found) == KEYS
    assert found["order"] == ["a", "b"]
    assert found["left_out"] == ["c"]
    assert (found["late_weight"], found["connections"], found["pump_changes"]) == (1.0, 2, 1)
    assert found["finish_before_downbeat_s"] == 20.0
    assert told.err == ""


def test_a_pump_without_a_set_up_time_is_talked_of_on_stderr(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert plan(tmp_path, json.dumps(document(setup_s={})), "--json") == 0
    told = capsys.readouterr()
    assert json.loads(told.out)["order"] == ["a", "b"]
    assert "does not name pump A" in told.err


def test_every_problem_of_a_file_is_told_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = document(quarantine_s=-1, setup_s={"A": "ten"})
    broken["visits"][0]["work_s"] = -3
    broken["visits"][1]["id"] = "a"
    del broken["visits"][2]["hold_s"]
    assert plan(tmp_path, json.dumps(broken), "--json") == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "5 problems" in told.err
    for part in ("visit 1 work_s", "visit 2 id", "visit 3 hold_s", "setup_s 'A'", "quarantine_s"):
        assert part in told.err


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"visits": 3}', "null", '{"visits":[{"id":NaN}]}', "\ufeff{}"]
)
def test_what_is_no_problem_of_order_is_refused(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert plan(tmp_path, text) == 2
    assert capsys.readouterr().err.startswith("rounds: ")


def test_no_visits_is_a_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert plan(tmp_path, json.dumps(document(visits=[])), "--json") == 0
    assert json.loads(capsys.readouterr().out)["order"] == []


def test_a_missing_file_and_both_or_no_sources(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--visits", "nowhere.json"]) == 2
    assert main(["plan"]) == 2
    assert main(["plan", "--visits", "x", "--rig", "y"]) == 2
    assert capsys.readouterr().out == ""


def test_pieces_show_bottles_and_what_the_rig_lacks(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["pieces", "--rig", str(CONFIGS / "one_rail.toml"), "--json"]) == 0
    pieces = json.loads(capsys.readouterr().out)["pieces"]
    assert [p["name"] for p in pieces] == ["Porch Step", "Kettle Song"]
    assert pieces[0]["weights"]["C4"] > pieces[0]["weights"]["E4"]
    assert all(len(p["bottles"]) == len(p["notes"]) - len(p["missing"]) for p in pieces)
    assert main(["pieces", "--rig", str(CONFIGS / "one_rail.toml")]) == 0
    assert "may not float" in capsys.readouterr().out


def test_a_rig_is_planned_from_its_journal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = tmp_path / "rows.csv"
    rows.write_text(
        "at,bottle,cents,temp_c,touched\n"
        "2026-05-31T10:00:00Z,C4,-25,20,0\n2026-05-31T10:00:05Z,E4,1,20,0\n2026-05-31T10:00:09Z,G4,30,20,0\n",
        encoding="utf-8",
    )
    rig, journal = str(CONFIGS / "one_rail.toml"), str(tmp_path / "journal")
    assert main(["log", "import", str(rows), "--rig", rig, "--journal", journal]) == 0
    capsys.readouterr()
    options = ["--rig", rig, "--journal", journal, "--now", "2026-05-31T10:01:00Z", "--piece", "Kettle Song"]
    assert main(["plan", *options, "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["plans"]
    assert "D4" in found["listen"]
    assert found["shift_cents"] == 0.0
    assert found["shift_refused"] is not None
    assert main(["plan", *options]) == 0
    assert f"A4 stays where it is: {found['shift_refused']} fixes the pitch." in capsys.readouterr().out
    everything = [*options[:-2], "--downbeat", "10:30"]
    assert main(["plan", *everything]) == 0
    told = capsys.readouterr().out
    assert "C4" in told
    assert "by the pin" in told


def test_a_file_saved_with_a_byte_order_mark_is_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert plan(tmp_path, "\ufeff" + json.dumps(document()), "--json") == 0
    assert json.loads(capsys.readouterr().out)["order"] == ["a", "b"]
