"""Two bottles change places, or a spare comes in: what is known goes with the bottle, not with the place."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rounds import cli
from rounds.air import psi_to_kpa
from rounds.belief import Beliefs
from rounds.errors import BadInput
from rounds.events import Disconnected, Replaced, Strike, Swapped
from rounds.faces.lines import Lines
from rounds.faces.live import Live
from rounds.faces.plainface import PlainFace
from rounds.health import Histories, assess
from rounds.journal import Journal, MemoryJournal
from rounds.notes import cents, shifted_hz
from rounds.rigs.rigfile import load_rig, rig_to_toml, save_rig
from rounds.sessions.session import Session
from tests.test_health import RIG, rehearsal
from tests.test_session import Bench, rig

if TYPE_CHECKING:
    from pathlib import Path

    from rounds.events import Event
    from rounds.rig import Rig

AWAY_CENTS = {"C4": -35.0, "E4": 28.0, "A4": -60.0}


def with_spare() -> Rig:
    plain = rig()
    return replace(plain, spares=(replace(plain.bottle("E4"), id="spare 1", rail=0, position_cm=0.0),))


def swapped(one: str, other: str, at_s: float) -> Swapped:
    return Swapped(at_s=at_s, bottle=one, other=other)


@pytest.fixture
def tuned() -> Bench:
    made = Bench(AWAY_CENTS)
    made.session.open_round(made.now_s)
    made.run()
    made.session.close_round(made.now_s)
    return made


def hz_believed(beliefs: Beliefs, bottle: str, at_s: float) -> float:
    target_hz = beliefs.rig.target_hz(bottle)
    return shifted_hz(target_hz, beliefs.level(bottle, at_s).mean)


def test_the_pitch_and_what_a_stroke_does_go_along(tuned: Bench) -> None:
    session, now_s = tuned.session, tuned.now_s
    before = session.beliefs.copy()
    session.swapped("C4", "A4", now_s)
    for was, place in (("C4", "A4"), ("A4", "C4")):
        off = cents(hz_believed(session.beliefs, place, now_s), hz_believed(before, was, now_s))
        assert off == pytest.approx(0.0, abs=1.0)
        gain = session.beliefs.gain(place, "hand").mean
        assert gain == pytest.approx(before.gain(was, "hand").mean, rel=1e-6)
        assert not session.beliefs.heard(place)
        assert session.day.air[place].fills == tuned.session.day.air[place].fills


def test_swapped_twice_is_as_before_but_for_carrying_them(tuned: Bench) -> None:
    session, now_s = tuned.session, tuned.now_s
    air, before = dict(session.day.air), session.beliefs.copy()
    session.swapped("C4", "A4", now_s)
    assert session.day.air["C4"] == air["A4"]
    session.swapped("A4", "C4", now_s)
    assert session.day.air == air
    for bottle in ("C4", "A4"):
        gain = session.beliefs.gain(bottle, "hand").mean
        assert gain == pytest.approx(before.gain(bottle, "hand").mean, rel=1e-9)


def test_both_are_heard_again_in_the_open_round() -> None:
    bench = Bench(AWAY_CENTS)
    bench.session.open_round(bench.now_s)
    bench.run()
    assert bench.session.instruction.act == "none"
    bench.session.swapped("A4", "E4", bench.now_s)
    bench.hz["A4"], bench.hz["E4"] = bench.hz["E4"], bench.hz["A4"]
    before = len(bench.events(Strike))
    bench.run()
    asked = {e.bottle for e in bench.events(Strike)[before:] if isinstance(e, Strike)}
    assert asked - {None} == {"A4", "E4"}
    assert all(abs(bench.off(n)) <= 10.0 for n in ("A4", "E4"))


def test_a_swap_is_taken_back_and_a_killed_session_knows_it(tuned: Bench) -> None:
    session, now_s = tuned.session, tuned.now_s
    session.open_round(now_s)
    air = dict(session.day.air)
    session.swapped("C4", "E4", now_s)
    again = Session(tuned.rig, tuned.log, now_s)
    assert again.day == replace(session.day, started_s=again.day.started_s)
    assert again.beliefs.level("C4", now_s) == session.beliefs.level("C4", now_s)
    assert session.undo(now_s) == "the swap of C4 and E4"
    assert dict(session.day.air) == air
    assert session.beliefs.heard("C4")


def test_the_head_comes_off_first(tuned: Bench) -> None:
    session = tuned.session
    session.open_round(tuned.now_s)
    session.swapped("A4", "G4", tuned.now_s)
    session.pump(True, tuned.now_s)
    on = session.pump_on
    assert on is not None
    other = "E4" if on != "E4" else "C4"
    session.swapped(on, other, tuned.now_s)
    assert session.pump_on is None
    assert any(isinstance(e, Disconnected) and e.bottle == on for _, e in tuned.log.events())


def test_a_spare_comes_in_with_what_the_journal_knows_of_it() -> None:
    """What leaves becomes the spare, and comes back as it was."""
    the_rig = with_spare()
    log = MemoryJournal()
    session = Session(the_rig, log, 0.0)
    session.gauge(20.0, 1.0, "spare 1")
    session.swapped("E4", "spare 1", 2.0)
    assert session.day.air["E4"].read_kpa == pytest.approx(psi_to_kpa(20.0))
    assert "spare 1" not in {b.id for b in the_rig.bottles}
    session.swapped("E4", "spare 1", 3.0)
    assert session.day.air["spare 1"].read_kpa == pytest.approx(psi_to_kpa(20.0))


@pytest.mark.parametrize(
    ("one", "other", "words"),
    [("C4", "C4", "with itself"), ("C4", "H9", "no bottle 'H9'")],
)
def test_what_cannot_change_places_is_refused_and_nothing_written(one: str, other: str, words: str) -> None:
    log = MemoryJournal()
    session = Session(rig(), log, 0.0)
    before = log.last_id
    with pytest.raises(BadInput, match=words):
        session.swapped(one, other, 1.0)
    assert log.last_id == before


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"volume_ml": 600.0}, "has .* mL and"),
        ({"ceiling_kpa": 300.0}, "ceiling of C4 .* give both the lower"),
    ],
)
def test_bottles_of_another_size_or_ceiling_are_refused(change: dict[str, float], words: str) -> None:
    """The rig file says size and ceiling by the place: it would be wrong of both afterwards."""
    plain = rig()
    bottles = tuple(replace(b, **change) if b.id == "E4" else b for b in plain.bottles)  # type: ignore[arg-type]
    session = Session(replace(plain, bottles=bottles), MemoryJournal(), 0.0)
    with pytest.raises(BadInput, match=words):
        session.swapped("C4", "E4", 1.0)


def health_after(events: list[Event], bottle: str) -> tuple[bool, float, int]:
    histories = Histories(RIG)
    for event in events:
        histories.apply(event)
    (found,) = (h for h in assess(RIG, histories, events[-1].at_s) if h.id == bottle)
    return bool(found.findings), found.cap.hours, found.readings


def test_a_leak_goes_with_its_cap_to_the_other_place() -> None:
    events: list[Event] = sorted(rehearsal({"E4": -1.6}, rounds=3), key=lambda e: e.at_s)
    leaky, hours, readings = health_after(events, "E4")
    assert leaky
    events.append(swapped("E4", "G4", events[-1].at_s + 1.0))
    assert health_after(events, "G4") == (True, hours, readings)
    assert not health_after(events, "E4")[0]
    events.append(Replaced(at_s=events[-1].at_s + 1.0, bottle="G4", part="cap"))
    assert health_after(events, "G4") == (False, 0.0, 0)


def test_the_pressure_for_a_note_follows_the_bottle_across_targets() -> None:
    """Levels count in the place's target: 400 cents up at C4 is in tune at E4."""
    beliefs = Beliefs(rig())
    track = beliefs.tracks["C4"]
    track.level, track.a00, track.readings, track.at_s = 0.0, 1.0, 5, 0.0
    beliefs.apply(swapped("C4", "E4", 0.0))
    expected = cents(beliefs.rig.target_hz("C4"), beliefs.rig.target_hz("E4"))
    assert beliefs.level("E4", 0.0).mean == pytest.approx(expected, abs=1.0)
    assert math.isfinite(beliefs.level("C4", 0.0).sd)


