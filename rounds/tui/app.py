"""The app: keys become intents, the view becomes paint, and time ticks once a second.

Painting is cheap and idempotent: after every key, wake and tick the whole view is handed to the
screen on top, and each widget repaints only if its own value changed. During a take nothing is
painted at all, and nothing sounds.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import threading
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.events import Key as KeyPressed

from rounds.errors import RoundsError
from rounds.faces.news import Reminder
from rounds.faces.offering import offered
from rounds.files.problems import Problems
from rounds.files.settings import Settings
from rounds.tui import answers, models, themes
from rounds.tui.canvas import Canvas
from rounds.tui.intents import BY_NAME, INTENTS, OFFER_WORD, PAGES, QUESTIONS, Intent
from rounds.tui.keying import intents_with, keymap, with_keys
from rounds.tui.messages import Changed
from rounds.tui.reminders import desktop_notice, window_title
from rounds.tui.screens.home import HomeScreen
from rounds.tui.screens.page import Page
from rounds.tui.taking import Taker
from rounds.tui.widgets.keyline import Key
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from textual.events import Event
    from textual.screen import Screen

    from rounds.faces.controller import Controller
    from rounds.faces.view import View
    from rounds.tui.widgets.painted import Painted

TICK_S = 1.0
ANSWER_TICKS = 5
"""An answer to the player stays this many seconds at least."""
READ_A_SECOND = 18
"""Characters that are read in a second: a long answer stays longer."""


COLUMNS = [(0, "-narrow"), (80, "-usual"), (116, "-wide")]
ROWS = [(0, "-low"), (16, "-short"), (24, "-even"), (36, "-tall"), (50, "-huge")]
"""Where the layout changes; rounds.tcss says how."""


class RoundsApp(App[int]):
    """The screens over one controller."""

    TITLE = "rounds"
    CSS_PATH = "rounds.tcss"
    HORIZONTAL_BREAKPOINTS = COLUMNS
    VERTICAL_BREAKPOINTS = ROWS
    BINDINGS: ClassVar = [Binding(i.keys, i.action, i.title, show=False, id=i.name) for i in INTENTS]

    def __init__(self, controller: Controller, settings: Settings | None = None) -> None:
        # With NO_COLOR all colours are dropped, not turned to greys; signs, bold and reverse remain.
        super().__init__(ansi_color=True if "NO_COLOR" in os.environ else None)
        self.controller = controller
        settings = settings or Settings()
        self.intents = intents_with(settings.keys, Problems())
        self.set_keymap(keymap(settings.keys, self.intents))
        Canvas.plain = settings.glyphs == "plain" or os.environ.get("TERM") == "linux"
        self.reminder = Reminder()
        self.bell_on = settings.bell
        self.answer = ""
        self._answer_left = 0
        self._title = ""
        self._before: View | None = None
        self._again = ""
        """The key that was asked to be pressed again."""
        self._leaving = False
        self.fault: Exception | None = None
        self._themes = themes.fitting(self.console.color_system)
        for theme in (*themes.THEMES, *themes.THEMES_16):
            self.register_theme(theme)
        self.theme = themes.PLAIN.name if self.no_color else themes.named(settings.theme, self._themes).name
        self.taker = Taker(controller, self.ask, self._inquire)

    def get_default_screen(self) -> Screen[None]:
        """The home screen."""
        return HomeScreen(self.keyed)

    def on_mount(self) -> None:
        """Start listening to the controller and to the clock; cautions come first at the first run."""
        self.controller.attach(self._wake)
        self._end_on_signals()
        self.set_interval(TICK_S, self._second)
        if self.controller.first_run:
            self._show_cautions(first=True)

    def _show_cautions(self, first: bool) -> None:
        # Late, like every screen but the first: it keeps the start quick.
        from rounds.tui.screens.cautions import CautionScreen

        def answered(accepted: bool | None) -> None:
            if accepted and first:
                self.ask(self.controller.accept_cautions)

        self.push_screen(CautionScreen(first, self.keyed("{cautions}")), answered)

    def _wake(self) -> None:
        """Called from any thread."""
        self.post_message(Changed())

    def on_opened(self) -> None:
        """A screen can be painted."""
        self.repaint()

    def on_changed(self) -> None:
        """Another thread left something."""
        self._step()

    def _second(self) -> None:
        self._answer_left = max(0, self._answer_left - 1)
        if not self._answer_left:
            self.answer = ""
            self._again = ""
        self._step()

    def _step(self) -> None:
        try:
            self.controller.tick()
        except RoundsError as error:
            self.say(str(error))
        self.repaint()

    # Painting

    @property
    def page(self) -> Page | None:
        """The page on top, if it is not the round."""
        return self.screen if isinstance(self.screen, Page) else None

    @property
    def home(self) -> HomeScreen:
        """The screen at the bottom of the stack; it shows behind dialogs."""
        home = self.screen_stack[0]
        assert isinstance(home, HomeScreen)
        return home

    def exit(self, result: int | None = None, return_code: int = 0, message: Any = None) -> None:
        """Leave. The screens lose their parts one by one, so nothing is painted from now on."""
        self._leaving = True
        super().exit(result, return_code, message)

    def repaint(self) -> None:
        """Hand the view to the page on top or to the home screen, and remind where it is time."""
        if self._leaving:
            return
        if not self.screen_stack:  # being taken down, while a strike comes in
            return
        view = self.taker.view()
        self._tell_the_turn(view)
        if view.mode == "take" and self.page is not None:
            self.pop_screen()
            self.call_after_refresh(self.repaint)
        elif self.page is not None:
            self.page.show(self.controller, self.keys_for(view), self.answer)
        else:
            typed = self.taker.entry.typed(view)
            self.home.paint(view, self.controller, self.answer, self.keys_for(view), typed)
        self._remind(view)

    def _tell_the_turn(self, view: View) -> None:
        """A round or a take that ended, by a key or by itself, is summed up in a sentence."""
        before, self._before = self._before, view
        if before is not None and view.mode == "between":
            summary = models.summary(before, view)
            if summary:
                self.say(summary)

    def _remind(self, view: View) -> None:
        title = window_title(view)
        if title != self._title:
            self._title = title
            self._write_title(title)
        if self.reminder.rings(view) and self.bell_on:
            self.bell()
            if not self.is_headless:
                desktop_notice(view.due.reason or "the next round is due")

    def _write_title(self, title: str) -> None:
        """Textual has no call for the terminal's own title; OSC 2 is what terminals understand."""
        if self._driver is not None and not self.is_headless:
            self._driver.write(f"\x1b]2;{plain(title, 60)}\x07")

    def keys_for(self, view: View) -> tuple[Key, ...]:
        """The keys that can work now, the most useful first."""
        on_page = self.page is not None
        can = [i for i in self.intents if i.can(view) and (i.anywhere or not on_page)]
        offer = OFFER_WORD[offered(view)]
        return tuple(Key(i.cap, offer if i.name == "offer" else i.word, i.action) for i in can if i.cap)

    def keyed(self, text: str) -> str:
        """A sentence with the player's keys in it."""
        return with_keys(text, self.intents)

    def say(self, answer: str) -> None:
        """Show a sentence to the player for some seconds."""
        self.answer = plain(self.keyed(answer), 240)
        self._answer_left = max(ANSWER_TICKS, len(self.answer) // READ_A_SECOND)

    def _handle_exception(self, error: Exception) -> None:
        """Textual would print the traceback; the error goes on to whoever ran the screens instead."""
        self.fault = self.fault or error
        super()._handle_exception(error)
        self._exit_renderables.clear()

    # Intents

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """The palette: what can work now, and nothing else."""
        view = self.taker.view()
        for intent in self.intents:
            if intent.can(view) and intent.name != "search":
                yield SystemCommand(intent.title, self.keyed(intent.help), self._runner(intent))

    def _runner(self, intent: Intent) -> Callable[[], None]:
        return lambda: self.action_intent(intent.name)

    def action_intent(self, name: str) -> None:
        """Carry out an intent by its name, or say why not."""
        intent = BY_NAME[name]
        view = self.taker.view()
        if not intent.can(view):
            if view.mode != "take":
                self.say(answers.why_not(intent, view))
                self.repaint()
            return
        if intent.anywhere or self.page is None:
            self._carry_out(name)

    def _carry_out(self, name: str) -> None:
        c = self.controller
        self._again = self._again if name == self._again else ""
        at_once: dict[str, Callable[[], str | None]] = {
            "again": c.repeat,
            "skip": c.skip,
            "back": c.back,
            "pump": c.pump_toggle,
            "other": c.other_hand,
            "stroke_in": lambda: c.air(1.0),
            "stroke_out": lambda: c.air(-1.0),
            "undo": lambda: answers.taken_back(c.undo(), self.taker.view()),
            "take": c.take_toggle,
        }
        if name in at_once:
            before = c.view()
            self.ask(at_once[name], lambda: answers.marked(before, answers.done(name, before, c.view())))
        elif name in ("upper", "lower"):
            self.home.choose(-1 if name == "upper" else 1)
        elif name in PAGES:
            self._turn_to(name)
        elif name in QUESTIONS:
            self._inquire(name)
        else:
            getattr(self, f"_do_{name}")()

    def ask(self, intent: Callable[[], str | None], done: Callable[[], str] = str) -> None:
        """Carry out an intent of the controller; say what was done, or why it could not be."""
        self.answer = ""
        try:
            told = intent() or done()
        except RoundsError as error:
            self.say(str(error))
        else:
            if told:
                self.say(told)
        self.repaint()

    def _turn_to(self, name: str) -> None:
        from rounds.tui.screens.help import HelpPage
        from rounds.tui.screens.sound import SoundPage
        from rounds.tui.screens.tables import HealthPage, LogPage, PromisesPage, RigPage

        if self.page is not None:
            if name == self.page.NAME:
                name = "now"
            self.pop_screen()
        made: dict[str, Callable[[], Page]] = {
            "log": LogPage,
            "health": HealthPage,
            "rig": RigPage,
            "sound": SoundPage,
            "promises": PromisesPage,
            "help": lambda: HelpPage(self.intents, self.keyed),
        }
        if name in made:
            self.push_screen(made[name]())
        self.call_after_refresh(self.repaint)

    def _inquire(self, name: str) -> None:
        """Ask the player something, and act on the answer."""
        from rounds.tui.screens.dialogs import question

        asked = question(name, self.controller, self.home.bottle_in_hand(self.taker.view()))

        def answered(answer: Any) -> None:
            if answer is not None:
                self.ask(lambda: asked.act(answer), lambda: asked.done(answer))

        self.push_screen(asked.dialog, answered)

    def _do_offer(self) -> None:
        self.taker.take()

    def _do_no_gauge(self) -> None:
        self.taker.no_gauge()

    def _do_not_swapped(self) -> None:
        self.say(self.taker.hang_right())
        self.repaint()

    async def on_event(self, event: Event) -> None:
        """Digits go into the order where a gauge is asked for; all else takes its usual way."""
        pressed = event if isinstance(event, KeyPressed) and len(self.screen_stack) == 1 else None
        if pressed and self.taker.entry.take(pressed.key, pressed.character, self.taker.view()):
            self.repaint()
        else:
            await super().on_event(event)

    async def action_quit(self) -> None:
        """The library's own key for leaving does what ours does: in a round it is asked for twice."""
        self.action_intent("quit")

    def _do_let_down(self) -> None:
        """Asked for twice: it ends the day."""
        if self._sure("let_down", "Press {let_down} again to let all bottles down for the night."):
            self.ask(self.controller.let_down)

    def _do_end_round(self) -> None:
        """With work left the key is asked for twice: a slip would cost a round of listening."""
        left = self.taker.view().left
        if self._sure(
            "end_round", f"Press {{end_round}} again to end the round with {left} to do." if left else ""
        ):
            self.ask(self.controller.end_round)

    def _sure(self, name: str, question: str) -> bool:
        """Whether a key may act: where there is something to lose it is asked for twice."""
        if not question or self._again == name:
            return True
        self._again = name
        self.say(question)
        self.repaint()
        return False

    def _do_theme(self) -> None:
        if self.no_color:
            self.say("NO_COLOR is set, so there are no colours to change.")
            self.repaint()
            return
        names = [theme.name for theme in self._themes]
        self.theme = names[(names.index(self.theme) + 1) % len(names)]

    def _do_bell(self) -> None:
        self.bell_on = not self.bell_on
        self.say(f"Bell {'on' if self.bell_on else 'off'}.")
        self.repaint()

    def _do_cautions(self) -> None:
        self._show_cautions(first=False)

    def _do_search(self) -> None:
        self.action_command_palette()

    def _do_quit(self) -> None:
        """In a round a slip would stop everything, so the key is asked for twice; in a take, in silence."""
        mode = self.taker.view().mode
        question = "" if mode == "between" else "Press {quit} again to quit. The round waits where it is."
        if self._sure("quit", question):
            self.exit(0)

    def _end_on_signals(self) -> None:
        """Leave the terminal as it was when the system ends the program or the window is closed."""
        if self.is_headless or threading.current_thread() is not threading.main_thread():
            return
        for name in ("SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None:
                with contextlib.suppress(NotImplementedError):  # Windows has no such handlers
                    asyncio.get_running_loop().add_signal_handler(number, self.exit, 128 + number)

    async def on_painted_pressed(self, event: Painted.Pressed) -> None:
        """A key on the key line, or a bottle on the rails, was clicked."""
        if event.value.startswith("intent("):
            await self.run_action(event.value)
        else:
            self.say(models.chosen(self.taker.view(), event.value))
            self.repaint()


def run(controller: Controller, settings: Settings | None = None) -> int:
    """Run the screens until the player quits; the value is the exit code.

    Raises:
        Exception: whatever the screens stumbled over; the terminal is as it was before.
    """
    app = RoundsApp(controller, settings)
    code = app.run() or 0
    if app.fault is not None:
        raise app.fault
    return code
