"""The app through its keys: what it asks of the controller, and what it then shows."""

from __future__ import annotations

import threading
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

import pytest
from textual.widgets import Button, DataTable, Input, Static

from rounds.faces import cautions
from rounds.faces.controller import Level, RoundRequest
from rounds.faces.view import DueView, ReadingView
from rounds.files.settings import Settings
from rounds.tui import models
from rounds.tui.app import RoundsApp
from rounds.tui.intents import INTENTS
from rounds.tui.screens.cautions import CautionScreen
from rounds.tui.screens.dialogs import Ask
from rounds.tui.screens.home import BetweenPane, HomeScreen, RoundPane, TakePane
from rounds.tui.screens.page import Page
from rounds.tui.widgets.airline import AirLine
from rounds.tui.widgets.following import Following
from rounds.tui.widgets.keyline import KeyLine
from rounds.tui.widgets.lines import Lines
from rounds.tui.widgets.plot import Plot
from rounds.tui.widgets.rails import Rails
from rounds.tui.widgets.reading import Reading
from rounds.tui.widgets.slab import Slab, SlabModel
from rounds.tui.widgets.stillness import Stillness
from rounds.tui.widgets.strip import Strip
from tests.tui.fake import PLAYABLE, SCENES, FakeController, told

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from textual.pilot import Pilot
    from textual.widget import Widget

SIZES = [(20, 5), (40, 12), (60, 20), (80, 24), (140, 40), (200, 60)]


class Stage:
    """A running app over a fake controller."""

    def __init__(self, fake: FakeController, app: RoundsApp, pilot: Pilot[int]) -> None:
        self.fake, self.app, self.pilot = fake, app, pilot

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)
        await self.pilot.pause()

    def text(self, kind: type[Widget], selector: str = "") -> str:
        """What a widget of the screen on top paints."""
        widgets = self.app.screen.query(f"{kind.__name__}{selector}").results(kind)
        return next(str(w.render()) for w in widgets if w.display and _displayed(w))

    @property
    def asked(self) -> list[tuple[object, ...]]:
        return self.fake.asked


def _displayed(widget: Widget) -> bool:
    return all(node.display for node in widget.ancestors_with_self if hasattr(node, "display"))


@asynccontextmanager
async def on_stage(
    scene: str, size: tuple[int, int] = (80, 24), settings: Settings | None = None
) -> AsyncIterator[Stage]:
    fake = FakeController(first_run=scene == "first")
    fake.shown = SCENES.get(scene, FakeController.round_view)(fake)
    app = RoundsApp(fake, settings)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        yield Stage(fake, app, pilot)