def test_every_face_can_say_it() -> None:
    bench = Bench(AWAY_CENTS, with_spare())
    lines = Lines(bench.session, bench.now_s, lambda _session, _path: [])
    assert json.loads(lines.answer('{"swap": ["C4", "spare 1"]}', 1.0))["error"] is None
    for wrong in ('["C4"]', '"C4"', '["C4", "H9"]', "[1, 2]"):
        assert json.loads(lines.answer(f'{{"swap": {wrong}}}', 1.0))["error"]
    assert len(bench.events(Swapped)) == 1


def test_the_plain_face_takes_names_with_spaces(tmp_path: Path) -> None:
    bench = Bench(AWAY_CENTS, with_spare())
    (tmp_path / "read").touch()
    face = PlainFace(Live(bench.session, lambda: bench.now_s, accepted_file=tmp_path / "read"))
    assert face.hear("swap c4 spare 1")[0].startswith("C4 and spare 1 changed places.")
    assert face.hear("swap C4") == ["Name two bottles, as in swap C4 E4."]
    assert len(bench.events(Swapped)) == 1


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "rig.toml"
    save_rig(with_spare(), path)
    assert load_rig(path).spares == with_spare().spares
    common = ("--rig", str(path), "--journal", str(tmp_path / "j.db"))
    assert cli.main(("swap", "c4", "spare 1", *common)) == 0
    assert "C4 and spare 1 changed places" in capsys.readouterr().err
    assert cli.main(("swap", "C4", "H9", *common)) == 2
    assert "H9" in capsys.readouterr().err
    with Journal(tmp_path / "j.db") as journal:
        assert [type(e) for _, e in journal.events()] == [Swapped]


def test_a_spare_may_not_have_the_name_of_a_bottle(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(rig_to_toml(with_spare()).replace('"spare 1"', '"C4"'), encoding="utf-8")
    assert cli.main(("swap", "C4", "E4", "--rig", str(path))) == 2
    assert "[[spare]] id: found 'C4' twice" in capsys.readouterr().err
