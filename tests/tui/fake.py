"""A small deterministic controller for the screens: an invented rig, frozen in chosen moments.

`python -m tests.tui.fake [scene]` shows it in a terminal; scenes are the keys of `SCENES`.
"""

from __future__ import annotations

import datetime
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from rounds.belief.in_or_out import ahead
from rounds.errors import BadInput
from rounds.faces.controller import Controller, DriftPath, HealthLine, Level, LogLine, RoundRequest
from rounds.faces.view import BottleView, DueView, PersonView, ReadingView, TakeView, View
from rounds.forecast.playable import Playable
from rounds.forecast.promises_said import PromiseRow, PromisesPage
from rounds.gauss import Gauss
from rounds.instruction import Instruction
from rounds.notes import parse_note
from rounds.rig import Bottle, Habits, Piece, Pump, Rig

if TYPE_CHECKING:
    from rounds.events import Part
    from rounds.instruction import Act, State

_RAILS = (
    "C3 D3 E3 F3 G3 A3 Bb3 C4 D4 E4 F4",
    "F#4 G4 A4 Bb4 B4 C5 C#5 D5 Eb5 E5 F5 F#5",
    "G5 G#5 A5 Bb5 B5 C6 D6 E6 F6 F#6 G6",
)
_STATES: tuple[State, ...] = ("holds", "wants_air", "holds", "too_full", "fades", "unsure", "wants_air")
_CENTS = (1.2, -14.0, -3.4, 12.4, 4.0, -9.0, -31.0)
_STROKES = (None, 1.4, None, -0.5, None, None, 5.6)
_PLACES = {3: 2, 6: 1, 10: 3, 13: 4, 22: 5, 27: 6}
PLAYABLE = (
    Playable("Lantern Walk", 14, ()),
    Playable("Gravel for Breakfast", 14, (parse_note("E3"),)),
    Playable("Whole Yard", 34, tuple(map(parse_note, ("C3", "D3", "E3", "F3", "G3")))),
)
_UNHEARD, _SKIPPED = 11, 20
_CAUTION = "Eyes covered, never lean over the cap, stop at 60 psi."
_WHY = {
    "strike": ("not heard in this round", ""),
    "connect": ("31 cents flat", "put the hand pump on Bb3, 3¼ strokes in, then strike"),
    "add": ("23 cents flat", "give A3 2½ strokes more, then strike"),
    "release": ("12 cents sharp", "let out about ¾ of a stroke by the pin, then strike"),
    "disconnect": ("1 cent sharp: good", "take the pump straight off A3, then strike it"),
}


def invented_rig() -> Rig:
    """34 bottles on three rails; no such instrument exists."""
    bottles = [
        _invented_bottle(name, rail, place)
        for rail, names in enumerate(_RAILS, 1)
        for place, name in enumerate(names.split())
    ]
    piece = Piece("Lantern Walk", {parse_note(n): 1.0 for n in ("C4", "E4", "G4")})
    pumps = (Pump("hand", 80.0, release_valve=True), Pump("floor", 180.0))
    return Rig("Test Yard", tuple(bottles), pumps, (piece,), habits=Habits())


def _invented_bottle(name: str, rail: int, place: int) -> Bottle:
    volume_ml = {1: 2000.0, 2: 1250.0, 3: 600.0}[rail]
    return Bottle(name, parse_note(name), volume_ml, rail, 12.0 * place, "hand" if rail == 1 else "floor")


def told(act: Act, bottle: str | None, strokes: float | None = None) -> Instruction:
    """An instruction as the program words them."""
    why, detail = _WHY.get(act, ("all needed bottles hold", ""))
    headline = {"none": "In tune", "strike": f"Strike {bottle}"}.get(act, f"{bottle}: {act} {strokes}")
    pump = None if act == "release" else "hand"
    caution = _CAUTION if act in ("add", "connect") else None
    return Instruction(act, bottle, pump, strokes, 0.0, why, headline, detail, caution)


def drift_path(bottle: str, note: str, slope: float, leaves_min: float | None) -> DriftPath:
    """A straight path with growing doubt."""
    minutes = tuple(float(m) for m in range(0, 41, 2))
    cents = tuple(slope * m for m in minutes)
    sds = tuple(1.0 + 0.1 * m for m in minutes)
    standings = tuple(ahead(Gauss(c, sd), 10.0) for c, sd in zip(cents, sds, strict=True))
    return DriftPath(bottle, note, minutes, cents, sds, standings, 10.0, leaves_min)


