"""Sound check: the level meter, and in plain words whether the microphone will do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.widgets import Static

from rounds.tui.screens.page import Page
from rounds.tui.widgets.meter import Meter

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.timer import Timer
    from textual.widget import Widget

    from rounds.faces.controller import Controller

METER_S = 0.125
"""The meter follows at 8 Hz, and only while this page is on top."""
HINT = (
    "Strike the quietest bottle as you would in a round, then keep still for a moment. "
    "Close to the bottles, or a contact microphone on the rail, beats everything else."
)


class SoundPage(Page):
    """Follows the microphone while it is on top."""

    HEADING, NAME = "SOUND CHECK", "sound"

    def __init__(self) -> None:
        super().__init__()
        self._controller: Controller | None = None
        self._timer: Timer | None = None

    def body(self) -> Iterable[Widget]:
        """The meter and a hint."""
        yield Meter()
        yield Static(HINT, classes="hint")

    def on_mount(self) -> None:
        """Start following."""
        super().on_mount()
        self._timer = self.set_interval(METER_S, self.follow)

    def on_screen_suspend(self) -> None:
        """Something lies on top: stop following."""
        if self._timer is not None:
            self._timer.pause()

    def on_screen_resume(self) -> None:
        """On top again: follow."""
        if self._timer is not None:
            self._timer.resume()

    def fill(self, controller: Controller) -> None:
        """Show the level now."""
        self._controller = controller
        self.follow()

    def follow(self) -> None:
        """Show the level, if there is a controller yet."""
        if self._controller is not None:
            self.query_one(Meter).paint(self._controller.level())
