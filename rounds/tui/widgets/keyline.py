"""The keys that can do something now, each clickable; what does not fit is left to the help."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from rounds.tui.canvas import Canvas


@dataclass(frozen=True)
class Key:
    """A key cap, its word and the action it stands for."""

    cap: str
    word: str
    action: str


class KeyLine(Painted):
    """Paints a tuple of `Key`; the last one always keeps its place."""

    model: tuple[Key, ...] | None

    def draw(self, canvas: Canvas) -> None:
        """Keys from the left; the last at the end."""
        assert self.model is not None
        *keys, last = self.model
        column = 1
        for key in keys:
            if column + self._width(key) + self._width(last) + 4 > canvas.width:
                break
            column = self._key(canvas, key, column) + 2
        self._key(canvas, last, column)

    @staticmethod
    def _width(key: Key) -> int:
        return len(key.cap) + 1 + len(key.word)

    @staticmethod
    def _key(canvas: Canvas, key: Key, column: int) -> int:
        end = canvas.text(column, 0, key.cap, "bold $accent")
        end = canvas.text(end + 1, 0, key.word, "$faint")
        canvas.zone(column, 0, end - column, 1, key.action)
        return end
