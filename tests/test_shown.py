"""Figures for eyes and phrases for ears."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.wording import shown, words
from tests.tui.fake import told


@pytest.mark.parametrize(
    ("strokes", "phrase", "spoken"),
    [
        (3.5, "3½ strokes", "3 and a half strokes"),
        (-0.25, "¼ of a stroke", "a quarter of a stroke"),
        (0.5, "½ of a stroke", "half a stroke"),
        (1.0, "1 stroke", "1 stroke"),
        (12.0, "12 strokes", "12 strokes"),
        (2.75, "2¾ strokes", "2 and three quarters strokes"),
        (0.1875, "¼ of a stroke", "a quarter of a stroke"),
        (0.375, "⅜ of a stroke", "three eighths of a stroke"),
        (-1.125, "1⅛ strokes", "1 and an eighth strokes"),
        (0.625, "⅝ of a stroke", "five eighths of a stroke"),
        (0.01, "⅛ of a stroke", "an eighth of a stroke"),
    ],
)
def test_strokes(strokes: float, phrase: str, spoken: str) -> None:
    assert words.strokes_phrase(strokes) == phrase
    assert shown.strokes_spoken(strokes) == spoken


@given(st.integers(1, 200))
def test_order_phrase_and_bars_are_one_number(eighths: int) -> None:
    """What is painted large, said beside the reading and drawn as bars is the dose, to the eighth."""
    strokes = eighths / 8
    figure = shown.order(told("add", "C4", strokes)).removeprefix("ADD ")
    counted = words.strokes_phrase(strokes).startswith(f"{figure} ")
    assert counted == (eighths >= shown.LEAST_COUNTED)
    assert counted or figure == "A BIT"
    assert words.eighths(strokes) == eighths


@pytest.mark.parametrize(
    ("cents", "u95", "spoken"),
    [
        (12.4, 1.8, "12 cents sharp, give or take 1.8"),
        (-1.0, None, "1 cent flat"),
        (-9.04, 2.4, "9 cents flat, give or take 2"),
        (0.02, None, "dead on"),
    ],
)
def test_cents_spoken(cents: float, u95: float | None, spoken: str) -> None:
    assert shown.cents_spoken(cents, u95) == spoken


@pytest.mark.parametrize(
    ("seconds", "figures"),
    [(460, "7:40"), (0.2, "0:01"), (0, "0:00"), (-0.4, "0:00"), (-20, "−0:20"), (3730, "1:02:10")],
)
def test_clock(seconds: float, figures: str) -> None:
    assert shown.clock(seconds) == figures


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(460, "7 minutes 40 seconds"), (61, "1 minute 1 second"), (0, "no time"), (7500, "2 hours 5 minutes")],
)
def test_duration(seconds: float, words: str) -> None:
    assert shown.duration_spoken(seconds) == words


def test_orders() -> None:
    assert shown.order(told("add", "C4", 3.5)) == "ADD 3½"
    assert shown.order(told("connect", "C4", 12.25)) == "PUMP 12¼"
    assert shown.order(told("release", "C4", -0.25)) == "LET OUT ¼"
    assert shown.order(told("none", None)) == "IN TUNE"


def test_way_of_the_air() -> None:
    assert shown.air_way(told("release", "C4", -1.0)) == "out, by the pin"
    assert shown.air_way(told("connect", "C4", 2.0)) == "in, by the pump"
    assert shown.air_way(told("strike", "C4")) == ""
