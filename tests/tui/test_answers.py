"""Every key is answered by the bottle it was about."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rounds.tui.answers import done, taken_back, why_not
from rounds.tui.intents import BY_NAME
from tests.tui.fake import FakeController, told


def test_skip_says_who_was_left_out_and_how_it_comes_back() -> None:
    before = FakeController().shown
    after = replace(before, instruction=told("strike", "C4"))
    assert done("skip", before, after) == "A3 is skipped; b takes it back."


def test_a_stroke_with_the_pump_off_says_that_it_counts_as_on() -> None:
    view = FakeController().shown
    assert done("stroke_in", view, view) == "One stroke into A3.  u takes it back."
    off = replace(view, pump_on=None)
    assert done("stroke_in", off, view) == "One stroke into A3. The pump counts as on it.  u takes it back."
    assert done("stroke_out", off, off) == "One stroke out of A3.  u takes it back."


def test_back_says_where_to() -> None:
    view = FakeController().shown
    assert done("back", view, replace(view, instruction=told("strike", "G5"))) == "Back to G5."
    still_on = replace(view, instruction=told("disconnect", "A3"))
    assert done("back", view, still_on) == "Back. First the pump comes off A3."


def test_the_pump_says_where_it_is() -> None:
    view = FakeController().shown
    assert done("pump", replace(view, pump_on=None), view) == "Pump on A3.  u takes it back."
    assert done("pump", view, replace(view, pump_on=None)) == "Pump off A3.  u takes it back."


def test_undo_says_what_the_next_one_would_take_back() -> None:
    """A strike that came in after a slip is taken back first: the slip wants a second u."""
    view = FakeController().shown
    after = replace(view, next_undo="50 strokes into D3")
    assert (
        taken_back("the strike of D3", after) == "Taken back: the strike of D3. u again: 50 strokes into D3."
    )
    assert taken_back("pump on D3", replace(view, next_undo="")) == "Taken back: pump on D3."


def test_undo_is_offered_only_where_it_works() -> None:
    view = FakeController().shown
    assert not BY_NAME["undo"].can(replace(view, next_undo=""))
    assert BY_NAME["undo"].can(replace(view, next_undo="pump on D3"))


@pytest.mark.parametrize(
    ("name", "scene", "said"),
    [
        ("undo", "round", "Nothing to take back."),
        ("undo", "between", "Nothing to take back. r begins a new round; what was heard is kept."),
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
