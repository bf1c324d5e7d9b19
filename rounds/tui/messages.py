"""What reaches the screens from outside the keyboard."""

from __future__ import annotations

from dataclasses import dataclass

from textual.message import Message


@dataclass
class Opened(Message):
    """A screen has all its parts and can be painted."""


@dataclass
class Changed(Message):
    """Something happened on another thread: a strike was read, or the sound was lost."""

    def can_replace(self, message: Message) -> bool:
        """Only the newest matters, since the whole view is read again."""
        return isinstance(message, Changed)
