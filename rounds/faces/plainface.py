"""The face for screen readers: words typed in, sentences out, equal in ability to the screens.

`PlainFace` has no terminal and no clock: lines go in, sentences come out, `tick` gives what changed
meanwhile. `run` puts it on a terminal: one thread reads lines, since a strike must be told while
the player's hands are away from the keys.
"""

from __future__ import annotations

import difflib
import queue
import shutil
import sys
import textwrap
import threading
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.air import LEAST_AIR_C, MOST_AIR_C
from rounds.errors import BadInput, RoundsError
from rounds.faces import cautions, plain, typed
from rounds.faces.controller import USUAL_SNOOZE_MIN, RoundRequest
from rounds.faces.news import Reminder, news
from rounds.faces.plainwords import QUESTIONS, SHORT, WORDS
from rounds.sessions.acts import LONGEST_SNOOZE_MIN
from rounds.wording.printable import plain as printable
from rounds.wording.shown import snoozed, strokes_spoken

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import TextIO

    from rounds.faces.controller import Controller

TICK_S = 1.0
NOTHING_TYPED = "\0"
"""Stands in the queue for a wake-up: an empty line is typed by somebody who wants the order again."""

_BELL = "\a"
_AGAIN = "Typing cautions"
_IN_A_TAKE = ("take", "now", "status", "quit")


