"""The cautions: before everything else at the first run, and again whenever they are asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Static

from rounds.faces import cautions

if TYPE_CHECKING:
    from textual.app import ComposeResult


class CautionScreen(ModalScreen[bool]):
    """Gives True when accepted. At the first run it cannot be left otherwise, and Enter accepts only
    once the end of the text has been on the screen; until then it turns the page."""

    BINDINGS: ClassVar = [
        Binding("enter", "read_on", "read on", priority=True),
        Binding("space", "turn", "next page"),
        Binding("escape", "leave", "leave"),
        Binding("q", "app.quit", "quit"),
    ]

    def __init__(self, first: bool, again: str) -> None:
        """The cautions; `again`: the key that shows them once more."""
        super().__init__()
        self._again = again
        self._first = first

    def compose(self) -> ComposeResult:
        """Heading, the text to scroll, one button."""
        with Vertical(classes="sheet"):
            yield Static(f"! {cautions.HEADING}", classes="alarm")
            with VerticalScroll():
                yield Static(caution_text(self._again))
            yield Button("Enter: read on", id="accept", compact=True)

    def on_mount(self) -> None:
        """Arrow keys scroll; the button follows the scrolling."""
        scroll = self.query_one(VerticalScroll)
        scroll.focus()
        self.watch(scroll, "scroll_y", self._name_button)
        self.call_after_refresh(self._name_button)

    def on_resize(self) -> None:
        """A larger screen may show the end at once."""
        self.call_after_refresh(self._name_button)

    @property
    def _at_end(self) -> bool:
        scroll = self.query_one(VerticalScroll)
        return scroll.scroll_y >= scroll.max_scroll_y

    def _name_button(self) -> None:
        last = f"Enter: {cautions.ACCEPT}" if self._first else "Enter: back"
        label = last if self._at_end else "Enter: read on"
        self.query_one(Button).label = f"{label} · q: quit" if self._first else label

    def on_button_pressed(self) -> None:
        """The button was clicked."""
        self.action_read_on()

    def action_read_on(self) -> None:
        """Turn the page, or accept at the end."""
        if self._at_end:
            self.dismiss(True)
        else:
            self.action_turn()

    def action_turn(self) -> None:
        """Turn the page; never accepts."""
        self.query_one(VerticalScroll).scroll_page_down(animate=False)

    def action_leave(self) -> None:
        """Escape leaves only when this is not the first run."""
        if not self._first:
            self.dismiss(False)


def caution_text(again: str) -> Content:
    """The cautions, the rules in bold."""
    parts: list[str | tuple[str, str]] = [cautions.OPENING.format(again=again), "\n\n"]
    for caution in cautions.CAUTIONS:
        parts += [(f"{caution.rule} ", "bold"), caution.text, "\n\n"]
    return Content.assemble(*parts[:-1])
