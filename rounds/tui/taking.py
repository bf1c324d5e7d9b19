"""What one key takes: an act confirmed, a gauge typed into the order, two bottles that changed places.

It keeps what belongs to the screen alone: the digits typed so far, the pairs that hang right, and when the
key was last pressed.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rounds.air import NO_GAUGE
from rounds.faces.offering import offered
from rounds.tui import answers
from rounds.tui.entry import GaugeEntry
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.faces.controller import Controller
    from rounds.faces.view import View

ONCE_S = 0.3
"""A pedal that bounces sends its key again within this time; what is offered is taken once."""


@dataclass
class Taker:
    """Carries out what is offered: `ask` does an act and says what came of it, `inquire` opens a form."""

    controller: Controller
    ask: Callable[[Callable[[], str | None], Callable[[], str]], None]
    inquire: Callable[[str], None]
    entry: GaugeEntry = field(default_factory=GaugeEntry)
    _hang_right: set[tuple[str, str]] = field(default_factory=set)
    _pressed_s: float = -math.inf

    def view(self) -> View:
        """What there is to paint now; a pair that hangs right is not asked about again."""
        view = self.controller.view()
        return replace(view, maybe_swapped=None) if view.maybe_swapped in self._hang_right else view

    def take(self) -> None:
        """Take what this moment offers; a pedal that bounces takes it once."""
        now_s, before_s = time.monotonic(), self._pressed_s
        self._pressed_s = now_s
        if now_s - before_s < ONCE_S:
            return
        before = self.view()
        match offered(before):
            case "gauge" if digits := self.entry.typed(before):
                self._gauge(before, digits)
            case "open_round" | "gauge" as question:
                self.inquire(question)
            case "end_round":
                self.ask(self.controller.end_round, str)
            case "swapped" if before.maybe_swapped is not None:
                pair = before.maybe_swapped
                self.ask(lambda: self.controller.swapped(*pair), lambda: answers.swapped(*pair))
            case "done":
                done = lambda: answers.marked(before, answers.done("offer", before, self.view()))  # noqa: E731
                self.ask(self.controller.done, done)

    def _gauge(self, view: View, reading: str) -> None:
        from rounds.faces import typed  # late: what reads a line knows more than the first screen needs

        bottle = view.instruction.bottle or ""
        unit = self.controller.rig.pump_of(bottle).gauge_unit
        self.ask(
            lambda: self.controller.gauge_typed(bottle, typed.readable(reading, unit)),
            lambda: f"{plain(bottle, 8)}: {typed.gauge_said(reading, unit)}.{answers.UNDO}",
        )

    def no_gauge(self) -> None:
        """The pump of the bottle asked for has no gauge."""
        self._gauge(self.view(), NO_GAUGE)

    def hang_right(self) -> str:
        """The two that were asked about hang in their places; what to say."""
        pair = self.view().maybe_swapped
        self._hang_right.update(() if pair is None else (pair,))
        return "Tuned as they hang."