class PlainFace:
    """Answers typed lines and prints what is new."""

    def __init__(self, controller: Controller) -> None:
        self.controller = controller
        self.over = False
        self.bell_on = True
        self.reminder = Reminder()
        self._view = controller.view()
        self._sound = controller.level().state

    def start(self) -> list[str]:
        """The cautions at the first run, then the state of the round."""
        if self.controller.first_run:
            return [*cautions.sentences(_AGAIN), "Type yes when you have read this, or quit."]
        return ["Type help for the words.", *plain.opening(self._view, self.controller.level())]

    def tick(self) -> list[str]:
        """Let time pass; what there is to say."""
        try:
            self.controller.tick()
        except RoundsError as error:
            return [plain.sentence(str(error)), *self._news()]
        return self._news()

    def _news(self) -> list[str]:
        if self.controller.first_run:
            return []
        before, self._view = self._view, self.controller.view()
        said = news(before, self._view)
        if self.reminder.rings(self._view) and said and self.bell_on:
            said[0] = _BELL + said[0]
        return said if self._view.mode == "take" else [*said, *self._news_of_sound()]

    def _news_of_sound(self) -> list[str]:
        level = self.controller.level()
        before, self._sound = self._sound, level.state
        changed = before != level.state and "lost" in (before, level.state)
        return plain.sound(level) if changed else []

    def hear(self, line: str) -> list[str]:
        """Obey one line; its answer, then what changed by it."""
        try:
            answer = self._answer(line.strip())
        except RoundsError as error:
            return [plain.sentence(str(error))]
        return [*answer, *self._news()]

    def _answer(self, line: str) -> list[str]:
        if self._view.people and line[:2] in ("1 ", "2 "):
            return self._of_person(int(line[0]) - 1, line[2:].strip())
        word, _, rest = line.partition(" ")
        word = SHORT.get(word.casefold(), word.casefold()) or "now"
        if word == "p":
            word = "on" if self._view.pump_on is None else "off"
        if self.controller.first_run and word != "quit":
            return self._accept(word)
        if word not in WORDS:
            near = difflib.get_close_matches(word, WORDS, 1)
            hint = f"did you mean {near[0]}?" if near else "type help for the words"
            raise BadInput(f"{printable(word, 20)} is not a word here; {hint}")
        if self._view.mode == "take" and word not in _IN_A_TAKE:
            raise BadInput("a take runs; only take, now, status and quit work until it is cut")
        if not WORDS[word].usage and rest.strip() and line.split()[0].casefold() not in QUESTIONS:
            raise BadInput(f"{word} takes nothing after it")
        answer: list[str] = getattr(self, f"_word_{word}")(rest.strip())
        return answer

    def _of_person(self, person: int, line: str) -> list[str]:
        """A line that begins with a person's number; the lines after it belong to the person before."""
        before = next(i for i, p in enumerate(self._view.people) if p.has_keys)
        self._give_keys(person)
        try:
            return self._answer(line)
        finally:
            if self.controller.view().people:
                self._give_keys(before)

    def _give_keys(self, person: int) -> None:
        if not self.controller.view().people[person].has_keys:
            self.controller.other_hand()
        now = self.controller.view()
        self._view = replace(self._view, instruction=now.instruction, pump_on=now.pump_on)

    def _accept(self, word: str) -> list[str]:
        if word != "yes":
            raise BadInput("type yes when you have read the cautions, or quit")
        self.controller.accept_cautions()
        self._view = self.controller.view()
        return self.start()

    # The words

    def _word_done(self, rest: str) -> list[str]:
        self.controller.done()
        return ["Done."]

    def _word_round(self, rest: str) -> list[str]:
        self.controller.open_round(round_request(rest, self.controller))
        return []

    def _word_again(self, rest: str) -> list[str]:
        self.controller.repeat()
        return [f"{self._whose()}That strike does not count. Strike {self._here()} again."]

    def _whose(self) -> str:
        return "".join(f"Person {i}: " for i, p in enumerate(self.controller.view().people, 1) if p.has_keys)

    def _here(self) -> str:
        return plain.name(self._view.instruction.bottle or "it")

    def _word_skip(self, rest: str) -> list[str]:
        here = self._here()
        self.controller.skip()
        return [f"{self._whose()}{here} is left out. Back brings it back."]

    def _word_back(self, rest: str) -> list[str]:
        self.controller.back()
        return []

    def _word_on(self, rest: str) -> list[str]:
        if self._view.pump_on is not None:
            raise BadInput(f"the pump is on {plain.name(self._view.pump_on)} already")
        self.controller.pump_toggle()
        return []

    def _word_off(self, rest: str) -> list[str]:
        if self._view.pump_on is None:
            raise BadInput("the pump is off already")
        self.controller.pump_toggle()
        return []

    def _word_add(self, rest: str) -> list[str]:
        strokes = typed.number(rest, "strokes", 0.0, 200.0)
        self.controller.air(strokes)
        return [f"{strokes_spoken(strokes)} in.".capitalize()]

    def _word_out(self, rest: str) -> list[str]:
        strokes = typed.number(rest, "strokes", 0.0, 200.0)
        self.controller.air(-strokes)
        return [f"{strokes_spoken(strokes)} out.".capitalize()]

    def _word_temp(self, rest: str) -> list[str]:
        temp_c = typed.number(rest, "temperature", LEAST_AIR_C, MOST_AIR_C)
        self.controller.temperature(temp_c)
        return [f"Air at {temp_c:g} degrees."]

    def _word_gauge(self, rest: str) -> list[str]:
        bottle, pressure = typed.gauge(rest, self.controller.rig, self._view.instruction.bottle)
        self.controller.gauge_typed(bottle, pressure)
        unit = self.controller.rig.pump_of(bottle).gauge_unit
        return [f"{plain.name(bottle)}: {typed.gauge_said(pressure, unit)}."]

    def _word_empty(self, rest: str) -> list[str]:
        named = typed.empties(rest or self._view.instruction.bottle or "", self.controller.rig)
        if not named:
            raise BadInput("name the empty bottles, as in empty C4 D4, or type empty all")
        self.controller.are_empty(named)
        said = plain.names(named) if isinstance(named, tuple) else "all that were not heard yet"
        return [f"Empty: {said}."]

    def _word_note(self, rest: str) -> list[str]:
        named, colon, text = rest.partition(":")
        about = named.strip() if colon and self.controller.rig.has_bottle(named.strip()) else None
        text = text.strip() if about else rest
        if not text:
            raise BadInput("note: nothing is written")
        self.controller.note(text, about)
        return ["Noted."]

    def _word_rail(self, rest: str) -> list[str]:
        named, _, kelvin = rest.rpartition(" ")
        rail = int(typed.number(named, "rail", 0.0, 50.0))
        warmer_k = typed.number(kelvin, "kelvin", -25.0, 25.0)
        self.controller.rail_air(rail, warmer_k)
        return [f"Rail {rail}: {abs(warmer_k):g} K {'warmer' if warmer_k >= 0.0 else 'colder'} than the air."]

    def _word_swap(self, rest: str) -> list[str]:
        one, other = typed.two_bottles(rest, self.controller.rig)
        self.controller.swapped(one, other)
        return [f"{plain.name(one)} and {plain.name(other)} changed places. Strike both when asked."]

    def _word_down(self, rest: str) -> list[str]:
        self.controller.let_down()
        return []

    def _word_replaced(self, rest: str) -> list[str]:
        named, _, part = rest.rpartition(" ")
        self.controller.replaced(typed.bottle(named, self.controller.rig), typed.part(part))
        return ["Noted. Its record starts afresh."]

    def _word_snooze(self, rest: str) -> list[str]:
        minutes = typed.number(rest or f"{USUAL_SNOOZE_MIN:g}", "minutes", 0.0, LONGEST_SNOOZE_MIN)
        self.controller.snooze(minutes)
        return [snoozed(minutes)]

    def _word_without(self, rest: str) -> list[str]:
        bottle = typed.bottle(rest, self.controller.rig)
        self.controller.today(bottle, played=False)
        return [f"{plain.name(bottle)} is left out today; with {bottle} brings it back."]

    def _word_with(self, rest: str) -> list[str]:
        bottle = typed.bottle(rest, self.controller.rig)
        self.controller.today(bottle, played=True)
        return [f"{plain.name(bottle)} is played again."]

    def _word_other(self, rest: str) -> list[str]:
        self.controller.other_hand()
        keys = next(i for i, p in enumerate(self.controller.view().people, 1) if p.has_keys)
        return [f"What you type is person {keys}'s from now on."]

    def _word_take(self, rest: str) -> list[str]:
        self.controller.take_toggle()
        return []

    def _word_undo(self, rest: str) -> list[str]:
        return [f"Undone: {printable(self.controller.undo(), 80)}."]

    def _word_end(self, rest: str) -> list[str]:
        self.controller.end_round()
        return []

    def _word_now(self, rest: str) -> list[str]:
        view = self.controller.view()
        return plain.orders(view) if view.mode == "round" else plain.status(view, self.controller.level())

    def _word_status(self, rest: str) -> list[str]:
        return plain.status(self.controller.view(), self.controller.level())

    def _word_path(self, rest: str) -> list[str]:
        return plain.path(self.controller.view())

    def _word_rails(self, rest: str) -> list[str]:
        return plain.rails(self.controller.view())

    def _word_forecast(self, rest: str) -> list[str]:
        return plain.forecast(self.controller.forecast_paths())

    def _word_log(self, rest: str) -> list[str]:
        return plain.log(self.controller.log_lines())

    def _word_health(self, rest: str) -> list[str]:
        return plain.health(self.controller.health_lines())

    def _word_promises(self, rest: str) -> list[str]:
        return plain.promises(self.controller.promises())

    def _word_rig(self, rest: str) -> list[str]:
        return plain.rig(self.controller.rig)

    def _word_sound(self, rest: str) -> list[str]:
        return plain.sound_check(self.controller.level())

    def _word_bell(self, rest: str) -> list[str]:
        self.bell_on = not self.bell_on
        return [f"Bell {'on' if self.bell_on else 'off'}."]

    def _word_cautions(self, rest: str) -> list[str]:
        return list(cautions.sentences(_AGAIN))

    def _word_help(self, rest: str) -> list[str]:
        return [f"{word}{' ' + w.usage if w.usage else ''}: {w.help}." for word, w in WORDS.items()]

    def _word_quit(self, rest: str) -> list[str]:
        self.over = True
        return ["Stopped."]


