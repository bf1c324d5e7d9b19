"""Digits typed while a gauge is asked for: they go into the order itself, without a form to open."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rounds.faces.view import View

_TAKEN = "0123456789.,"
_LONGEST = 6


class GaugeEntry:
    """What was typed so far of the pressure of one bottle."""

    def __init__(self) -> None:
        self._bottle: str | None = None
        self._text = ""

    def typed(self, view: View) -> str:
        """The digits so far; none where no gauge is asked for, or that of another bottle."""
        asked = view.mode == "round" and view.instruction.act == "gauge"
        if not asked or view.instruction.bottle != self._bottle:
            self._bottle, self._text = (view.instruction.bottle if asked else None), ""
        return self._text

    def take(self, key: str, character: str | None, view: View) -> bool:
        """Take a key where it belongs into the field; whether it did."""
        before = self.typed(view)
        if self._bottle is None:
            return False
        if character is not None and character in _TAKEN:
            self._text = (before + character)[:_LONGEST]
            return True
        if key == "backspace" and before:
            self._text = before[:-1]
            return True
        return False
