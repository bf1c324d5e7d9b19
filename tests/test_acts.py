"""What a hand tells of air: counts that no bottle could take are asked about, in every face."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from rounds.errors import BadInput
from rounds.events import AirMoved
from rounds.faces.lines import Lines
from rounds.faces.live import Live
from rounds.faces.plainface import PlainFace
from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from tests.test_session import Bench

if TYPE_CHECKING:
    from collections.abc import Callable

CONFIGS = Path(__file__).parent.parent / "configs"


def at_first() -> Session:
    """The shipped rig, a round open, its first bottle (2 litres, a hand pump) asked for."""
    session = Session(load_rig(CONFIGS / "three_rails.toml"), MemoryJournal(), 0.0)
    session.open_round(0.0)
    return session


def at_a_floor_pump() -> Session:
    session = at_first()
    while session.rig.pump_of(session.instruction.bottle or "").id != "floor":
        session.skip(1.0)
    return session


def test_more_air_than_a_bottle_takes_to_its_ceiling_is_asked_about() -> None:
    """Boyle by hand: 14.696 psi times 180 / 1250 are 2.116 psi a stroke: 50 are 106, and 37.8 are 80."""
    session = at_a_floor_pump()
    bottle, before = session.instruction.bottle, session.record.log.last_id
    with pytest.raises(BadInput) as told:
        session.air(50.0, 2.0)
    assert str(told.value) == (
        f"50 strokes into {bottle} would be about 106 psi, and its ceiling of 80 psi is about 38 strokes "
        "from empty; if that is what happened, let air out and read the gauge; else type the count again"
    )
    assert session.record.log.last_id == before
    session.air(37.0, 2.0)
    assert session.record.log.last_id > before


def test_air_that_lifts_a_bottle_an_octave_is_a_slip_though_its_ceiling_is_far() -> None:
    """5.0 typed as 50: below the ceiling of a large bottle and a small pump, and yet no pitch to tune to."""
    with pytest.raises(
        BadInput, match=r"into C3 would be about 29 psi, more than an octave above its note; if"
    ):
        at_first().air(50.0, 1.0)


def test_more_air_than_a_bottle_holds_does_not_come_out() -> None:
    with pytest.raises(BadInput, match=r"50 strokes out of .* \(about 38 strokes\); type the count again"):
        at_a_floor_pump().air(-50.0, 2.0)


def _by_lines(session: Session, tmp_path: Path) -> str:
    answer = json.loads(Lines(session, 0.0, lambda *_: []).answer('{"t": 2, "air": 50}', 2.0))
    return str(answer["error"])


def _by_words(session: Session, tmp_path: Path) -> str:
    (tmp_path / "read").touch()
    face = PlainFace(Live(session, lambda: 2.0, accepted_file=tmp_path / "read"))
    return " ".join(face.hear("add 50"))


@pytest.mark.parametrize("face", [_by_lines, _by_words])
def test_the_faces_pass_the_question_on(face: Callable[[Session, Path], str], tmp_path: Path) -> None:
    session = at_a_floor_pump()
    assert "strokes into" in (said := face(session, tmp_path))
    assert "type the count again" in said
    assert not [e for _, e in session.record.log.events() if isinstance(e, AirMoved)]


def test_a_bottle_given_up_is_not_called_done() -> None:
    made = Bench({"C4": -90.0, "E4": 80.0, "A4": -60.0})
    made.session.open_round(made.now_s, downbeat_s=made.now_s + 45.0)
    made.session.pump(True, made.now_s)
    made.obey()
    told = made.session.instruction
    assert (told.act, told.headline, told.why) == ("disconnect", "C4: head off", "no time for C4: leave it")


def test_a_bottle_whose_turn_comes_is_not_called_done() -> None:
    made = Bench({"C4": -90.0})
    made.session.open_round(made.now_s)
    made.session.pump(True, made.now_s)
    made.obey()
    assert made.session.instruction.why == "leave C4 for now; we come back"


@pytest.mark.parametrize(("gone", "share"), [(0.0, None), (0.2, 0.2), (0.28, 0.28), (0.6, 1.0)])
def test_a_strike_shows_how_much_of_the_advised_air_went_in(gone: float, share: float | None) -> None:
    """Sixty cents flat: none, a part in proportion to the way the pitch went, or all from a third of it on.

    A part may have been all of it, so that is kept beside it.
    """
    made = Bench({"C4": -60.0})
    made.session.open_round(made.now_s)
    while made.session.instruction.act == "strike":
        made.strike()
    asked = made.session.instruction
    assert (asked.act, asked.bottle) == ("connect", "C4")
    made.hz["C4"] = made.rig.target_hz("C4") * 2.0 ** (-60.0 * (1.0 - gone) / 1200.0)
    made.strike()
    moved = [e for e in made.events(AirMoved) if isinstance(e, AirMoved)]
    if share is None or asked.strokes is None:
        assert moved == []
        return
    assert [(e.bottle, e.assumed) for e in moved] == [("C4", True)]
    assert moved[0].strokes == pytest.approx(share * asked.strokes, rel=0.25)
    assert moved[0].at_most == (asked.strokes if share < 1.0 else None)
