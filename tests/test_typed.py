"""What a player types: read, or refused with a sentence."""

from __future__ import annotations

import dataclasses
import datetime
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.errors import BadInput
from rounds.faces import typed
from rounds.rig import Piece
from tests.tui.fake import invented_rig

RIG = dataclasses.replace(invented_rig(), pieces=(Piece("Lantern Walk", {}), Piece("Moth Parade", {})))
MIDNIGHT_S = datetime.datetime(2026, 6, 2).timestamp()
"""Of a day on which no clock is changed anywhere that we know of."""


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("3", 3),
        ("2.5", 2.5),
        ("2,5", 2.5),
        ("2½", 2.5),
        ("½", 0.5),
        ("⅜", 0.375),
        ("2 ⅛", 2.125),
        ("3/16", 0.1875),
        ("-1 3/16", -1.1875),
        ("-1", -1),
        ("−1¼", -1.25),
        ("+2", 2),
    ],
)
def test_numbers(text: str, value: float) -> None:
    assert typed.number(text, "strokes", -10, 10) == value


@pytest.mark.parametrize(
    "text", ["", "many", "3/0", "1/2/3", ".5.", "nan", "inf", "½½", "--3", "11", "-10.5", "\x1b[2J"]
)
def test_not_numbers(text: str) -> None:
    with pytest.raises(BadInput, match="strokes") as caught:
        typed.number(text, "strokes", -10, 10)
    assert "\x1b" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("12", 720.0),
        ("+12", 720.0),
        ("18:30", 1800.0),
        ("18.30", 1800.0),
        ("0:15", 22500.0),
        ("18:00", 0.0),
        ("", None),
    ],
)
def test_downbeats_at_six_in_the_evening(text: str, seconds: float | None) -> None:
    """After midnight is tonight: 0:15 is six hours and a quarter away."""
    assert typed.downbeat_in_s(text, MIDNIGHT_S + 18 * 3600.0) == seconds


@pytest.mark.parametrize("text", ["25:00", "18:75", "soon", "-5", "9999"])
def test_no_downbeats(text: str) -> None:
    with pytest.raises(BadInput):
        typed.downbeat_in_s(text, MIDNIGHT_S)


def test_a_time_that_has_passed_is_not_tomorrow() -> None:
    with pytest.raises(BadInput, match="17:45 has passed"):
        typed.downbeat_in_s("17:45", MIDNIGHT_S + 18 * 3600.0)


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a process can be set on POSIX only")
@pytest.mark.parametrize(
    ("now", "text", "hours"),
    [
        (datetime.datetime(2026, 3, 29, 1, 30), "3:30", 1.0),
        (datetime.datetime(2026, 10, 25, 0, 30), "4:30", 5.0),
        (datetime.datetime(2026, 10, 24, 22, 0), "4:30", 7.5),
        (datetime.datetime(2026, 3, 28, 22, 0), "4:30", 5.5),
    ],
)
def test_a_downbeat_beyond_the_change_of_summer_time(
    monkeypatch: pytest.MonkeyPatch, now: datetime.datetime, text: str, hours: float
) -> None:
    """Vienna's clocks go from 2:00 to 3:00 on 2026-03-29 and from 3:00 to 2:00 on 2026-10-25 (IANA tzdata,
    `europe`, rule EU: the last Sundays of March and October at 1:00 UTC)."""
    monkeypatch.setenv("TZ", "Europe/Vienna")
    time.tzset()
    try:
        assert typed.downbeat_in_s(text, now.timestamp()) == 3600.0 * hours
    finally:
        monkeypatch.undo()
        time.tzset()


@given(st.integers(0, 1439), st.floats(0, 1439))
def test_downbeat_is_at_that_time(at: int, now: float) -> None:
    try:
        seconds = typed.downbeat_in_s(f"{at // 60}:{at % 60:02d}", MIDNIGHT_S + 60.0 * now)
    except BadInput:
        assert (at - now) % 1440 > 720
        return
    assert seconds is not None
    assert 0 <= seconds <= 43200
    late = (now + seconds / 60 - at) % 1440
    assert min(late, 1440 - late) < 1e-6


def test_bottles_whatever_the_capitals() -> None:
    assert typed.bottle("c#5", RIG) == "C#5"
    assert typed.bottle(" bb3 ", RIG) == "Bb3"


def test_near_miss_is_named() -> None:
    with pytest.raises(BadInput, match="did you mean Bb3"):
        typed.bottle("Bbb3", RIG)


def test_pieces() -> None:
    assert typed.pieces("lantern walk", RIG) == ("Lantern Walk",)
    assert typed.pieces(" , ", RIG) == ()
    with pytest.raises(BadInput, match="did you mean Lantern Walk"):
        typed.pieces("lantern wlak", RIG)


def test_parts() -> None:
    assert typed.part("Cap ") == "cap"
    assert typed.part("bottle") == "bottle"
    with pytest.raises(BadInput):
        typed.part("valve")


def test_a_name_left_out_is_asked_for() -> None:
    with pytest.raises(BadInput, match="name a bottle, such as"):
        typed.bottle(" ", RIG)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", ()),
        ("1", (0,)),
        ("2 1", (1, 0)),
        ("2, 1", (1, 0)),
        ("1,1", (0,)),
    ],
)
def test_pieces_by_number(text: str, found: tuple[int, ...]) -> None:
    names = [p.name for p in RIG.pieces]
    assert typed.pieces(text, RIG) == tuple(names[i] for i in found)


def test_pieces_by_their_first_letters_and_by_their_whole_names() -> None:
    first, second = (p.name for p in RIG.pieces[:2])
    assert typed.pieces(first[:3].upper(), RIG) == (first,)
    assert typed.pieces(f"{second[:4]} 1", RIG) == (second, first)
    assert typed.pieces(f"{first.lower()}, {second}", RIG) == (first, second)


@pytest.mark.parametrize("text", ["0", "99", "zzz", "1 zzz"])
def test_no_piece_of_this_rig(text: str) -> None:
    with pytest.raises(BadInput, match="no piece"):
        typed.pieces(text, RIG)


def test_letters_that_two_pieces_begin_with_name_both() -> None:
    twins = dataclasses.replace(RIG, pieces=(Piece("Lamp Oil", {}), Piece("Lamplight", {})))
    with pytest.raises(BadInput, match="fits Lamp Oil and Lamplight"):
        typed.pieces("lam", twins)
