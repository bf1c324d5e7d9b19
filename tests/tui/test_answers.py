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
    assert done("skip", before, after) == "A3 is left out. {back} brings it back."


def test_a_stroke_with_the_pump_off_says_that_it_counts_as_on() -> None:
    view = FakeController().shown
    assert done("stroke_in", view, view) == "One stroke into A3.  {undo} undoes it."
    off = replace(view, pump_on=None)
    assert done("stroke_in", off, view) == "One stroke into A3. So the head is on.  {undo} undoes it."
    assert done("stroke_out", off, off) == "One stroke out of A3.  {undo} undoes it."


def test_back_says_where_to() -> None:
    view = FakeController().shown
    assert done("back", view, replace(view, instruction=told("strike", "G5"))) == "Back to G5."
    still_on = replace(view, instruction=told("disconnect", "A3"))
    assert done("back", view, still_on) == "Going back. Head off A3 first."


def test_the_pump_says_where_it_is() -> None:
    view = FakeController().shown
    assert done("pump", replace(view, pump_on=None), view) == "The head is on A3.  {undo} undoes it."
    assert done("pump", view, replace(view, pump_on=None)) == "The head is off A3.  {undo} undoes it."


def test_undo_says_what_the_next_one_would_take_back() -> None:
    """A strike that came in after a slip is taken back first: the slip wants a second u."""
    view = FakeController().shown
    after = replace(view, next_undo="50 strokes into D3")
    assert (
        taken_back("the strike of D3", after) == "Undone: the strike of D3. {undo} again: 50 strokes into D3."
    )
    assert taken_back("pump on D3", replace(view, next_undo="")) == "Undone: pump on D3."


def test_undo_is_offered_only_where_it_works() -> None:
    view = FakeController().shown
    assert not BY_NAME["undo"].can(replace(view, next_undo=""))
    assert BY_NAME["undo"].can(replace(view, next_undo="pump on D3"))


@pytest.mark.parametrize(
    ("name", "scene", "said"),
    [
        ("undo", "round", "Nothing to undo."),
        ("undo", "between", "Nothing to undo. {open_round} begins a new round; what was heard is kept."),
        ("take", "round", "Take: end the round first ({end_round})."),
        ("open_round", "round", "A round is open; {end_round} ends it."),
        ("skip", "between", "Leave this bottle out: only in a round; {open_round} begins one."),
        ("skip", "round", "Leave this bottle out: no bottle is in hand."),
    ],
)
def test_why_not(name: str, scene: str, said: str) -> None:
    fake = FakeController()
    view = fake.round_view() if scene == "round" else fake.between_view()
    assert why_not(BY_NAME[name], view) == said