class TestRound:
    async def test_instruction_is_the_largest_thing(self) -> None:
        async with on_stage("round") as stage:
            slab = stage.app.screen.query_one(Slab)
            assert slab.model == SlabModel("add", "A3", "ADD 2½", 2.5)
            assert slab.size.height > stage.app.screen.query_one(Reading).size.height
            assert "█" in stage.text(Slab)

    async def test_reading_says_cents_doubt_and_strokes(self) -> None:
        async with on_stage("round", (60, 20)) as stage:
            line = stage.text(Reading)
            assert "−23" in line
            assert "±1.8" in line
            assert "flat" in line
            assert "wants 2½ strokes" in line

    @pytest.mark.parametrize(("scene", "bars", "char"), [("round", 20, "█"), ("release", 6, "▒")])
    async def test_air_is_drawn_as_strokes(self, scene: str, bars: int, char: str) -> None:
        """A full stroke is eight cells here, so 2½ strokes are 20 and ¾ are 6."""
        async with on_stage(scene) as stage:
            assert stage.text(AirLine).count(char) == bars

    async def test_caution_stands_where_air_goes_in(self) -> None:
        async with on_stage("round") as stage:
            assert "never lean over the cap" in stage.text(Lines, ".caution")

    async def test_refusal_is_said_whole_and_once(self) -> None:
        async with on_stage("refused") as stage:
            why = stage.text(Lines, ".why")
            assert "ceiling of 80 psi" in why
            assert "for this note" in why
            assert not stage.text(Lines, ".caution").strip()

    async def test_strip_tells_time_work_and_connections(self) -> None:
        async with on_stage("round") as stage:
            strip = stage.text(Strip)
            assert "31 bottles = 14 hold + 6 to do + 11 left out" in strip
            assert "work 6 min" in strip

    async def test_the_next_bottle_and_the_clock_stand_below_the_slab(self) -> None:
        async with on_stage("round") as stage:
            following = stage.text(Following)
            assert "wants 5½ strokes" in following
            assert "rail 1, 1 to the right" in following
            assert "downbeat in" in following
        async with on_stage("round", (60, 20)) as stage:
            assert "NEXT Bb3 ▕▂▏ wants 5½ strokes" in stage.text(Following)
            assert "downbeat in 7:40" in stage.text(Following)

    @pytest.mark.parametrize("size", [s for s in SIZES if s >= (60, 20)])
    async def test_every_bottle_is_on_the_rails_once(self, size: tuple[int, int]) -> None:
        async with on_stage("round", size) as stage:
            words = stage.text(Rails).replace("│", " ").split()
            for bottle in stage.fake.rig.bottles:
                assert words.count(bottle.id) == 1, bottle.id

    async def test_an_aim_beside_the_target_is_told(self) -> None:
        async with on_stage("round") as stage:
            assert "aim" not in stage.text(Reading)
            stage.fake.change(instruction=replace(stage.fake.shown.instruction, aim_cents=5.2))
            await stage.pilot.pause()
            assert "cents flat · aim +5" in stage.text(Reading)

    async def test_a_first_look_asks_for_no_air(self) -> None:
        """The order beside it comes from what was believed before: only a whole strike leads to strokes."""
        async with on_stage("round") as stage:
            look = ReadingView("A3", "A3", 102.0, 3.7, "clear", "heard, measuring on", final=False)
            stage.fake.change(reading=look)
            await stage.pilot.pause()
            assert "measuring on" in stage.text(Reading)
            assert "strokes in" not in stage.text(Reading)

    async def test_a_bottle_just_left_says_what_becomes_of_it(self) -> None:
        async with on_stage("strike", (60, 20)) as stage:
            stage.fake.change(reading=ReadingView("Bb3", "A#3", -31.0, 2.1, "clear"))
            await stage.pilot.pause()
            assert "before Bb3  wants 5½ strokes, still to do" in stage.text(Reading)
            stage.fake.change(reading=ReadingView("C3", "C3", 1.2, 2.1, "clear"))
            await stage.pilot.pause()
            assert "before C3  holds · +1.2 ±2.1 cents sharp" in stage.text(Reading)

    async def test_without_a_microphone_the_slab_itself_says_so(self) -> None:
        async with on_stage("strike") as stage:
            stage.fake.sound = Level(None, None, "lost", "the microphone was unplugged; plug it in")
            stage.fake.wake()
            await stage.pilot.pause()
            slab = stage.app.screen.query_one(Slab)
            assert slab.model == SlabModel("gauge", "", "NO MICROPHONE")
            assert "plug it in. The round waits" in stage.text(Lines, ".why")

    async def test_work_left_for_the_last_minutes_has_a_countdown(self) -> None:
        async with on_stage("round") as stage:
            stage.fake.change(instruction=told("wait", None), next_in_s=286.0)
            await stage.pilot.pause()
            assert stage.app.screen.query_one(Slab).model == SlabModel("wait", "", "NEXT IN 4:46")

    async def test_message_and_lost_sound_are_said(self) -> None:
        async with on_stage("late") as stage:
            assert "Time is short" in stage.text(Lines, ".said")
            stage.fake.sound = Level(None, None, "lost", "Sound stopped coming; is the plug in?")
            stage.fake.wake()
            await stage.pilot.pause()
            assert "plug" in stage.text(Lines, ".said")


ROUND_KEYS = [
    ("space", ("repeat",)),
    ("s", ("skip",)),
    ("b", ("back",)),
    ("backspace", ("back",)),
    ("p", ("pump_toggle",)),
    ("u", ("undo",)),
    ("plus", ("air", 1.0)),
    ("minus", ("air", -1.0)),
]


