"""A round in sentences, and that the plain face can do what the screens can."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rounds.faces import cautions, plain, plainface
from rounds.faces.controller import Level, RoundRequest
from rounds.faces.news import news
from rounds.faces.plainface import PlainFace
from rounds.faces.plainwords import WORDS
from rounds.faces.view import DueView, ReadingView
from rounds.tui.intents import INTENTS
from tests.tui.fake import SCENES, FakeController, told

if TYPE_CHECKING:
    from rounds.events import Verdict
    from rounds.instruction import State

SAME_IN_PLAIN = {
    "open_round": "round",
    "again": "again",
    "skip": "skip",
    "back": "back",
    "undo": "undo",
    "pump": "on",
    "stroke_in": "add",
    "stroke_out": "out",
    "air": "add",
    "take": "take",
    "end_round": "end",
    "temperature": "temp",
    "offer": "done",
    "swap": "swap",
    "not_swapped": "swap",
    "let_down": "down",
    "no_gauge": "gauge",
    "empty": "empty",
    "upper": "forecast",
    "lower": "forecast",
    "gauge": "gauge",
    "note": "note",
    "replaced": "replaced",
    "snooze": "snooze",
    "today": "without",
    "now": "status",
    "log": "log",
    "health": "health",
    "promises": "promises",
    "rig": "rig",
    "sound": "sound",
    "bell": "bell",
    "cautions": "cautions",
    "quit": "quit",
    "help": "help",
    "other": "other",
}
ONLY_FOR_EYES = {"theme", "search"}
"""Colours have no spoken counterpart, and `help` lists what a search would find."""


def face(scene: str = "round", **options: bool) -> tuple[PlainFace, FakeController]:
    fake = FakeController(**options)
    fake.shown = SCENES[scene](fake)
    return PlainFace(fake), fake


class TestEqualInAbility:
    def test_every_intent_has_a_word(self) -> None:
        assert {i.name for i in INTENTS} == set(SAME_IN_PLAIN) | ONLY_FOR_EYES
        assert set(SAME_IN_PLAIN.values()) <= set(WORDS)

    @pytest.mark.parametrize(
        ("line", "asked"),
        [
            ("again", ("repeat",)),
            ("SKIP", ("skip",)),
            ("back", ("back",)),
            ("undo", ("undo",)),
            ("off", ("pump_toggle",)),
            ("u", ("undo",)),
            ("s", ("skip",)),
            ("b", ("back",)),
            ("p", ("pump_toggle",)),
            ("e", ("end_round",)),
            ("add 3", ("air", 3.0)),
            ("add 2½", ("air", 2.5)),
            ("out 1", ("air", -1.0)),
            ("temp 21", ("temperature", 21.0)),
            ("gauge 35", ("gauge_typed", "A3", "35")),
            ("gauge none", ("gauge_typed", "A3", "none")),
            ("done", ("done",)),
            ("empty", ("are_empty", ("A3",))),
            ("empty all", ("are_empty", True)),
            ("empty c4, d4", ("are_empty", ("C4", "D4"))),
            ("gauge c#5 3.2 bar", ("gauge_typed", "C#5", "3.2 bar")),
            ("note warm: very", ("note", "warm: very", None)),
            ("note A3: valve hisses", ("note", "valve hisses", "A3")),
            ("replaced G6 cap", ("replaced", "G6", "cap")),
            ("snooze 5", ("snooze", 5.0)),
            ("z", ("snooze", 10.0)),
            ("without a3", ("today", "A3", False)),
            ("with A3", ("today", "A3", True)),
            ("end", ("end_round",)),
        ],
    )
    def test_words_ask_what_the_keys_ask(self, line: str, asked: tuple[object, ...]) -> None:
        plain_face, fake = face()
        plain_face.hear(line)
        assert fake.asked == [asked]

    def test_t_is_the_take(self) -> None:
        plain_face, fake = face("between")
        plain_face.hear("t")
        assert fake.asked == [("take_toggle",)]

    def test_round_with_everything_said(self) -> None:
        plain_face, fake = face("between")
        said = plain_face.hear("round at 19:30 for 25 temp 24 pieces lantern walk")
        assert fake.asked == [("open_round", RoundRequest(5400.0, 1500.0, ("Lantern Walk",), 24.0))]
        assert said[0] == "A round is open: 30 bottles needed."
        assert "A3: 2 and a half strokes more in, then strike." in said

    @pytest.mark.parametrize("word", ["status", "path", "rails", "forecast", "log", "health", "rig", "sound"])
    def test_every_page_can_be_read(self, word: str) -> None:
        plain_face, _ = face()
        said = plain_face.hear(word)
        assert said
        assert all(s[-1] in ".!?" for s in said)

    def test_rails_name_every_bottle(self) -> None:
        _, fake = face()
        text = " ".join(plain.rails(fake.shown))
        for bottle in fake.rig.bottles:
            assert plain.name(bottle.id) in text

    def test_help_names_every_word(self) -> None:
        plain_face, _ = face()
        said = plain_face.hear("help")
        assert [s.split()[0].rstrip(":") for s in said] == list(WORDS)


class TestRefusals:
    @pytest.mark.parametrize(
        ("line", "part"),
        [
            ("skipp", "did you mean skip"),
            ("skip now", "takes nothing after it"),
            ("add", "not a number"),
            ("add -3", "outside 0 to 200"),
            ("on", "on a3 already"),
            ("replaced C9 cap", "no bottle"),
            ("round tomorrow", "after round comes"),
            ("note", "nothing is written"),
        ],
    )
    def test_said_in_one_sentence(self, line: str, part: str) -> None:
        plain_face, fake = face()
        said = plain_face.hear(line)
        assert len(said) == 1
        assert part in said[0].casefold()
        assert fake.asked == []

    def test_of_the_controller(self) -> None:
        plain_face, fake = face()
        fake.refuse = "this is the first bottle"
        assert plain_face.hear("back") == ["This is the first bottle."]


class TestFractions:
    @pytest.mark.parametrize(
        ("written", "said"),
        [
            ("give C4 1¼ strokes more", "Give C4 1 and a quarter strokes more."),
            ("⅛ of a stroke", "An eighth of a stroke."),
        ],
    )
    def test_parts_of_a_stroke_are_spelled_out(self, written: str, said: str) -> None:
        assert plain.sentence(written) == said

    def test_a_bottle_is_named_once(self) -> None:
        told_ = replace(told("add", "C4", 1.25), detail="give C4 1¼ strokes more", then_strike=False)
        assert "Give C4 1 and a quarter strokes more." in plain.instruction(told_)


class TestSentences:
    def test_names_are_spoken(self) -> None:
        assert [plain.name(n) for n in ("C#5", "Bb3", "G6", "top left")] == [
            "C sharp 5",
            "B flat 3",
            "G6",
            "top left",
        ]

    def test_instructions(self) -> None:
        assert plain.instruction(told("strike", "F#4"))[0] == "Strike F sharp 4."
        pump = plain.instruction(told("connect", "Bb3", 3.25))
        assert pump[0].startswith("Eyes covered")
        assert pump[1] == "B flat 3: hand pump on, 3 and a quarter strokes in, then strike."
        assert "by the pin" in plain.instruction(told("release", "F3", -0.75))[0]

    def test_unclear_strike_says_what_to_do(self) -> None:
        _, fake = face("unclear")
        assert plain.reading(fake.shown) == [
            "Not counted: two bottles ring.",
            "Two bottles ring: damp the neighbour with a hand, and strike again.",
        ]

    def test_refusal_is_said_once(self) -> None:
        _, fake = face("refused")
        said = plain.instruction(fake.shown.instruction)
        assert said[0] == "G6: no more air."
        assert sum("ceiling of 80 psi" in s for s in said) == 1

    @pytest.mark.parametrize("scene", SCENES)
    def test_no_sign_that_a_reader_swallows(self, scene: str) -> None:
        _, fake = face(scene)
        text = " ".join(plain.status(fake.shown, fake.sound))
        assert not set(text) & set("±−½¼¾▲▼#=~×")


class TestNews:
    def test_nothing_changed_nothing_said(self) -> None:
        plain_face, fake = face()
        assert fake.shown.reading is not None
        older = replace(fake.shown.reading, age_s=7.0)
        fake.shown = replace(fake.shown, downbeat_in_s=455.0, elapsed_s=243.0, reading=older)
        assert plain_face.tick() == []

    def test_strike_then_what_to_do(self) -> None:
        plain_face, fake = face()
        heard = ReadingView("A3", "A3", -6.0, 1.2, "clear", hz=219.2, age_s=0.3)
        fake.shown = replace(fake.shown, reading=heard, instruction=told("add", "A3", 0.5))
        assert plain_face.tick() == [
            "A3: 6 cents flat, give or take 1.2: unsure.",
            "A3: half a stroke more in, then strike.",
            "23 cents flat.",
        ]

    def test_same_figures_again_are_a_new_strike(self) -> None:
        plain_face, fake = face()
        assert fake.shown.reading is not None
        fake.shown = replace(fake.shown, reading=replace(fake.shown.reading, age_s=0.0))
        assert plain_face.tick() == ["A3: 23 cents flat, give or take 1.8: unsure."]

    @pytest.mark.parametrize(
        ("cents", "verdict", "said"),
        [
            (-24.9, "clear", []),
            (-14.0, "clear", ["A3: 14 cents flat, give or take 1.8: unsure."]),
            (None, "unclear", ["Not counted: not clear."]),
        ],
    )
    def test_a_second_look_is_said_only_when_it_differs(
        self, cents: float | None, verdict: Verdict, said: list[str]
    ) -> None:
        plain_face, fake = face()
        assert fake.shown.reading is not None
        look = replace(fake.shown.reading, cents=cents, verdict=verdict, age_s=2.1)
        fake.shown = replace(fake.shown, elapsed_s=238.1, reading=look)
        assert plain_face.tick() == said

    def test_bottle_done(self) -> None:
        plain_face, fake = face()
        fake.shown = replace(fake.shown, left=10, pump_on=None)
        assert plain_face.tick() == ["The head is off.", "10 to do."]

    def test_downbeat_is_called_once(self) -> None:
        plain_face, fake = face()
        said = []
        for seconds in range(459, 0, -1):
            fake.shown = replace(fake.shown, downbeat_in_s=float(seconds))
            said += plain_face.tick()
        assert said == [f"Downbeat in {t}." for t in ("5 minutes", "2 minutes", "1 minute")]

    def test_due_rings_unless_turned_off(self) -> None:
        plain_face, fake = face("between")
        fake.shown = replace(fake.shown, playable=(), due=DueView(-1.0, "C3 is out", True))
        assert plain_face.tick() == ["\aThe next round is due now.", "C3 is out."]
        assert plain_face.tick() == []
        plain_face, fake = face("between")
        plain_face.hear("bell")
        fake.shown = replace(fake.shown, playable=(), due=DueView(-1.0, "C3 is out", True))
        assert plain_face.tick() == ["The next round is due now.", "C3 is out."]

    def test_sound_lost_and_found(self) -> None:
        plain_face, fake = face()
        good, fake.sound = fake.sound, Level(None, None, "lost", "sound stopped coming; is the plug in?")
        assert plain_face.tick() == ["Sound stopped coming; is the plug in?"]
        assert plain_face.tick() == []
        fake.sound = good
        assert plain_face.tick() == [plain.sentence(good.words)]


class TestTake:
    def test_silence_from_beginning_to_cut(self) -> None:
        plain_face, fake = face("between")
        assert plain_face.hear("take")[0] == "Take 3 runs. Nothing is said until it is cut."
        fake.shown = replace(fake.shown, due=DueView(-5.0, "C3 is out", True), message="late")
        fake.sound = Level(None, None, "lost", "sound stopped coming")
        assert [plain_face.tick() for _ in range(3)] == [[], [], []]
        assert plain_face.hear("skip") == [
            "A take runs; only take, now, status and quit work until it is cut."
        ]
        assert plain_face.hear("take")[0] == "Cut."

    def test_due_in_a_take_is_told_after_the_cut(self) -> None:
        plain_face, fake = face("take")
        fake.shown = replace(fake.between_view(), due=DueView(-5.0, "", True))
        said = plain_face.tick()
        assert "The next round is due now." in said
        assert said[0] == "\aCut."


class TestFirstRun:
    def test_nothing_works_before_the_cautions_are_accepted(self) -> None:
        fake = FakeController(first_run=True)
        plain_face = PlainFace(fake)
        said = " ".join(plain_face.start())
        for caution in cautions.CAUTIONS:
            assert caution.rule in said
        assert plain_face.hear("skip") == ["Type yes when you have read the cautions, or quit."]
        assert plain_face.tick() == []
        plain_face.hear("yes")
        assert fake.asked == [("accept_cautions",)]


class TestTerminal:
    def test_lines_in_sentences_out(self) -> None:
        fake = FakeController()
        said: list[str] = []
        code = plainface.run(fake, io.StringIO("add 2\nskip\nquit\n"), said.append)
        assert code == 0
        assert fake.asked == [("air", 2.0), ("skip",)]
        assert said[-1] == "Stopped."

    def test_end_of_input_ends_it(self) -> None:
        assert plainface.run(FakeController(), io.StringIO(""), lambda text: None) == 0


class TestQuietSpeech:
    """What would drown the order is said once, or not at all."""

    def test_a_first_look_is_not_spoken(self) -> None:
        """The whole strike may deny it, and a listener has written it down by then."""
        fake = FakeController()
        before = fake.shown
        look = ReadingView("A3", "A3", 184.0, 6.0, "clear", final=False)
        assert news(before, replace(before, reading=look)) == []
        measured = replace(look, cents=-12.0, final=True)
        said = news(replace(before, reading=look), replace(before, reading=measured))
        assert said == ["A3: 12 cents flat, give or take 6: unsure."]

    def test_the_want_of_time_is_told_as_it_begins(self) -> None:
        before = FakeController().shown
        one, other = (replace(before, message=f"Time is short: {b} will be out.") for b in ("C3", "D3"))
        assert news(before, one) == ["Time is short: C3 will be out."]
        assert news(one, other) == []
        assert news(one, replace(one, message="The disk is full.")) == ["The disk is full."]

    def test_while_listening_the_reason_is_told_once(self) -> None:
        before = replace(FakeController().shown, instruction=told("strike", "C3"))
        after = replace(before, instruction=told("strike", "D3"))
        assert news(before, after) == ["Strike D3."]


class TestEqualAnswers:
    def test_skip_says_who_and_how_to_take_it_back(self) -> None:
        plain_face, _ = face()
        assert plain_face.hear("skip")[0] == "A3 is left out. Back brings it back."

    def test_temperature_is_repeated_as_typed(self) -> None:
        plain_face, _ = face()
        assert plain_face.hear("temp 24,5")[0] == "Air at 24.5 degrees."

    def test_air_is_repeated_in_words(self) -> None:
        plain_face, _ = face()
        assert plain_face.hear("out 1/2")[0] == "Half a stroke out."

    def test_the_path_says_nothing_twice(self) -> None:
        fake = FakeController()
        flat = replace(fake.shown.bottles[1], place_in_path=2, reason="14 cents flat now")
        unheard = [
            replace(b, state="unheard", cents=None, place_in_path=n, reason="to be heard")
            for n, b in ((1, fake.shown.bottles[4]), (3, fake.shown.bottles[7]))
        ]
        reason = "in tune now, drifts flat while you play"
        drifts = replace(fake.shown.bottles[2], place_in_path=4, reason=reason)
        view = replace(fake.shown, bottles=(flat, *unheard, drifts))
        assert plain.path(view) == [
            "2 to be heard: G3 and C4.",
            "3: D3: 14 cents flat now.",
            "4: E3 3.4 cents flat: in tune now, drifts flat while you play.",
        ]

    @pytest.mark.parametrize(
        ("state", "place", "said"),
        [
            ("holds", None, "holds"),
            ("fades", 3, "holds now, won't last"),
            ("wants_air", 3, "wants 1 and a half strokes, still to do"),
            ("wants_air", None, "wants 1 and a half strokes"),
            ("unsure", None, "unsure"),
        ],
    )
    def test_a_reading_says_whether_the_bottle_is_in_tune(
        self, state: State, place: int | None, said: str
    ) -> None:
        fake = FakeController()
        bottle = replace(fake.shown.bottles[1], state=state, place_in_path=place)
        heard = ReadingView("D3", "D3", -12.0, 2.4, "clear")
        view = replace(fake.shown, bottles=(bottle,), reading=heard)
        assert plain.reading(view) == [f"D3: 12 cents flat, give or take 2: {said}."]

    def test_a_start_ends_with_what_to_do(self) -> None:
        plain_face, fake = face()
        fake.shown = SCENES["strike"](fake)
        plain_face = PlainFace(fake)
        said = plain_face.start()
        assert said[-2:] == ["Strike F sharp 4.", "Not heard in this round."]
        assert not any("No strike" in s or "not known" in s for s in said)


class TestQuestions:
    @pytest.mark.parametrize("line", ["", "   ", "now", "what now", "What do I do?"])
    def test_an_empty_line_or_a_question_repeats_the_order(self, line: str) -> None:
        plain_face, fake = face()
        assert plain_face.hear(line) == plain.orders(fake.shown)

    def test_how_long_is_the_state_of_things(self) -> None:
        plain_face, fake = face()
        assert plain_face.hear("how long") == plain.status(fake.shown, fake.sound)
