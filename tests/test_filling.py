"""A fill from empty, and what a key confirms where no strike tells. The rigs and strikes are invented."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rounds.errors import BadInput
from rounds.events import AirMoved, ToldEmpty
from rounds.faces.lines import Lines
from rounds.hearing.reading import Reading
from rounds.journal import MemoryJournal
from rounds.sessions.session import Session
from tests.test_session import NOTES, Bench, rig

if TYPE_CHECKING:
    from rounds.rig import PumpKind

EMPTY_CENTS = 600.0 * math.log2(0.3)
"""f² = a + b p with no p (Fung, Sechler & Kaplan 1957), a the share of the stiffness that needs no air."""


@pytest.fixture
def empty() -> Bench:
    made = Bench(dict.fromkeys(NOTES, EMPTY_CENTS))
    made.session.open_round(made.now_s, empty=True)
    return made


def test_nobody_strikes_an_empty_bottle_before_air_went_in(empty: Bench) -> None:
    told = empty.session.instruction
    assert (told.act, told.bottle in NOTES) == ("connect", True)
    assert told.bottle is not None
    assert told.strokes is not None
    needed_hz2 = empty.rig.target_hz(told.bottle) ** 2 - empty.hz[told.bottle] ** 2
    assert told.strokes < needed_hz2 / empty.session.beliefs.gain(told.bottle, "hand").mean


def test_a_key_confirms_what_makes_no_tone(empty: Bench) -> None:
    told = empty.session.instruction
    empty.session.done(empty.now_s + 5.0)
    air = empty.events(AirMoved)[-1]
    assert isinstance(air, AirMoved)
    assert (air.strokes, air.assumed) == (told.strokes, False)
    assert (empty.session.instruction.act, empty.session.instruction.bottle) == ("strike", told.bottle)
    with pytest.raises(BadInput, match="nothing to confirm now: strike"):
        empty.session.done(empty.now_s + 6.0)


def test_a_fill_from_empty_ends_in_tune_with_no_head_on(empty: Bench) -> None:
    empty.run()
    assert all(abs(empty.off(n)) <= 10.0 for n in NOTES)
    assert empty.session.day.pump_on is None


def test_some_bottles_are_empty_and_unknown_ones_are_refused() -> None:
    made = Bench({"C4": EMPTY_CENTS})
    with pytest.raises(BadInput, match="no bottle 'H9'"):
        made.session.open_round(made.now_s, empty=["H9"])
    made.session.open_round(made.now_s, empty=["C4"])
    assert [e.bottles for e in made.events(ToldEmpty)] == [("C4",)]  # type: ignore[attr-defined]
    assert (made.session.instruction.act, made.session.instruction.bottle) == ("connect", "C4")


def test_lines_open_a_round_as_empty_and_say_what_is_wrong() -> None:
    lines = Lines(Session(rig(), MemoryJournal(), 0.0), 0.0, lambda _session, _path: [])
    assert '"act": "connect"' in lines.answer('{"open": {"empty": true}}', 0.0)
    assert '"act": "strike"' in lines.answer('{"done": true}', 5.0)
    assert "open.empty must be true or a list" in lines.answer('{"open": {"empty": 3}}', 6.0)


@pytest.mark.parametrize("sounded", [Reading(None, None, "quiet"), Reading(139.0, 3.0, "clear")])
def test_first_bottles_without_a_tone_or_far_too_low_suggest_that_all_are_empty(sounded: Reading) -> None:
    made = Bench({})
    made.session.open_round(made.now_s)
    for _ in range(3):
        made.now_s += 3.0
        made.session.strike(made.now_s, sounded)
    assert "all empty? Say so, and they are filled first" in made.session.instruction.why
    made.session.are_empty(made.now_s + 2.0)
    assert made.session.instruction.act == "connect"
    assert made.session.round is not None
    assert len(made.session.round.empty) >= len(NOTES) - 1


@pytest.mark.parametrize(
    ("kind", "gauge", "headline", "way"),
    [
        ("floor", True, "pump to 6.5 psi", "pump until it shows 6.5 psi, about"),
        ("regulator", True, "set 6.5 psi", "set 6.5 psi, fill, wait 3 s"),
        ("floor", False, "pump 4", "strokes in"),
    ],
)
def test_an_empty_bottle_is_filled_to_a_pressure_where_there_is_a_gauge(
    kind: PumpKind, gauge: bool, headline: str, way: str
) -> None:
    plain = rig()
    pumps = tuple(replace(p, kind=kind, gauge=gauge) for p in plain.pumps)
    session = Session(replace(plain, pumps=pumps), MemoryJournal(), 0.0)
    session.open_round(0.0, empty=True)
    told = session.instruction
    assert told.to_kpa == (told.expected_kpa if gauge else None)
    assert re.sub(r"[\d.½]+", "N", headline) in re.sub(r"[\d.½]+", "N", told.headline)
    assert re.sub(r"[\d.½]+", "N", way) in re.sub(r"[\d.½]+", "N", told.detail)


def test_a_gauge_is_believed_before_a_word(empty: Bench) -> None:
    """Said to be empty, and 30 psi by the gauge: it is heard before any air goes in."""
    told = empty.session.instruction
    assert (told.act, told.bottle is not None) == ("connect", True)
    empty.session.pump(True, empty.now_s + 1.0)
    empty.session.gauge(30.0, empty.now_s + 2.0)
    asked = empty.session.instruction
    assert (asked.act, asked.strokes) == ("disconnect", None)
    empty.session.pump(False, empty.now_s + 3.0)
    assert told.bottle is not None
    assert empty.session.round is not None
    assert told.bottle not in empty.session.round.empty
    assert empty.session.instruction.bottle != told.bottle or empty.session.instruction.act == "strike"
    assert not empty.session.day.air[told.bottle].empty