class FakeController:
    """Writes down what was asked of it, and shows a view that tests may change."""

    def __init__(self, *, first_run: bool = False) -> None:
        self.first_run = first_run
        self.people = 1
        self.rig = invented_rig()
        self.asked: list[tuple[object, ...]] = []
        self.refuse = ""
        self.ticks = 0
        words = "The microphone will do: the room is 24 dB under a quiet strike."
        self.sound = Level(-31.0, -62.0, "listening", words, True, "invented microphone")
        self.wake: Callable[[], None] = lambda: None
        self.shown = self.round_view()

    # What is shown

    def bottle_views(self, in_round: bool = True) -> tuple[BottleView, ...]:
        """Bottles in a fixed pattern of states."""
        return tuple(self._bottle(i, b, in_round) for i, b in enumerate(self.rig.bottles))

    @staticmethod
    def _bottle(i: int, bottle: Bottle, in_round: bool) -> BottleView:
        needed = i % 9 != 8
        state: State = _STATES[i % 7] if needed else "not_needed"
        state = {_UNHEARD: "unheard", _SKIPPED: "left_out"}.get(i, state)  # type: ignore[assignment]
        known = state not in ("unheard", "not_needed")
        cents = _CENTS[i % 7]
        return BottleView(
            id=bottle.id,
            note=bottle.note.name,
            rail=bottle.rail,
            position_cm=bottle.position_cm,
            state=state,
            needed=needed,
            cents=cents if known else None,
            sd_cents=2.0 if known else None,
            place_in_path=_PLACES.get(i) if in_round else None,
            strokes=_STROKES[i % 7] if state in ("wants_air", "too_full") else None,
            reason=f"expected {abs(cents):.0f} cents off by the end of the block",
            leaves_min=9.0 + i,
        )

    def round_view(self) -> View:
        """A round in its visits: the bass wants air."""
        return View(
            mode="round",
            rig_name=self.rig.name,
            instruction=told("add", "A3", 2.5),
            reading=ReadingView("A3", "A3", -23.4, 1.8, "clear", hz=217.1, age_s=2.0),
            bottles=self.bottle_views(),
            due=DueView(None, "", False),
            take=None,
            round_id="r1",
            next_undo="6 strokes into G4",
            phase="visits",
            connections=4,
            visits_left=6,
            left=11,
            needed=30,
            seconds_left=352.0,
            downbeat_in_s=460.0,
            elapsed_s=238.0,
            shift_cents=0.0,
            shift_saves=0,
            reference_hz=440.0,
            temp_c=23.0,
            pump_on="A3",
        )

    def between_view(self) -> View:
        """Ten minutes until the bass is out."""
        reason = "by then one needed bottle is expected to be out: C3 drifts flat first"
        return replace(
            self.round_view(),
            mode="between",
            instruction=replace(told("none", None), headline="Rest", why="no round is open"),
            reading=None,
            bottles=self.bottle_views(in_round=False),
            due=DueView(612.0, reason, False, "soon", f"first bottles soon: {reason}"),
            playable=PLAYABLE,
            round_id=None,
            phase="none",
            seconds_left=None,
            downbeat_in_s=None,
            elapsed_s=None,
            pump_on=None,
        )

    def take_view(self) -> View:
        """A take runs."""
        take = TakeView("take 3", 41.0, -18.2, "C3", ("C3", "D3"))
        return replace(self.between_view(), mode="take", take=take)

    def change(self, **fields: Any) -> None:
        """Change fields of the view, as the program would on another thread."""
        self.shown = replace(self.shown, **fields)
        self.wake()

    # The protocol

    def attach(self, wake: Callable[[], None]) -> None:
        self.wake = wake

    def tick(self) -> None:
        self.ticks += 1

    def view(self) -> View:
        return self.shown

    def level(self) -> Level:
        return self.sound

    def clock_s(self) -> float:
        return datetime.datetime(2026, 6, 1, 18, 0).timestamp()

    def _note_down(self, *what: object) -> None:
        if self.refuse:
            raise BadInput(self.refuse)
        self.asked.append(what)

    def accept_cautions(self) -> None:
        self.first_run = False
        self._note_down("accept_cautions")

    def open_round(self, request: RoundRequest) -> None:
        self._note_down("open_round", request)
        self.shown = self.round_view()

    def end_round(self) -> None:
        self._note_down("end_round")
        self.shown = self.between_view()

    def skip(self) -> None:
        self._note_down("skip")

    def snooze(self, minutes: float) -> None:
        self._note_down("snooze", minutes)

    def today(self, bottle: str, *, played: bool) -> None:
        self._note_down("today", bottle, played)

    def promises(self) -> PromisesPage:
        row = PromiseRow("forecasts", "bass", "41 of 44 held (90 % promised)", "2.1 cents", "as promised")
        return PromisesPage((row,), ("No round tested a due time yet.",))

    def undo(self) -> str:
        self._note_down("undo")
        return "6 strokes into G4"

    def back(self) -> None:
        self._note_down("back")

    def repeat(self) -> None:
        self._note_down("repeat")

    def other_hand(self) -> None:
        self._note_down("other_hand")
        people = tuple(replace(p, has_keys=not p.has_keys) for p in self.shown.people)
        self.shown = replace(self.shown, people=people)

    def pump_toggle(self) -> None:
        self._note_down("pump_toggle")
        on = None if self.shown.pump_on else self.shown.instruction.bottle
        self.shown = replace(self.shown, pump_on=on)

    def air(self, strokes: float) -> None:
        self._note_down("air", strokes)

    def temperature(self, temp_c: float) -> None:
        self._note_down("temperature", temp_c)
        self.shown = replace(self.shown, temp_c=temp_c)

    def gauge(self, bottle: str, psi: float) -> None:
        self._note_down("gauge", bottle, psi)

    def gauge_typed(self, bottle: str, text: str) -> None:
        self._note_down("gauge_typed", bottle, text)

    def are_empty(self, bottles: bool | Sequence[str]) -> None:
        self._note_down("are_empty", bottles)

    def done(self) -> None:
        self._note_down("done")

    def take_toggle(self) -> None:
        self._note_down("take_toggle")
        self.shown = self.between_view() if self.shown.mode == "take" else self.take_view()

    def note(self, text: str, bottle: str | None) -> None:
        self._note_down("note", text, bottle)

    def swapped(self, one: str, other: str) -> None:
        self._note_down("swapped", one, other)

    def rail_air(self, rail: int, warmer_k: float) -> None:
        self._note_down("rail_air", rail, warmer_k)

    def let_down(self) -> None:
        self._note_down("let_down")

    def replaced(self, bottle: str, part: Part) -> None:
        self._note_down("replaced", bottle, part)

    def forecast_paths(self) -> tuple[DriftPath, ...]:
        slopes = (-1.1, -0.9, 0.7, -0.5, 0.42, -0.3, 0.2, -0.12, 0.1, -0.05)
        return tuple(
            drift_path(b.id, b.note.name, slope, 10.0 / abs(slope) if abs(slope) > 0.25 else None)
            for b, slope in ((b, slopes[i // 4]) for i, b in enumerate(self.rig.bottles))
        )

    def log_lines(self) -> tuple[LogLine, ...]:
        return (
            LogLine("19:42:10", "strike", "A3", "−23.4 ±1.8 cents, clear"),
            LogLine("19:41:58", "air", "A3", "3 strokes in, by the hand pump"),
            LogLine("19:41:40", "pump on", "A3", "hand"),
            LogLine("19:41:31", "strike", "G3", "not clear: two bottles ring"),
            LogLine("19:38:00", "round", "", "opened, downbeat 19:50, 30 bottles needed"),
        )

    def health_lines(self) -> tuple[HealthLine, ...]:
        return (
            HealthLine(
                "G6", "G6", "replace", "loses 4.1 cents a minute, 2.3 times its group", "fit a new cap"
            ),
            HealthLine("C3", "C3", "watch", "each connection costs 9 cents", "check the valve core"),
            HealthLine("C4", "C4", "good", "holds 34 min", ""),
            HealthLine("E5", "E5", "unknown", "3 readings", "strike it in a few more rounds"),
        )


def _clear(bottle: str, cents: float) -> ReadingView:
    return ReadingView(bottle, bottle, cents, 2.1, "clear")


def _unclear(fake: FakeController) -> View:
    advice = "Two bottles ring: damp the neighbour with a hand, and strike again."
    reading = ReadingView(None, None, None, None, "two_ringing", advice)
    return replace(fake.round_view(), instruction=told("strike", "C#5"), reading=reading)


def _refused(fake: FakeController) -> View:
    why = "more air would pass the ceiling of 80 psi; let it down and use a smaller bottle for this note"
    refusal = Instruction("none", "G6", None, None, None, why, "G6: no more air", "", why)
    return replace(fake.round_view(), instruction=refusal, pump_on=None)


def _doing(act: Act, bottle: str | None, strokes: float | None = None, **fields: Any) -> Scene:
    return lambda fake: replace(fake.round_view(), instruction=told(act, bottle, strokes), **fields)


Scene = Callable[[FakeController], View]
_DUE = DueView(-30.0, "C3 and D3 are expected to be out", True, "due", "a round is due: C3 and D3 are out")
_SHORT_OF = ("C3", "D3", "F3", "F#5", "C6")
_LATE = "Time is short. Left out: C3 and D3. Still whole: Lantern Walk."


def _two(fake: FakeController) -> View:
    """Two people: one pumps, the other strikes."""
    first = told("connect", "A3", 3.25)
    second = replace(told("strike", "F#5"), why="not heard in this round")
    bottles = tuple(replace(b, person=0 if b.rail == 1 else 1) for b in fake.shown.bottles)
    heard = ReadingView("Bb5", "A#5", 12.4, 2.2, "clear", person=1)
    people = (PersonView(first, None, False, True), PersonView(second, None, False, False))
    return replace(
        fake.round_view(), instruction=first, bottles=bottles, people=people, reading=heard, pump_on=None
    )


def _two_turns(fake: FakeController) -> View:
    """A strike that might have been either's: the second holds."""
    view = _two(fake)
    words = "that may have been A3 or F#5: strike one at a time"
    strike = replace(told("strike", "A3"), why="not clear; don't pump again, just strike")
    wait = replace(told("wait", "F#5"), why="person 1 goes first", headline="Wait")
    people = (PersonView(strike, "A3", False, True), PersonView(wait, None, True, False))
    heard = ReadingView(None, None, None, None, "unclear", words)
    return replace(view, instruction=strike, people=people, reading=heard, pump_on="A3")


def _ran_out(fake: FakeController) -> View:
    """After a fill that the downbeat ended: what was not filled is left out, and what plays is said."""
    view = fake.between_view()
    bottles = tuple(
        replace(b, state="left_out" if b.id in _SHORT_OF else "holds", needed=True) for b in view.bottles
    )
    due = DueView(None, "", False, "well", "all well: all hold for two hours")
    return replace(view, bottles=bottles, due=due)


SCENES: dict[str, Scene] = {
    "round": FakeController.round_view,
    "between": FakeController.between_view,
    "take": FakeController.take_view,
    "strike": _doing("strike", "F#4", phase="listen", reading=None, pump_on=None),
    "pump": _doing(
        "connect", "Bb3", 3.25, pump_on=None, reading=ReadingView("Bb3", "A#3", -31.0, 2.6, "clear")
    ),
    "release": _doing(
        "release", "F3", -0.75, pump_on=None, reading=ReadingView("F3", "F3", 12.4, 2.2, "clear")
    ),
    "off": _doing("disconnect", "A3", reading=ReadingView("A3", "A3", 0.8, 1.1, "clear")),
    "gauge": _doing("gauge", "A3"),
    "swapped": _doing("strike", "E4", maybe_swapped=("D4", "E4")),
    "next_in": _doing(
        "wait", None, reading=None, pump_on=None, next_in_s=286.0, message="F3 and A3 won't stay put."
    ),
    "no_microphone": _doing("strike", "F#4", phase="listen", reading=None, pump_on=None),
    "unclear": _unclear,
    "done": _doing("none", None, left=0, phase="done", pump_on=None),
    "refused": _refused,
    "due": lambda fake: replace(fake.between_view(), due=_DUE),
    "snoozed": lambda fake: replace(fake.between_view(), due=replace(_DUE, overdue=False, snoozed_s=290.0)),
    "ran_out": _ran_out,
    "two": _two,
    "turns": _two_turns,
    "late": lambda fake: replace(fake.round_view(), downbeat_in_s=-12.0, message=_LATE),
}


def controller(scene: str) -> Controller:
    """A controller in a scene; `first` is the first run."""
    fake = FakeController(first_run=scene == "first")
    fake.shown = SCENES.get(scene, FakeController.round_view)(fake)
    if scene == "no_microphone":
        fake.sound = Level(None, None, "lost", "The microphone was lost; check its plug.")
    return fake


def main() -> int:
    """Show a scene in a terminal."""
    from rounds.tui.app import run

    return run(controller(sys.argv[1] if len(sys.argv) > 1 else "round"))


if __name__ == "__main__":
    sys.exit(main())
