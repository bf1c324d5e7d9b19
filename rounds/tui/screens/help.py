"""Help: how a round goes with both hands full, the signs, and every key with what it does now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from rounds.tui.canvas import Canvas, drawn
from rounds.tui.screens.page import SCROLLS, Page
from rounds.tui.widgets.rails import STYLE
from rounds.wording import shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from textual.widget import Widget

    from rounds.faces.controller import Controller
    from rounds.faces.view import View
    from rounds.tui.intents import Intent

CARD = "Do what the big words say, then strike. The strike moves you on. No key is needed."
LEVELS = "Each step down in a bottle is twice the strokes: ▇ ⅛  ▆ ¼  ▅ ½  ▄ 1  ▃ 2  ▂ 4  ▁ more"
_SIGNS_A_ROW = 3
HOW = (
    "STRIKE: strike the bottle named in the box. PUMP 3½: pump head onto its valve, three and a half "
    "strokes, strike. ADD: the same, the head is on already. LET OUT: press the pin of the valve (or the "
    "pump's own valve) for about that many strokes of air, strike. HEAD OFF: pump straight off, strike.",
    "A part of a stroke is a part of the handle's way: 1/4 is a quarter of it. A BIT is less than that; "
    "the bar shows how much.",
    "Sharp and flat are said against the note. The aim lies a little beside the note where a bottle is known "
    "to drift or settle, so that it is right while you play; then the aim is named.",
    "A connection is once the pump head on a valve; each costs time and some air.",
    "Hit the wrong bottle? You are told which. No harm done. "
    "Numbers on the rails are the path ahead; rail 1 is the one nearest you.",
    "± is how far the true pitch may lie from the figure (19 times in 20).",
)


class HelpPage(Page):
    """Scrolls; the keys that can work now are bright."""

    HEADING, NAME, HINT = "HELP", "help", SCROLLS

    def __init__(self, intents: Sequence[Intent], keyed: Callable[[str], str]) -> None:
        """Help with the player's own keys."""
        super().__init__()
        self._intents, self._keyed = intents, keyed
        self._shown: tuple[bool, ...] | None = None

    def body(self) -> Iterable[Widget]:
        """One long text."""
        yield VerticalScroll(Static(classes="help"))

    def on_mount(self) -> None:
        """The text takes the arrow keys."""
        super().on_mount()
        self.query_one(VerticalScroll).focus()

    def fill(self, controller: Controller) -> None:
        """Write the text for what can work now."""
        view = controller.view()
        live = tuple(intent.can(view) for intent in self._intents)
        if live != self._shown:
            self._shown = live
            self.query_one(".help", Static).update(help_text(view, self._intents, self._keyed))


def help_text(view: View, intents: Sequence[Intent], keyed: Callable[[str], str]) -> Content:
    """The card first, signs and keys; the longer words below it."""
    parts: list[str | tuple[str, str]] = [(f"{CARD}\n\n", "bold")]
    for state, sign in shown.SIGN.items():
        parts += [(f"{drawn(sign) or 'name':<5}{shown.WORD[state]:<12}", STYLE[state])]
        parts += ["\n"] * (len(parts) % _SIGNS_A_ROW == 1)
    levels = "" if Canvas.plain else f"{LEVELS}\n"
    parts += ["\n", (f"{levels}\n", "$faint"), ("Keys", "bold $air-in"), ("  (faint: not now)", "$faint")]
    for intent in intents:
        live = intent.can(view)
        parts += [
            (f"\n{intent.cap:>6}  ", "bold $air-in" if live else "$faint"),
            (f"{intent.title:<21} ", "bold" if live else "$faint"),
            (keyed(intent.help), "" if live else "$faint"),
        ]
    parts += ["\n\n", ("How a round goes", "bold $air-in"), "\n", "\n".join(HOW)]
    return Content.assemble(*parts)
