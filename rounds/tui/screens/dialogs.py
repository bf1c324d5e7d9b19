"""Questions to the player: one line to type, or the few lines that open a round.

A dialog gives what was typed, read by `rounds.faces.typed`; a line that cannot be read stays open with
the reason beneath it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeVar

from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Static

from rounds.air import LEAST_AIR_C, MOST_AIR_C
from rounds.errors import BadInput
from rounds.faces import typed
from rounds.faces.controller import USUAL_SNOOZE_MIN, RoundRequest
from rounds.sessions.acts import LONGEST_SNOOZE_MIN
from rounds.tui.answers import UNDO, swapped
from rounds.wording.printable import plain
from rounds.wording.shown import snoozed
from rounds.wording.words import in_words, strokes_phrase

if TYPE_CHECKING:
    from collections.abc import Callable

    from textual.app import ComposeResult

    from rounds.events import Part
    from rounds.faces.controller import Controller
    from rounds.rig import Rig

Answer = TypeVar("Answer")


@dataclass(frozen=True)
class Field:
    """One line to type: its name, what to put there (shown while it is empty), and what it holds at first."""

    name: str
    hint: str
    value: str = ""
    beneath: str = ""
    """A line under it, for what has to be chosen from."""


class Ask(ModalScreen[Answer | None], Generic[Answer]):
    """Some fields and two buttons, low on the screen: a round goes on above, and hands look up at it.

    Gives None when it was left.
    """

    BINDINGS: ClassVar = [Binding("escape", "leave", "leave")]

    def __init__(
        self,
        heading: str,
        fields: tuple[Field, ...],
        read: Callable[[dict[str, str]], Answer],
        begin: str = "",
    ) -> None:
        """Ask; the cursor begins in the field named `begin`, else in the first."""
        super().__init__()
        self._begin = begin
        self._heading, self._fields, self._read = heading, fields, read

    def compose(self) -> ComposeResult:
        """From top to bottom."""
        with VerticalScroll(classes="sheet ask") as sheet:
            sheet.border_title = self._heading
            for field in self._fields:
                with Horizontal(classes="field"):
                    yield Static(Content.styled(field.name, "bold"), classes="label")
                    yield Input(field.value, placeholder=field.hint, name=field.name, compact=True)
                if field.beneath:
                    yield Static(Content.styled(field.beneath, "$faint"), classes="beneath")
            yield Static("", classes="wrong")
            with Horizontal(classes="buttons"):
                yield Button("Enter: yes", id="yes", compact=True)
                yield Button("Escape: leave", id="no", compact=True)

    def on_mount(self) -> None:
        """Start in the field to begin with."""
        inputs = self.query(Input)
        next((i for i in inputs if i.name == self._begin), inputs.first()).focus()

    def on_input_submitted(self) -> None:
        """Enter in any field answers."""
        self._answer()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        """A button was clicked."""
        if event.button.id == "yes":
            self._answer()
        else:
            self.action_leave()

    def action_leave(self) -> None:
        """Give nothing."""
        self.dismiss(None)

    def _answer(self) -> None:
        values = {str(i.name): i.value for i in self.query(Input)}
        try:
            self.dismiss(self._read(values))
        except BadInput as error:
            wrong = self.query_one(".wrong", Static)
            wrong.update(Content(f"! {error}"))
            wrong.display = True


@dataclass(frozen=True)
class Question:
    """A dialog, and what is done with its answer."""

    dialog: Ask[Any]
    act: Callable[[Any], None]
    done: Callable[[Any], str] = lambda _: ""
    """What is said once it is done."""


def question(name: str, controller: Controller, here: str) -> Question:
    """The question that belongs to an intent (one of `intents.QUESTIONS`); `here`: the bottle in hand."""
    makers: dict[str, Callable[[Controller, str], Question]] = {
        "open_round": _round,
        "air": _air,
        "temperature": _temperature,
        "gauge": _gauge,
        "empty": _empty,
        "note": _note,
        "replaced": _replaced,
        "swap": _swap,
        "snooze": _snooze,
        "today": _today,
    }
    return makers[name](controller, here)


def _air(controller: Controller, here: str) -> Question:
    bottle = controller.view().pump_on or here
    field = Field("strokes", "in as 3, 2.5 or 3/8; out as -1")

    def read(values: dict[str, str]) -> float:
        return typed.number(values["strokes"], "strokes", -200, 200)

    def done(strokes: float) -> str:
        return f"{strokes_phrase(strokes)} {'out of' if strokes < 0 else 'into'} {plain(bottle, 8)}.{UNDO}"

    return Question(Ask("Air moved", (field,), read), controller.air, done)


def _temperature(controller: Controller, here: str) -> Question:
    now_c = controller.view().temp_c
    field = Field("°C", "of the air at the bottles", "" if now_c is None else f"{now_c:g}")

    def read(values: dict[str, str]) -> float:
        return typed.number(values["°C"], "temperature", LEAST_AIR_C, MOST_AIR_C)

    def done(temp_c: float) -> str:
        return f"Air at {temp_c:g} °C."

    return Question(Ask("Air temperature", (field,), read), controller.temperature, done)


def _gauge(controller: Controller, here: str) -> Question:
    rig = controller.rig
    unit = rig.pump_of(here).gauge_unit if here else "psi"
    fields = (
        Field("bottle", "which one", here),
        Field("gauge", f"what it reads in {unit}, 46 or 3.2 bar; none: there is no gauge"),
    )

    def read(values: dict[str, str]) -> tuple[str, str]:
        bottle = typed.bottle(values["bottle"], rig)
        return bottle, typed.readable(values["gauge"].strip(), rig.pump_of(bottle).gauge_unit)

    def done(read: tuple[str, str]) -> str:
        return f"{read[0]}: {typed.gauge_said(read[1], rig.pump_of(read[0]).gauge_unit)}.{UNDO}"

    ask = Ask("Pressure gauge", fields, read, "gauge" if here else "")
    return Question(ask, lambda read: controller.gauge_typed(*read), done)


def _empty(controller: Controller, here: str) -> Question:
    field = Field("bottles", "by name, with spaces between; all: those not heard yet", here)

    def read(values: dict[str, str]) -> bool | tuple[str, ...]:
        named = typed.empties(values["bottles"], controller.rig)
        if not named:
            raise BadInput("name the empty bottles, or type all")
        return named

    def done(named: bool | tuple[str, ...]) -> str:
        return f"Empty: {'all not heard yet' if named is True else in_words(list(named or ()), 6)}.{UNDO}"

    return Question(Ask("Which bottles are empty?", (field,), read), controller.are_empty, done)


def _note(controller: Controller, here: str) -> Question:
    fields = (Field("note", "what to remember"), Field("bottle", "empty: about the day"))

    def read(values: dict[str, str]) -> tuple[str, str | None]:
        text, name = values["note"].strip(), values["bottle"].strip()
        if not text:
            raise BadInput("note: nothing is written")
        return text, typed.bottle(name, controller.rig) if name else None

    return Question(
        Ask("Write a note", fields, read), lambda read: controller.note(*read), lambda _: "Noted."
    )


def _replaced(controller: Controller, here: str) -> Question:
    fields = (Field("bottle", "which one", here), Field("part", "cap or bottle", "cap"))

    def read(values: dict[str, str]) -> tuple[str, Part]:
        return typed.bottle(values["bottle"], controller.rig), typed.part(values["part"])

    def done(read: tuple[str, Part]) -> str:
        return f"{read[0]}: new {read[1]}. Its record starts afresh."

    return Question(Ask("A part was replaced", fields, read), lambda read: controller.replaced(*read), done)


def _swap(controller: Controller, here: str) -> Question:
    field = Field("bottles", "two, as C4 E4, or one and a spare", f"{here} " if here else "")

    def read(values: dict[str, str]) -> tuple[str, str]:
        return typed.two_bottles(values["bottles"], controller.rig)

    ask = Ask("Which two changed places?", (field,), read)
    return Question(ask, lambda pair: controller.swapped(*pair), lambda pair: swapped(*pair))


def _snooze(controller: Controller, here: str) -> Question:
    field = Field("minutes", "0 ends it", f"{USUAL_SNOOZE_MIN:g}")

    def read(values: dict[str, str]) -> float:
        return typed.number(values["minutes"], "minutes", 0, LONGEST_SNOOZE_MIN)

    return Question(Ask("No round called due for", (field,), read), controller.snooze, snoozed)


def _today(controller: Controller, here: str) -> Question:
    out = {b.id for b in controller.view().bottles if b.not_today}
    beneath = plain(f"Left out now: {in_words(sorted(out))}", 120) if out else ""
    field = Field("bottle", "named again: played after all", here, beneath=beneath)

    def read(values: dict[str, str]) -> str:
        return typed.bottle(values["bottle"], controller.rig)

    def act(bottle: str) -> None:
        controller.today(bottle, played=bottle in out)

    def done(bottle: str) -> str:
        return f"{plain(bottle, 8)} is {'played again' if bottle in out else 'left out today'}.{UNDO}"

    return Question(Ask("Not this bottle today", (field,), read), act, done)


def _round(controller: Controller, here: str) -> Question:
    rig, temp_c = controller.rig, controller.view().temp_c
    names = ", ".join(p.name.replace(" ", "\N{NO-BREAK SPACE}") for p in rig.pieces)
    fields = (
        Field("downbeat", "19:30, or minutes from now; empty: none"),
        Field("play, min", "how long it lasts", f"{rig.habits.block_s / 60:.0f}"),
        Field("air, °C", "empty: as last told", "" if temp_c is None else f"{temp_c:g}"),
        Field("empty", "all, or the bottles without air; else leave it"),
        Field("pieces", "empty: all bottles", beneath=plain(names, 120)),
    )
    title = "Start a round" if controller.people == 1 else "Start a round for two"
    dialog = Ask(title, fields, lambda values: _request(values, rig, controller.clock_s()))
    return Question(dialog, controller.open_round)


def _request(values: dict[str, str], rig: Rig, clock_s: float) -> RoundRequest:
    minutes, temp = values["play, min"].strip(), values["air, °C"].strip()
    return RoundRequest(
        downbeat_in_s=typed.downbeat_in_s(values["downbeat"], clock_s),
        block_s=60.0 * typed.number(minutes, "minutes of playing", 1, 600) if minutes else None,
        pieces=typed.pieces(values["pieces"], rig),
        temp_c=typed.number(temp, "temperature", LEAST_AIR_C, MOST_AIR_C) if temp else None,
        empty=typed.empties(values["empty"], rig),
    )