class TestKeys:
    @pytest.mark.parametrize(("key", "asked"), ROUND_KEYS)
    async def test_key_asks_the_controller(self, key: str, asked: tuple[object, ...]) -> None:
        async with on_stage("round") as stage:
            await stage.press(key)
            assert stage.asked == [asked]

    async def test_key_that_cannot_work_is_answered(self) -> None:
        async with on_stage("between") as stage:
            await stage.press("s")
            assert stage.asked == []
            assert "only in a round; r begins one" in stage.text(Lines, ".said")

    async def test_refusal_of_the_controller_is_shown(self) -> None:
        async with on_stage("round") as stage:
            stage.fake.refuse = "this is the first bottle of the round"
            await stage.press("b")
            assert "first bottle of the round" in stage.text(Lines, ".said")

    async def test_change_is_painted_after_the_key(self) -> None:
        async with on_stage("round") as stage:
            assert "PUMP" in stage.text(Rails)
            await stage.press("p")
            assert "PUMP" not in stage.text(Rails)

    async def test_key_line_offers_only_what_can_work(self) -> None:
        async with on_stage("between", (200, 60)) as stage:
            line = stage.text(KeyLine)
            assert "r round" in line
            assert "skip" not in line

    async def test_a_strike_on_another_thread_reaches_the_screen(self) -> None:
        async with on_stage("round") as stage:
            reading = replace(stage.fake.shown.reading, cents=-1.4)  # type: ignore[type-var]
            thread = threading.Thread(target=lambda: stage.fake.change(reading=reading))
            thread.start()
            thread.join()
            await stage.pilot.pause()
            assert stage.app.screen.query_one(Reading).model.cents == -1.4  # type: ignore[union-attr]

    async def test_theme_goes_round(self) -> None:
        async with on_stage("round") as stage:
            seen = []
            for _ in range(4):
                seen.append(stage.app.theme)
                await stage.press("d")
            assert seen == ["rounds-dark", "rounds-light", "rounds-plain", "rounds-dark"]

    async def test_quit_gives_zero(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("q")
            assert stage.app.return_value is None
            assert "Press q again to quit" in stage.text(Lines, ".said")
            await stage.press("q")
            assert stage.app.return_value == 0

    async def test_quit_between_rounds_loses_nothing_and_asks_nothing(self) -> None:
        async with on_stage("between") as stage:
            await stage.press("q")
            assert stage.app.return_value == 0

    async def test_a_brushed_key_does_not_end_a_take(self) -> None:
        async with on_stage("take") as stage:
            await stage.press("q", "x", "e")
            assert stage.app.return_value is None
            assert not stage.fake.asked


class TestMouse:
    async def test_click_on_a_bottle_tells_why(self) -> None:
        async with on_stage("round") as stage:
            rails = stage.app.screen.query_one(Rails)
            zone = next(z for z in rails._zones if z.value == "C3")
            await stage.pilot.click(Rails, offset=(zone.x + 1, zone.y + 1))
            await stage.pilot.pause()
            assert "C3 holds" in stage.text(Lines, ".said")
            said = " ".join(stage.text(Lines, ".said").split())
            assert "by the end of the block" in said

    async def test_click_on_a_key_works(self) -> None:
        async with on_stage("round") as stage:
            zone = next(z for z in stage.app.screen.query_one(KeyLine)._zones if "skip" in z.value)
            await stage.pilot.click(KeyLine, offset=(zone.x, 0))
            await stage.pilot.pause()
            assert stage.asked == [("skip",)]

    async def test_click_on_a_ribbon_plots_that_bottle(self) -> None:
        async with on_stage("between") as stage:
            await stage.pilot.click("Ribbons", offset=(2, 4))
            await stage.pilot.pause()
            assert "F3" in stage.text(Plot)

    @pytest.mark.slow
    @pytest.mark.parametrize("scene", ["round", "between"])
    async def test_every_key_of_the_line_can_be_clicked(self, scene: str) -> None:
        async with on_stage(scene, (200, 60)) as stage:
            pressed: list[str] = []
            stage.app.action_intent = lambda name: pressed.append(name)  # type: ignore[method-assign]
            zones = stage.app.screen.query_one(KeyLine)._zones
            assert len(zones) >= 15
            for zone in zones:
                await stage.pilot.click(KeyLine, offset=(zone.x + zone.width - 1, 0))
            await stage.pilot.pause()
            assert [f"intent('{p}')" for p in pressed] == [z.value for z in zones]

    async def test_the_buttons_of_a_dialog(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("a", "2")
            await stage.pilot.click("#no")
            assert isinstance(stage.app.screen, HomeScreen)
            await stage.press("a", "2")
            await stage.pilot.click("#yes")
            assert stage.asked == [("air", 2.0)]

    async def test_the_cautions_are_read_and_accepted_by_clicks(self) -> None:
        async with on_stage("first") as stage:
            for _ in range(6):
                if stage.fake.first_run:
                    await stage.pilot.click("#accept")
                    await stage.pilot.pause()
            assert not stage.fake.first_run

    async def test_a_click_on_the_plot_changes_nothing(self) -> None:
        async with on_stage("between") as stage:
            before = stage.text(Plot)
            await stage.pilot.click(Plot, offset=(10, 4))
            await stage.pilot.pause()
            assert stage.text(Plot) == before


class TestDialogs:
    @pytest.mark.parametrize("key", ["a", "c", "g", "n", "x"])
    async def test_a_form_in_a_round_leaves_the_order_the_reading_and_two_rails_in_sight(
        self, key: str
    ) -> None:
        async with on_stage("round", (60, 20)) as stage:
            await stage.press(key)
            top = stage.app.screen.query_one(".sheet").region.y
            home = stage.app.home
            assert top >= home.query_one("Reading").region.bottom
            rails = home.query_one(Rails)
            nearest = max(z.y for z in rails._zones)
            assert top >= rails.region.y + nearest

    async def test_no_color_says_why_the_colours_stay(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("NO_COLOR", "1")
        async with on_stage("round") as stage:
            await stage.press("d")
            assert "NO_COLOR is set" in stage.text(Lines, ".said")

    async def test_air(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("a", *"2", "full_stop", *"5", "enter")
            assert stage.asked == [("air", 2.5)]

    async def test_what_cannot_be_read_stays_open_and_says_why(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("a", *"many", "enter")
            assert stage.asked == []
            assert "not a number" in str(stage.app.screen.query_one(".wrong", Static).content)
            await stage.press("escape")
            assert isinstance(stage.app.screen, HomeScreen)

    async def test_round_opens_at_a_time_of_day(self) -> None:
        """The fake's clock stands at 18:00, so 19:30 is 90 minutes away."""
        async with on_stage("between") as stage:
            await stage.press("r")
            stage.app.screen.query(Input).first().value = "19:30"
            await stage.press("enter")
            assert stage.asked == [("open_round", RoundRequest(5400.0, 1200.0, (), 23.0))]
            assert stage.app.screen.query_one(RoundPane).display

    @pytest.mark.parametrize(
        ("key", "values", "asked"),
        [
            ("c", ["21,5"], ("temperature", 21.5)),
            ("g", ["c4", "35"], ("gauge_typed", "C4", "35")),
            ("n", ["valve hisses", "A3"], ("note", "valve hisses", "A3")),
            ("n", ["warm afternoon", ""], ("note", "warm afternoon", None)),
            ("x", ["G6", "cap"], ("replaced", "G6", "cap")),
            ("w", ["g6"], ("today", "G6", False)),
        ],
    )
    async def test_other_questions(self, key: str, values: list[str], asked: tuple[object, ...]) -> None:
        async with on_stage("round") as stage:
            await stage.press(key)
            for field, value in zip(stage.app.screen.query(Input), values, strict=True):
                field.value = value
            await stage.press("enter")
            assert stage.asked == [asked]

    async def test_a_due_round_is_put_off(self) -> None:
        async with on_stage("between") as stage:
            await stage.press("z")
            await stage.press("enter")
            assert stage.asked == [("snooze", 10.0)]
            assert "No round is called due for 10 minutes." in stage.app.answer

    async def test_the_gauge_form_begins_at_its_reading(self) -> None:
        """The bottle in hand is filled in: what is typed at once is the pressure."""
        async with on_stage("round") as stage:
            await stage.press("g")
            await stage.press("3")
            await stage.press("5")
            await stage.press("enter")
            assert stage.asked == [("gauge_typed", "A3", "35")]

    async def test_letters_in_a_dialog_are_not_keys(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("n", *"spbeq")
            assert isinstance(stage.app.screen, Ask)
            assert stage.asked == []


class TestBetween:
    @pytest.mark.parametrize(
        ("scene", "said"),
        [
            ("between", "TUNE IN 10 MIN"),
            ("due", "TUNE NOW"),
            ("snoozed", "WAIT 5 MIN"),
            ("ran_out", "ALL HOLD"),
        ],
    )
    async def test_the_large_words_say_whether_to_tune(self, scene: str, said: str) -> None:
        async with on_stage(scene) as stage:
            model = stage.app.screen.query_one("BetweenPane Slab", Slab).model
            assert model == SlabModel("gauge" if scene == "due" else "none", "", said)

    async def test_reason_and_what_comes_first(self) -> None:
        async with on_stage("between") as stage:
            reason = " ".join(stage.text(Lines, ".reason").split())
            assert "C3 drifts flat first" in reason
            assert "First: D3 ▕▄▏1½, F3 ▐█▌½" in reason

    async def test_what_plays_now_is_said_a_piece_a_row(self) -> None:
        async with on_stage("ran_out") as stage:
            rows = [row.strip() for row in stage.text(Lines, ".plays").splitlines()]
            assert rows == [
                "= Lantern Walk: all 14 play",
                "/ Gravel for Breakfast: 13 of 14 play, leave out E3",
                "! Whole Yard: 29 of 34 play, leave out C3, D3, E3, F3 and G3",
            ]
            reason = " ".join(stage.text(Lines, ".reason").split())
            assert "Left out, makes no round due: C3, D3 and 3 more." in reason

    async def test_more_pieces_than_rows_are_counted(self) -> None:
        async with on_stage("between") as stage:
            stage.fake.change(playable=PLAYABLE + PLAYABLE)
            await stage.pilot.pause()
            assert stage.text(Lines, ".plays").splitlines()[-1].strip().startswith("and 4 more pieces")

    async def test_arrows_choose_the_plotted_bottle(self) -> None:
        async with on_stage("between") as stage:
            assert "C3" in stage.text(Plot)
            await stage.press("down", "down", "up")
            assert "D3" in stage.text(Plot)

    async def test_bell_rings_once_when_due(self, monkeypatch: pytest.MonkeyPatch) -> None:
        rung: list[int] = []
        monkeypatch.setattr(RoundsApp, "bell", lambda self: rung.append(1))
        async with on_stage("between") as stage:
            assert rung == []
            stage.fake.change(due=DueView(-1.0, "C3 is out", True))
            await stage.pilot.pause()
            stage.fake.wake()
            await stage.pilot.pause()
            assert rung == [1]

    async def test_bell_can_be_turned_off(self, monkeypatch: pytest.MonkeyPatch) -> None:
        rung: list[int] = []
        monkeypatch.setattr(RoundsApp, "bell", lambda self: rung.append(1))
        async with on_stage("between") as stage:
            await stage.press("m")
            stage.fake.change(due=DueView(-1.0, "C3 is out", True))
            await stage.pilot.pause()
            assert rung == []


class TestTake:
    async def test_nothing_moves_or_sounds_while_a_take_runs(self, monkeypatch: pytest.MonkeyPatch) -> None:
        rung: list[int] = []
        monkeypatch.setattr(RoundsApp, "bell", lambda self: rung.append(1))
        async with on_stage("between") as stage:
            await stage.press("t")
            assert stage.app.screen.query_one(TakePane).display
            assert not stage.app.screen.query_one(KeyLine).display
            before = stage.app.export_screenshot(title="")
            take = replace(stage.fake.shown.take, running_s=99.0)  # type: ignore[type-var]
            stage.fake.change(due=DueView(-5.0, "C3 is out", True), take=take, message="late")
            await stage.press("s", "2", "d", "question_mark", "m", "r")
            assert _without_ids(stage.app.export_screenshot(title="")) == _without_ids(before)
            assert rung == []
            assert stage.asked == [("take_toggle",)]

    async def test_due_during_a_take_is_told_after_the_cut(self, monkeypatch: pytest.MonkeyPatch) -> None:
        rung: list[int] = []
        monkeypatch.setattr(RoundsApp, "bell", lambda self: rung.append(1))
        async with on_stage("take") as stage:
            stage.fake.change(**vars(replace(stage.fake.between_view(), due=DueView(-5.0, "", True))))
            await stage.pilot.pause()
            assert stage.app.screen.query_one(BetweenPane).display
            assert rung == [1]

    async def test_a_take_clears_the_page_on_top(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("2")
            assert isinstance(stage.app.screen, Page)
            stage.fake.shown = stage.fake.take_view()
            stage.fake.wake()
            await stage.pilot.pause()
            await stage.pilot.pause()
            assert "C3 and D3 may be out" in stage.text(Stillness)

    async def test_palette_offers_the_cut_and_quit_only(self) -> None:
        async with on_stage("take") as stage:
            titles = [c.title for c in stage.app.get_system_commands(stage.app.screen)]
            assert titles == ["Take rolling or cut", "Quit"]


def _without_ids(svg: str) -> str:
    import re

    return re.sub(r"terminal-\d+", "terminal", svg)


PAGES = {"2": "LOG", "3": "HEALTH", "4": "RIG", "5": "SOUND CHECK", "6": "PROMISES", "question_mark": "HELP"}


class TestEnds:
    """What ends is summed up, and a slip of a finger ends nothing."""

    async def test_a_round_with_work_left_is_ended_by_the_second_key(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("e")
            assert not stage.fake.asked
            assert "Press e again to end the round with 11 to do." in stage.text(Lines, ".said")
            await stage.press("e")
            assert stage.fake.asked == [("end_round",)]
            assert "Round over. 19 of 30 hold. 4 min, 4 connections." in stage.text(Lines, ".said")

    async def test_another_key_between_takes_the_question_back(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("e", "s", "e")
            assert ("end_round",) not in stage.fake.asked

    async def test_a_finished_round_ends_at_once(self) -> None:
        async with on_stage("done") as stage:
            await stage.press("e")
            assert stage.fake.asked == [("end_round",)]

    async def test_a_take_that_was_cut_is_told(self) -> None:
        async with on_stage("take") as stage:
            await stage.press("t")
            assert "take 3 is cut after 0:41; it is in the log." in stage.text(Lines, ".said")

    async def test_a_strike_while_the_screens_are_taken_down_does_no_harm(self) -> None:
        async with on_stage("round") as stage:
            app = stage.app
        app.on_changed()
        assert not app.screen_stack

    async def test_a_downbeat_that_has_passed_is_told_in_words(self) -> None:
        async with on_stage("late") as stage:
            assert stage.app.screen.query_one(Following).model == replace(
                models.following(stage.fake.shown), label="late by", figures="0:12", loud=True
            )


class TestPages:
    @pytest.mark.parametrize(("key", "heading"), PAGES.items())
    async def test_page_opens_and_closes(self, key: str, heading: str) -> None:
        async with on_stage("round") as stage:
            await stage.press(key)
            assert heading in stage.text(Strip)
            await stage.press("s")
            assert stage.asked == []
            await stage.press("1")
            assert isinstance(stage.app.screen, HomeScreen)

    async def test_pages_follow_one_another(self) -> None:
        async with on_stage("between") as stage:
            await stage.press("2", "3", "4", "5", "question_mark")
            assert "HELP" in stage.text(Strip)
            assert len(stage.app.screen_stack) == 2
            await stage.press("escape")
            assert len(stage.app.screen_stack) == 1

    async def test_log_shows_every_line(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("2")
            table = stage.app.screen.query_one("DataTable")
            assert table.row_count == len(stage.fake.log_lines())  # type: ignore[attr-defined]
            assert str(table.get_row_at(0)[1]) == "A3"  # type: ignore[attr-defined]

    async def test_rig_gives_targets_and_ceilings(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("4")
            cells = stage.app.screen.query_one("DataTable").get_row_at(0)  # type: ignore[attr-defined]
            row = list(map(str, cells))
            assert row[:2] == ["C3", "130.8"]
            assert "stop at" not in row[-1]
            about = str(stage.app.screen.query_one(".about", Static).content)
            assert "All bottles: ±10 cents, stop at 80 psi, unless the last column says otherwise." in about

    async def test_sound_check_follows_the_microphone(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("5")
            assert "will do" in stage.text(stage.app.screen.query_one("Meter").__class__)
            stage.fake.sound = Level(-12.0, -20.0, "listening", "The room is too loud.", good=False)
            await stage.pilot.pause(0.3)
            assert "! The room is too loud." in stage.text(stage.app.screen.query_one("Meter").__class__)

    async def test_help_lists_every_key(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("question_mark")
            text = str(stage.app.screen.query_one(".help", Static).content)
            for intent in INTENTS:
                assert intent.title in text
                assert stage.app.keyed(intent.help) in text


class TestOwnKeys:
    """Keys that the player set, as two pedals of a page-turner send them."""

    PEDALS: ClassVar = Settings(keys={"offer": ("pagedown",), "again": ("pageup", "space"), "skip": ()})

    async def test_they_work_and_the_old_ones_do_not(self) -> None:
        async with on_stage("off", settings=self.PEDALS) as stage:
            await stage.press("enter", "s", "pageup", "pagedown")
            assert stage.asked == [("repeat",), ("done",)]

    async def test_key_line_help_and_answers_show_them(self) -> None:
        async with on_stage("off", (140, 40), settings=self.PEDALS) as stage:
            assert "PgDn done  PgUp/space again" in stage.text(KeyLine)
            assert "leave out" not in stage.text(KeyLine)
            await stage.press("pagedown")
            assert stage.text(Lines, ".said").strip().startswith("A3: head off, done. u undoes it.")
            await stage.press("question_mark")
            assert "PgDn  Take what is offered" in str(stage.app.screen.query_one(".help", Static).content)

    async def test_a_pedal_that_bounces_counts_once(self) -> None:
        async with on_stage("off") as stage:
            await stage.press("enter", "enter")
            assert stage.asked == [("done",)]

    async def test_a_page_keeps_its_own_keys(self) -> None:
        async with on_stage("off", settings=self.PEDALS) as stage:
            await stage.press("question_mark", "pagedown")
            assert stage.asked == []


class TestPlainSigns:
    async def test_signs_keep_their_width_in_characters_that_every_terminal_has(self) -> None:
        async with on_stage("round") as stage:
            usual = stage.text(Rails)
        async with on_stage("round", settings=Settings(glyphs="plain")) as stage:
            plain = stage.text(Rails)
            assert "█" in stage.text(Slab)
        assert "▕▄▏" in usual
        assert "[_]" in plain
        assert "[#]" in plain
        assert [len(row) for row in plain.splitlines()] == [len(row) for row in usual.splitlines()]
        assert set(plain) - {"½", "¼", "¾", "⅛", "⅜", "⅝", "⅞", "•"} <= set(map(chr, range(10, 127)))

    async def test_a_terminal_without_the_signs_gets_them_unasked(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("TERM", "linux")
        async with on_stage("round") as stage:
            assert "▕" not in stage.text(Rails)


class TestFinding:
    async def test_rows_without_the_word_are_left_away(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("2", "slash", *"g3", "enter")
            table = stage.app.screen.query_one(DataTable)
            assert [str(table.get_row_at(i)[1]) for i in range(table.row_count)] == ["G3"]
            await stage.press("slash", *"nosuch", "enter")
            assert "Nothing on this page has 'nosuch'." in str(table.get_row_at(0)[-1])


class TestOffer:
    @pytest.mark.parametrize(
        ("scene", "asked"), [("pump", ("done",)), ("release", ("done",)), ("done", ("end_round",))]
    )
    async def test_enter_takes_what_is_offered(self, scene: str, asked: tuple[str, ...]) -> None:
        async with on_stage(scene) as stage:
            await stage.press("enter")
            assert stage.asked == [asked]

    async def test_a_gauge_is_typed_into_the_order_and_page_keys_rest(self) -> None:
        async with on_stage("gauge") as stage:
            await stage.press("2", "5", "7", "backspace", "full_stop", "4")
            assert stage.app.screen.query_one(Slab).model == SlabModel("gauge", "A3", "25.4")
            await stage.press("enter")
            assert stage.asked == [("gauge_typed", "A3", "25.4")]
            assert "A3: 25 psi. u undoes it." in stage.text(Lines, ".said")

    async def test_what_is_no_pressure_is_said(self) -> None:
        async with on_stage("gauge") as stage:
            await stage.press("full_stop", "comma", "enter")
            assert stage.asked == []
            assert "is not a pressure" in stage.text(Lines, ".said")

    async def test_a_pump_without_a_gauge_has_a_key(self) -> None:
        async with on_stage("gauge") as stage:
            assert "j no gauge here" in stage.text(KeyLine)
            await stage.press("j")
            assert stage.asked == [("gauge_typed", "A3", "none")]

    async def test_digits_are_page_keys_everywhere_else(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("2")
            assert stage.app.page is not None

    async def test_empty_bottles_are_named(self) -> None:
        async with on_stage("strike") as stage:
            await stage.press("f", *"e4", "space", *"d4", "enter")
            assert stage.asked == [("are_empty", ("E4", "D4"))]

    async def test_bottles_that_may_be_swapped_are_asked_about(self) -> None:
        async with on_stage("swapped") as stage:
            assert stage.app.screen.query_one(Slab).model == SlabModel("gauge", "", "D4 OR E4?")
            assert "D4 and E4: each sounds like the other's note." in stage.text(Lines, ".why")
            assert "Enter yes, swapped" in stage.text(KeyLine)
            await stage.press("enter")
            assert stage.asked == [("swapped", "D4", "E4")]

    async def test_bottles_that_hang_right_are_not_asked_about_again(self) -> None:
        async with on_stage("swapped") as stage:
            await stage.press("y")
            assert stage.app.screen.query_one(Slab).model == SlabModel("strike", "E4", "STRIKE")
            assert "Tuned as they hang." in stage.text(Lines, ".said")
            assert stage.asked == []

    async def test_a_swap_can_be_told_of_any_two(self) -> None:
        async with on_stage("between") as stage:
            await stage.press("h", *"c4", "space", *"e4", "enter")
            assert stage.asked == [("swapped", "C4", "E4")]

    async def test_letting_all_down_is_asked_for_twice(self) -> None:
        async with on_stage("between") as stage:
            await stage.press("l")
            assert stage.asked == []
            assert "Press l again to let all bottles down" in stage.text(Lines, ".said")
            await stage.press("l")
            assert stage.asked == [("let_down",)]

    async def test_where_a_strike_is_waited_for_it_says_so(self) -> None:
        async with on_stage("strike") as stage:
            await stage.press("enter")
            assert stage.asked == []
            assert "Strike F#4: no key is needed." in stage.text(Lines, ".said")

    async def test_between_rounds_it_asks_for_one(self) -> None:
        async with on_stage("between") as stage:
            await stage.press("enter")
            assert isinstance(stage.app.screen, Ask)

    async def test_leaving_by_the_keys_of_the_library_is_asked_for_twice_too(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("ctrl+q")
            assert stage.app.is_running
            assert "Press q again to quit." in stage.text(Lines, ".said")


class TestPalette:
    @pytest.mark.parametrize("scene", ["round", "between"])
    async def test_only_what_can_work_now(self, scene: str) -> None:
        async with on_stage(scene) as stage:
            titles = {c.title for c in stage.app.get_system_commands(stage.app.screen)}
            can = {i.title for i in INTENTS if i.can(stage.fake.view()) and i.name != "search"}
            assert titles == can

    async def test_command_is_carried_out(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("ctrl+p", *"leave this")
            await stage.pilot.pause(0.4)
            await stage.press("enter")
            await stage.pilot.pause(0.2)
            assert stage.asked == [("skip",)]


class TestFirstRun:
    async def test_cautions_come_first_and_cannot_be_walked_round(self) -> None:
        async with on_stage("first") as stage:
            assert isinstance(stage.app.screen, CautionScreen)
            await stage.press("escape", "s", "2")
            assert isinstance(stage.app.screen, CautionScreen)
            assert stage.asked == []

    async def test_accepted_only_after_the_end_was_shown(self) -> None:
        async with on_stage("first") as stage:
            label = stage.app.screen.query_one(Button)
            assert cautions.ACCEPT not in str(label.label)
            presses = 0
            while stage.fake.first_run and presses < 12:
                await stage.press("enter")
                presses += 1
            assert stage.asked == [("accept_cautions",)]
            assert presses > 1
            assert isinstance(stage.app.screen, HomeScreen)

    async def test_every_caution_is_there(self) -> None:
        async with on_stage("first", (200, 60)) as stage:
            text = " ".join(str(s.content) for s in stage.app.screen.query(Static))
            for caution in cautions.CAUTIONS:
                assert caution.rule in text
                assert caution.text in text

    async def test_come_back_under_f2(self) -> None:
        async with on_stage("round") as stage:
            await stage.press("f2")
            assert isinstance(stage.app.screen, CautionScreen)
            await stage.press("escape")
            assert isinstance(stage.app.screen, HomeScreen)


class TestSizes:
    @pytest.mark.slow
    @pytest.mark.parametrize("size", SIZES)
    async def test_no_scene_breaks(self, size: tuple[int, int]) -> None:
        async with on_stage("round", size) as stage:
            for scene, make in SCENES.items():
                stage.fake.shown = make(stage.fake)
                stage.fake.wake()
                await stage.pilot.pause()
                assert stage.app.home.mode == stage.fake.shown.mode, scene

    @pytest.mark.slow
    @pytest.mark.parametrize("size", [(20, 5), (60, 20)])
    async def test_no_page_breaks(self, size: tuple[int, int]) -> None:
        async with on_stage("between", size) as stage:
            await stage.press("2", "3", "4", "5", "question_mark", "f2", "escape", "1", "r", "escape")
            assert isinstance(stage.app.screen, HomeScreen)

    @pytest.mark.slow
    @pytest.mark.parametrize("size", [(80, 24), (60, 20), (140, 40), (200, 60)])
    async def test_nothing_is_cut(self, size: tuple[int, int]) -> None:
        async with on_stage("round", size) as stage:
            for scene, make in SCENES.items():
                stage.fake.shown = make(stage.fake)
                stage.fake.wake()
                await stage.pilot.pause()
                for widget in stage.app.screen.query("Slab, Reading, Lines, Rails, Stillness"):
                    assert "…" not in str(widget.render()), (scene, widget)

    async def test_growing_and_shrinking(self) -> None:
        async with on_stage("round") as stage:
            for size in SIZES:
                await stage.pilot.resize_terminal(*size)
                await stage.pilot.pause()
                assert stage.app.screen.size == size
