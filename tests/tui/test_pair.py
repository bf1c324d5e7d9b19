"""Two people on the screens and in sentences: both orders, whose is what, whose the keys are."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rounds.faces import news, plain
from rounds.faces.plainface import PlainFace
from rounds.faces.view import outcome
from rounds.tui import models, pairmodels
from rounds.tui.app import RoundsApp
from rounds.tui.canvas import Canvas
from rounds.tui.widgets.keyline import KeyLine
from rounds.tui.widgets.pair import MARKS, PairBoards, PersonBoard, Who, WhoModel
from rounds.tui.widgets.slab import Slab
from tests.tui.fake import SCENES, FakeController, told

if TYPE_CHECKING:
    from textual.widget import Widget


def fake(scene: str = "two") -> FakeController:
    controller = FakeController()
    controller.shown = SCENES[scene](controller)
    return controller


def painted(widget: Widget) -> str:
    return str(widget.render())


class TestTheScreen:
    @pytest.mark.parametrize(("size", "beside"), [((80, 24), False), ((140, 40), True), ((60, 20), False)])
    async def test_both_orders_are_there_at_every_size(self, size: tuple[int, int], beside: bool) -> None:
        app = RoundsApp(fake())
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            boards = list(app.screen.query(PersonBoard))
            assert [b.query_one(Slab).model.name for b in boards] == ["A3", "F#5"]  # type: ignore[union-attr]
            assert [b.query_one(Slab).model.act for b in boards] == ["connect", "strike"]  # type: ignore[union-attr]
            for number, board in enumerate(boards):
                assert board.region.height >= 4
                assert f"{MARKS[number]} PERSON {number + 1}" in painted(board.query_one(Who))
            left, right = (b.region for b in boards)
            assert (left.y == right.y) is beside
            assert left.right <= right.x if beside else left.bottom <= right.y
            assert app.screen.query_one(PairBoards).region.bottom < size[1] - 4

    async def test_air_comes_with_its_caution(self) -> None:
        app = RoundsApp(fake())
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            assert "never lean over the cap" in painted(app.screen.query(Who).first())

    async def test_who_holds_is_told_so_in_words(self) -> None:
        app = RoundsApp(fake("turns"))
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            second = painted(app.screen.query(Who).last())
            assert "WAIT TO STRIKE" in second
            assert "Person 1 goes first" in second

    @pytest.mark.parametrize("holds", [False, True])
    def test_the_reason_goes_before_the_deed_and_the_amount_stays(self, holds: bool) -> None:
        deed = "Put the floor pump on F4, ⅜ of a stroke in, then strike."
        who = Who()
        who.model = WhoModel(1, True, holds, deed, "14 cents under the aim of +4.")
        canvas = Canvas(80, 1)
        who.draw(canvas)
        row = canvas.content().plain
        assert "on F4, ⅜ of a stroke in" in row
        assert "…" not in row
        assert "14 cents" not in row
        assert ("WAIT" in row) is holds

    async def test_at_140_columns_what_to_do_is_wrapped(self) -> None:
        app = RoundsApp(fake())
        async with app.run_test(size=(140, 40)) as pilot:
            await pilot.pause()
            assert "…" not in painted(app.screen.query(Who).first())

    async def test_a_key_is_answered_with_the_mark_of_its_person(self) -> None:
        app = RoundsApp(fake())
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            await pilot.press("s")
            assert app.answer.startswith(f"{MARKS[0]} A3 is left out")

    def test_a_first_look_is_not_called_unheard(self) -> None:
        view = fake().view()
        bottle = replace(view.bottles[0], state="unheard")
        assert outcome(bottle) == ""

    async def test_the_keys_go_to_the_other_and_the_key_is_on_the_bar(self) -> None:
        controller = fake()
        app = RoundsApp(controller)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            assert "k keys 1/2" in painted(app.screen.query_one(KeyLine))
            await pilot.press("k")
            await pilot.pause()
            assert ("other_hand",) in controller.asked
            assert "keys" in painted(app.screen.query(Who).last())
            assert "The keys are person 2's." in app.answer

    async def test_one_person_sees_the_screen_of_one(self) -> None:
        app = RoundsApp(fake("round"))
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            assert not app.screen.query_one(PairBoards).display
            assert "keys 1/2" not in painted(app.screen.query_one(KeyLine))
            await pilot.press("k")
            assert ("other_hand",) not in app.controller.asked  # type: ignore[attr-defined]

    def test_the_paths_and_the_reading_are_marked(self) -> None:
        view = fake().view()
        text = models.path_text(view)
        assert text.index(f"{MARKS[0]} then") < text.index(f"{MARKS[1]} then")
        assert pairmodels.reading(view).note == f"{MARKS[1]} Bb5"
        assert pairmodels.rails(view).all_here == ("A3", "F#5")


class TestInSentences:
    def test_each_order_begins_with_whose_it_is(self) -> None:
        said = plain.orders(fake().view())
        assert said[0].startswith("Person 1: Eyes covered")
        assert said[1].startswith("Person 1: A3: hand pump on")
        assert "Person 2: Strike F sharp 5." in said

    def test_the_reading_says_whose_it_was(self) -> None:
        assert plain.reading(fake().view())[0].startswith("Person 2: B flat 5: 12 cents sharp")

    def test_only_what_is_new_is_said(self) -> None:
        before = fake().view()
        second = replace(before.people[1], instruction=replace(told("strike", "G5"), why="x"))
        after = replace(before, people=(before.people[0], second))
        said = news.news(before, after)
        assert said == ["Person 2: Strike G5.", "X."]
        assert news.news(after, after) == []

    def test_an_order_that_reads_the_same_is_not_said_again(self) -> None:
        before = fake().view()
        first = replace(before.people[0].instruction, aim_cents=0.3)
        after = replace(before, people=(replace(before.people[0], instruction=first), before.people[1]))
        assert news.news(before, after) == []

    def test_to_hold_and_to_go_on_are_said_shortly(self) -> None:
        free, held = fake().view(), fake("turns").view()
        second = replace(held.people[1], instruction=replace(held.people[1].instruction))
        holding = replace(free, people=(free.people[0], second))
        assert "Person 2: hold your strike." in news.news(free, holding)
        assert "Person 2: your turn, strike F sharp 5." in news.news(holding, free)

    def test_a_number_before_a_word_says_whose_it_is(self) -> None:
        controller = fake()
        face = PlainFace(controller)
        assert face.hear("2 skip")[0].startswith("Person 2: ")
        assert controller.asked == [("other_hand",), ("skip",), ("other_hand",)]
        assert controller.shown.people[0].has_keys
        face.hear("other")
        assert controller.shown.people[1].has_keys

    def test_status_tells_of_both(self) -> None:
        view = fake("turns").view()
        said = plain.status(view, fake().level())
        assert "Person 1 has the pump on A3." in said
        assert any(s.startswith("Person 2: ") for s in said)
