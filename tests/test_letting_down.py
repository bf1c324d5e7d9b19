"""A round that lets all bottles down: in walking order, by the pin, with no ear and no pump."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rounds import cli
from rounds.errors import BadInput
from rounds.events import RoundClosed, ToldEmpty
from rounds.faces.lines import Lines
from rounds.faces.live import Live
from rounds.faces.plainface import PlainFace
from rounds.planning.walking import walking_order
from rounds.sessions.session import Session
from rounds.wording.events import sentence
from tests.test_session import NOTES, Bench, rig

if TYPE_CHECKING:
    from pathlib import Path

OFF = {"C4": -35.0, "E4": 28.0, "A4": -60.0}


@pytest.fixture
def bench() -> Bench:
    return Bench(OFF)


def let_down_all(bench: Bench) -> list[str]:
    done = []
    while (told := bench.session.instruction).act != "none":
        assert (told.act, told.pump, told.strokes, told.then_strike) == ("release", None, None, False)
        assert told.caution is not None
        assert told.bottle is not None
        done.append(told.bottle)
        bench.now_s += 8.0
        bench.session.done(bench.now_s)
    return done


def test_all_go_down_in_walking_order_and_the_log_says_so(bench: Bench) -> None:
    bench.session.let_down(bench.now_s)
    assert let_down_all(bench) == list(walking_order(bench.rig, NOTES, None))
    assert bench.session.instruction.headline == "All down"
    bench.now_s += 120.0
    bench.session.tick(bench.now_s)
    (closed,) = bench.events(RoundClosed)
    assert sentence(closed) == f"round finished: {len(NOTES)} of {len(NOTES)} let down"
    assert bench.session.round is None
    with pytest.raises(BadInput, match="down already"):
        bench.session.let_down(bench.now_s)


def test_no_round_is_due_for_bottles_that_are_down(bench: Bench) -> None:
    bench.session.open_round(bench.now_s)
    bench.run()
    bench.session.let_down(bench.now_s)
    let_down_all(bench)
    bench.session.close_round(bench.now_s)
    assert bench.session.due(bench.now_s).due_s is None


def test_a_refill_knows_each_bottle(bench: Bench) -> None:
    """What strokes do, and how the pressure and the pitch of each went together, is as before."""
    bench.session.open_round(bench.now_s)
    bench.run()
    gains = {n: bench.session.beliefs.gain(n, "hand") for n in NOTES}
    bench.session.let_down(bench.now_s)
    let_down_all(bench)
    bench.session.close_round(bench.now_s)
    assert {n: bench.session.beliefs.gain(n, "hand") for n in NOTES} == gains
    assert all(log.is_empty for log in bench.session.day.air.values())
    bench.session.open_round(bench.now_s + 3600.0)
    assert bench.session.instruction.act in ("connect", "gauge")
    assert bench.session.instruction.bottle in NOTES


def test_one_may_be_left_and_gone_back_to_and_an_act_taken_back(bench: Bench) -> None:
    bench.session.let_down(bench.now_s)
    first = bench.session.instruction.bottle
    bench.session.skip(bench.now_s)
    assert bench.session.instruction.bottle != first
    second = bench.session.instruction.bottle
    bench.session.done(bench.now_s)
    assert bench.session.undo(bench.now_s) == "1 empty bottle"
    assert bench.session.instruction.bottle == second
    assert first not in bench.session.day.air or not bench.session.day.air[str(first)].is_empty


def test_an_open_round_ends_first_and_its_head_comes_off(bench: Bench) -> None:
    bench.session.open_round(bench.now_s)
    bench.session.pump(True, bench.now_s)
    on = bench.session.pump_on
    bench.session.let_down(bench.now_s)
    told = bench.session.instruction
    assert (told.act, told.bottle, told.then_strike) == ("disconnect", on, False)
    bench.session.done(bench.now_s)
    assert len(let_down_all(bench)) == len(NOTES)
    assert len(bench.events(RoundClosed)) == 1


def test_killed_in_between_it_goes_on(bench: Bench) -> None:
    bench.session.let_down(bench.now_s)
    bench.session.done(bench.now_s)
    again = Session(bench.rig, bench.log, bench.now_s)
    assert again.instruction == bench.session.instruction
    assert again.round == bench.session.round


def test_spares_are_let_down_too() -> None:
    plain = rig()
    the_rig = replace(plain, spares=(replace(plain.bottle("E4"), id="S1", rail=0),))
    bench = Bench(OFF, the_rig)
    bench.session.let_down(bench.now_s)
    assert set(let_down_all(bench)) == {*NOTES, "S1"}


def test_lines_and_sentences(bench: Bench, tmp_path: Path) -> None:
    lines = Lines(bench.session, bench.now_s, lambda _session, _path: [])
    told = json.loads(lines.answer('{"let_down": true}', 1.0))
    assert (told["error"], told["do"]["act"], told["do"]["strokes"]) == (None, "release", None)
    assert json.loads(lines.answer('{"done": true}', 2.0))["round"]["left"] == len(NOTES) - 1
    assert len(bench.events(ToldEmpty)) == 1
    (tmp_path / "read").touch()
    face = PlainFace(Live(bench.session, lambda: bench.now_s, accepted_file=tmp_path / "read"))
    assert "by the pin" in " ".join(face.hear("now"))
    face.hear("done")
    assert len(bench.events(ToldEmpty)) == 2


def test_the_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a microphone: cautions first, then bottle after bottle; left in between, it goes on."""
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\ndone\ndone\nquit\n"))
    common = ("--rig", "configs/one_rail.toml", "--journal", str(tmp_path / "j.db"))
    assert cli.main(("letdown", "--plain", *common)) == 0
    out, err = capsys.readouterr()
    assert "down by the pin until nothing comes any more" in out
    assert "11 of 13 to do" in err
    monkeypatch.setattr("sys.stdin", io.StringIO("done\n" * 11 + "end\n"))
    assert cli.main(("letdown", "--plain", *common)) == 0
    assert "down" in capsys.readouterr().out
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert cli.main(("letdown", "--plain", *common)) == 2
    assert "every bottle is down already" in capsys.readouterr().err