def round_request(text: str, controller: Controller) -> RoundRequest:
    """Read what follows the word `round`.

    Raises:
        BadInput: a part that cannot be used.
    """
    given, _, pieces = text.partition("pieces")
    parts = given.split()
    if len(parts) % 2 or any(key not in ("in", "at", "for", "temp", "empty", "a4") for key in parts[::2]):
        raise BadInput(f"after round comes {WORDS['round'].usage}")
    values = dict(zip(parts[::2], parts[1::2], strict=True))
    downbeat = values.get("at") or values.get("in") or ""
    block, temp = values.get("for"), values.get("temp")
    return RoundRequest(
        downbeat_in_s=typed.downbeat_in_s(downbeat, controller.clock_s()),
        block_s=60.0 * typed.number(block, "minutes of playing", 1.0, 600.0) if block else None,
        pieces=typed.pieces(pieces, controller.rig),
        temp_c=typed.number(temp, "temperature", LEAST_AIR_C, MOST_AIR_C) if temp else None,
        empty=typed.empties(values.get("empty", ""), controller.rig),
        a4=typed.a4(values.get("a4")),
    )


def run(
    controller: Controller,
    lines: TextIO | None = None,
    say: Callable[[str], None] | None = None,
    *,
    bell: bool = True,
) -> int:
    """Run the face on a terminal until the player quits or the input ends; the exit code."""
    waiting: queue.Queue[str | None] = queue.Queue()
    face = PlainFace(controller)
    face.bell_on = bell
    speak = say or _print
    controller.attach(lambda: waiting.put(NOTHING_TYPED))
    reader = threading.Thread(target=_read, args=(lines or sys.stdin, waiting), daemon=True)
    reader.start()
    _say(speak, face.start())
    while not face.over:
        try:
            line = waiting.get(timeout=TICK_S)
        except queue.Empty:
            line = NOTHING_TYPED
        if line is None:
            break
        _say(speak, face.tick() if line == NOTHING_TYPED else face.hear(line))
    return 0


def _print(text: str) -> None:
    """Print a sentence, folded between words where the terminal would break one."""
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 0
    bell = _BELL if text.startswith(_BELL) else ""
    print(bell + (textwrap.fill(text.removeprefix(_BELL), width) if width > 20 else text), flush=True)


def _read(lines: TextIO, waiting: queue.Queue[str | None]) -> None:
    try:
        for line in lines:
            waiting.put(line)
    finally:
        waiting.put(None)


def _say(speak: Callable[[str], None], sentences: list[str]) -> None:
    for sentence in sentences:
        speak(sentence)
