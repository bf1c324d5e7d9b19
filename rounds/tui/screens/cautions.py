"""The cautions: before everything else at the first run, and again whenever they are asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Static

from rounds import cautions

if TYPE_CHECKING:
    from textual.app import ComposeResult


class CautionScreen(ModalScreen[bool]):
    """Gives True when accepted; at the first run nothing else can be done but quit."""

    BINDINGS: ClassVar = [
        Binding("enter", "accept", "accept"),
        Binding("escape", "leave", "leave"),
        Binding("q", "app.quit", "quit"),
    ]

    def __init__(self, first: bool) -> None:
        super().__init__()
        self._first = first

    def compose(self) -> ComposeResult:
        """Heading, the text to scroll, one button."""
        with Vertical(classes="sheet"):
            yield Static(f"! {cautions.HEADING}", classes="alarm")
            with VerticalScroll():
                yield Static(caution_text())
            yield Button(self._label(), id="accept")

    def _label(self) -> str:
        return f"Enter: {cautions.ACCEPT}" if self._first else "Enter: back"

    def on_mount(self) -> None:
        """Arrow keys scroll; Enter accepts."""
        self.query_one(VerticalScroll).focus()

    def on_button_pressed(self) -> None:
        """The button was clicked."""
        self.action_accept()

    def action_accept(self) -> None:
        """Read and accepted."""
        self.dismiss(True)

    def action_leave(self) -> None:
        """Escape leaves only when this is not the first run."""
        if not self._first:
            self.dismiss(False)


def caution_text() -> Content:
    """The cautions, the rules in bold."""
    parts: list[str | tuple[str, str]] = [cautions.OPENING, "\n\n"]
    for caution in cautions.CAUTIONS:
        parts += [(f"{caution.rule} ", "bold"), caution.text, "\n\n"]
    return Content.assemble(*parts[:-1])
