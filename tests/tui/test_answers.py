"""Every key is answered by the bottle it was about."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rounds.tui.answers import done, why_not
from rounds.tui.intents import BY_NAME
from tests.tui.fake import FakeController, told


def test_skip_says_who_was_left_out_and_how_it_comes_back() -> None:
    before = FakeController().shown
    after = replace(before, instruction=told("strike", "C4"))
    assert done("skip", before, after) == "A3 is skipped; b takes it back."


def test_a_stroke_with_the_pump_off_says_that_it_counts_as_on() -> None:
    view = FakeController().shown
    assert done("stroke_in", view, view) == "One stroke into A3."
    off = replace(view, pump_on=None)
    assert done("stroke_in", off, view) == "One stroke into A3. The pump counts as on it."
    assert done("stroke_out", off, off) == "One stroke out of A3."


def test_back_says_where_to() -> None:
    view = FakeController().shown
    assert done("back", view, replace(view, instruction=told("strike", "G5"))) == "Back to G5."
    still_on = replace(view, instruction=told("disconnect", "A3"))
    assert done("back", view, still_on) == "Back. First the pump comes off A3."


def test_the_pump_says_where_it_is() -> None:
    view = FakeController().shown
    assert done("pump", replace(view, pump_on=None), view) == "Pump on A3."
    assert done("pump", view, replace(view, pump_on=None)) == "Pump off A3."


@pytest.mark.parametrize(
    ("name", "scene", "said"),
    [
        ("take", "round", "Take: end the round first (e)."),
        ("open_round", "round", "A round is open; e ends it."),
        ("skip", "between", "Skip this bottle: only in a round; r begins one."),
        ("skip", "round", "Skip this bottle: no bottle is asked for now."),
    ],
)
def test_why_not(name: str, scene: str, said: str) -> None:
    fake = FakeController()
    view = fake.round_view() if scene == "round" else fake.between_view()
    assert why_not(BY_NAME[name], view) == said
