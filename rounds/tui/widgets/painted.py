"""The base of our widgets: a value goes in, a picture comes out, and only a new value repaints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from textual.message import Message
from textual.widget import Widget

from rounds.tui.canvas import Canvas, Zone

if TYPE_CHECKING:
    from textual import events
    from textual.content import Content


class Painted(Widget):
    """Draws `model` on a canvas of its own size. Equal models are not painted twice."""

    @dataclass
    class Pressed(Message):
        """A clickable place was clicked."""

        widget: Painted
        value: str

        @property
        def control(self) -> Painted:
            """The widget that was clicked."""
            return self.widget

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.model: Any = None
        self._zones: list[Zone] = []

    def paint(self, model: Any) -> None:
        """Show a value; nothing happens when it is the one already shown."""
        if model != self.model:
            self.model = model
            self.set_class(self.says_nothing(model), "-empty")
            self.refresh()

    def says_nothing(self, model: Any) -> bool:
        """Whether there is nothing to paint, so that a low screen may close the gap."""
        return model is None

    def render(self) -> Content:
        """The picture of the model at the present size."""
        size = self.content_size
        canvas = Canvas(size.width, size.height)
        if self.model is not None and size.width and size.height:
            self.draw(canvas)
        self._zones = canvas.zones
        return canvas.content()

    def draw(self, canvas: Canvas) -> None:
        """Draw `self.model`; subclasses do it."""
        raise NotImplementedError

    def on_click(self, event: events.Click) -> None:
        """Send which place was clicked, if any."""
        at = event.get_content_offset(self)
        if at is None:
            return
        for zone in reversed(self._zones):
            if zone.holds(at.x, at.y):
                event.stop()
                self.post_message(self.Pressed(self, zone.value))
                return
