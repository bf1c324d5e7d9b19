"""The base of the pages beside the round: a heading, a body, and the keys."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.screen import Screen

from rounds.tui.messages import Opened
from rounds.tui.widgets.keyline import Key, KeyLine
from rounds.tui.widgets.strip import Fact, Strip, StripModel

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.app import ComposeResult
    from textual.widget import Widget

    from rounds.faces.controller import Controller

SCROLLS = "more with the arrow keys"
FILL_EVERY = 5
"""The body is asked for again after this many paintings (about seconds): it may be slow to make."""


class Page(Screen[None]):
    """A page; `fill` is asked for when it opens and every few seconds while it is on top."""

    HEADING = ""
    NAME = ""
    HINT = ""
    """What to know of the page, beside its heading."""

    def __init__(self) -> None:
        super().__init__()
        self.opened = False
        self._stale = 0

    def on_mount(self) -> None:
        """All parts are there: ask to be painted."""
        self.opened = True
        self.post_message(Opened())

    def compose(self) -> ComposeResult:
        """Heading, body, keys."""
        yield Strip(classes="strip")
        yield from self.body()
        yield KeyLine()

    def body(self) -> Iterable[Widget]:
        """What lies between heading and keys."""
        raise NotImplementedError

    def fill(self, controller: Controller) -> None:
        """Put the present data in."""
        raise NotImplementedError

    def on_resize(self) -> None:
        """Another width folds the text anew."""
        self._stale = 0

    def show(self, controller: Controller, keys: tuple[Key, ...], answer: str) -> None:
        """Paint heading and keys, and the body; an answer to the player stands beside the heading."""
        if not self.opened or not self.query(KeyLine):
            # Not all there yet, or being taken down while a last tick comes in.
            return
        facts = (Fact("", answer, loud=True),) if answer else (Fact("", self.HINT),)
        self.query_one(Strip).paint(StripModel(self.HEADING, facts))
        self.query_one(KeyLine).paint(keys)
        if not self._stale:
            self.fill(controller)
        self._stale = (self._stale + 1) % FILL_EVERY
