"""Log, health and rig: pages that are one table each.

The last column takes what width is left and folds, so that nothing runs off the side.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, ClassVar

from textual.content import Content
from textual.widgets import DataTable, Static

from rounds.air import kpa_to_psi
from rounds.tui.screens.page import SCROLLS, Page
from rounds.wording.printable import plain
from rounds.wording.words import pump_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from textual.widget import Widget

    from rounds.faces.controller import Controller, HealthLine, HealthState, LogLine
    from rounds.rig import Bottle, Rig

Row = tuple[str, ...]
HEALTH_WORD: dict[HealthState, str] = {
    "good": "= good",
    "watch": "~ watch",
    "replace": "! replace",
    "unknown": "? unknown",
}
_NARROWEST_FOLD = 16
_SCROLLBAR = 2


class TablePage(Page):
    """A page with one table, filled again only when its rows or its width changed."""

    COLUMNS: ClassVar[tuple[str, ...]] = ()
    EMPTY = "Nothing yet."
    HINT = SCROLLS

    def __init__(self) -> None:
        super().__init__()
        self._filled: tuple[Sequence[Row], int] | None = None

    def body(self) -> Iterable[Widget]:
        """The table."""
        table: DataTable[str] = DataTable(cursor_type="row", zebra_stripes=True)
        table.add_columns(*self.COLUMNS)
        yield table

    def on_mount(self) -> None:
        """The table takes the arrow keys."""
        super().on_mount()
        self.query_one(DataTable).focus()

    def rows(self, controller: Controller) -> Sequence[Row]:
        """The rows now."""
        raise NotImplementedError

    def fill(self, controller: Controller) -> None:
        """Put the rows in, and keep the place where the player was reading."""
        rows = self.rows(controller) or [("", *("" for _ in self.COLUMNS[2:]), self.EMPTY)]
        if (rows, self.size.width) == self._filled:
            return
        self._filled = (rows, self.size.width)
        table = self.query_one(DataTable)
        at = table.cursor_row
        room = max(_NARROWEST_FOLD, self.size.width - self._fixed_width(rows) - _SCROLLBAR)
        table.clear()
        for *fixed, text in rows:
            lines = textwrap.wrap(text, room) or [""]
            table.add_row(*fixed, "\n".join(lines), height=len(lines))
        table.move_cursor(row=min(at, len(rows) - 1))

    def _fixed_width(self, rows: Sequence[Row]) -> int:
        columns = list(zip(self.COLUMNS, *rows, strict=True))[:-1]
        return sum(max(map(len, column)) + 2 for column in columns) + 2


class LogPage(TablePage):
    """All that happened, newest first."""

    HEADING, NAME = "LOG", "log"
    COLUMNS = ("when", "bottle", "what")

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a line of the log."""
        return [self._row(line) for line in controller.log_lines()]

    @staticmethod
    def _row(line: LogLine) -> Row:
        return plain(line.at, 20), plain(line.bottle, 8), plain(line.text, 400)


class HealthPage(TablePage):
    """How each bottle has held, the worst first."""

    HEADING, NAME = "HEALTH", "health"
    COLUMNS = ("bottle", "state", "how it held, and what to do")

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a bottle."""
        return [self._row(line) for line in controller.health_lines()]

    @staticmethod
    def _row(line: HealthLine) -> Row:
        text = f"{line.figures}: {line.advice}" if line.advice else line.figures
        return plain(line.bottle, 8), HEALTH_WORD[line.state], plain(text, 400)


class PromisesPage(TablePage):
    """How far what was promised held on this rig."""

    HEADING, NAME = "PROMISES", "promises"
    COLUMNS = ("promised", "of", "held")

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a finding, then what is said of rounds and of this rig."""
        found = controller.promises()
        rows = [(r.what, r.of, f"{r.held}: {r.verdict}. {r.off}".rstrip()) for r in found.rows]
        return [*rows, *(("", "", said) for said in found.sentences)]


class RigPage(TablePage):
    """Bottles, pumps and pieces as the rig file has them."""

    HEADING, NAME = "RIG", "rig"
    COLUMNS = ("bottle", "Hz", "rail", "cm", "mL", "tolerance and more")

    def body(self) -> Iterable[Widget]:
        """A few lines about the whole, then the table."""
        yield Static(classes="about")
        yield from super().body()

    def fill(self, controller: Controller) -> None:
        """The rig does not change while the program runs."""
        if self._filled is None:
            self.query_one(".about", Static).update(Content(about(controller.rig)))
        super().fill(controller)

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a bottle, low to high."""
        return [self._row(controller.rig, b) for b in controller.rig.by_pitch]

    @staticmethod
    def _row(rig: Rig, bottle: Bottle) -> Row:
        cap = "" if bottle.cap_fitted is None else f", cap of {bottle.cap_fitted.isoformat()}"
        pump, ceiling = plain(pump_name(bottle.pump), 20), f"{kpa_to_psi(bottle.ceiling_kpa):.0f} psi"
        pump_kpa = rig.pump_of(bottle.id).max_gauge_kpa
        most = f" to {kpa_to_psi(pump_kpa):.0f} psi" if pump_kpa < bottle.ceiling_kpa else ""
        return (
            plain(bottle.id, 8),
            f"{rig.target_hz(bottle.id):.1f}",
            str(bottle.rail),
            f"{bottle.position_cm:.0f}",
            f"{bottle.volume_ml:.0f}",
            f"±{bottle.tolerance_cents:g} cents, ceiling {ceiling}, {pump}{most}{cap}",
        )


def about(rig: Rig) -> str:
    """Name, reference, pumps and pieces in a few lines."""
    reference = rig.reference
    pitch = f"A4 = {reference.a4_hz:g} Hz"
    if reference.floating:
        pitch += f", floating {reference.low_cents:+g} to {reference.high_cents:+g} cents".replace("-", "−")
    pumps = ", ".join(
        f"{p.id} {p.barrel_ml:g} mL{' with release valve' if p.release_valve else ''}" for p in rig.pumps
    )
    pieces = ", ".join(f"{p.name} ({len(p.notes)} notes)" for p in rig.pieces) or "none"
    lines = (f"{rig.name}: {len(rig.bottles)} bottles, {pitch}", f"Pumps: {pumps}", f"Pieces: {pieces}")
    return "\n".join(plain(line, 300) for line in lines)
