"""Log, health and rig: pages that are one table each."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.content import Content
from textual.widgets import DataTable

from rounds.air import kpa_to_psi
from rounds.text import plain
from rounds.tui.screens.page import Page

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from textual.widget import Widget

    from rounds.rig import Bottle, Rig
    from rounds.tui.controller import Controller, HealthLine, HealthState, LogLine

Row = tuple[str | Content, ...]
_HEALTH: dict[HealthState, tuple[str, str]] = {
    "good": ("= good", "$tuned"),
    "watch": ("~ watch", "$doubt"),
    "replace": ("! replace", "bold $sharp"),
    "unknown": ("? unknown", "$faint"),
}


class TablePage(Page):
    """A page with one table, filled again only when its rows changed."""

    COLUMNS: ClassVar[tuple[str, ...]] = ()
    EMPTY = ""

    def body(self) -> Iterable[Widget]:
        """The table."""
        table: DataTable[str | Content] = DataTable(cursor_type="row", zebra_stripes=True)
        table.add_columns(*self.COLUMNS)
        yield table

    def on_mount(self) -> None:
        """The table takes the arrow keys."""
        self._rows: Sequence[Row] | None = None
        self.query_one(DataTable).focus()

    def rows(self, controller: Controller) -> Sequence[Row]:
        """The rows now."""
        raise NotImplementedError

    def fill(self, controller: Controller) -> None:
        """Put the rows in, and keep the place where the player was reading."""
        rows = self.rows(controller)
        if rows == self._rows:
            return
        self._rows = rows
        table = self.query_one(DataTable)
        at = table.cursor_row
        table.clear()
        for row in rows or [(self.EMPTY, *("" for _ in self.COLUMNS[1:]))]:
            table.add_row(*row)
        table.move_cursor(row=min(at, max(0, len(rows) - 1)))


class LogPage(TablePage):
    """All that happened, newest first."""

    HEADING, NAME = "LOG", "log"
    COLUMNS = ("when", "bottle", "what", "")
    EMPTY = "Nothing yet."

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a line of the log."""
        return [self._row(line) for line in controller.log_lines()]

    @staticmethod
    def _row(line: LogLine) -> Row:
        return plain(line.at, 20), plain(line.bottle, 8), plain(line.kind, 16), plain(line.text, 200)


class HealthPage(TablePage):
    """How each bottle has held, the worst first."""

    HEADING, NAME = "HEALTH", "health"
    COLUMNS = ("bottle", "state", "figures", "what to do")
    EMPTY = "No history yet."

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a bottle."""
        return [self._row(line) for line in controller.health_lines()]

    @staticmethod
    def _row(line: HealthLine) -> Row:
        word, colour = _HEALTH[line.state]
        return (
            plain(line.bottle, 8),
            Content.styled(word, colour),
            plain(line.figures, 80),
            plain(line.advice, 120),
        )


class RigPage(TablePage):
    """Bottles as the rig file has them."""

    HEADING, NAME = "RIG", "rig"
    COLUMNS = ("bottle", "Hz", "rail", "cm", "mL", "pump", "tolerance", "ceiling", "cap")

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a bottle, low to high, then the pumps and pieces."""
        rig = controller.rig
        return [self._row(rig, b) for b in rig.by_pitch]

    @staticmethod
    def _row(rig: Rig, bottle: Bottle) -> Row:
        cap = "" if bottle.cap_fitted is None else bottle.cap_fitted.isoformat()
        return (
            plain(bottle.id, 8),
            f"{rig.target_hz(bottle.id):.1f}",
            str(bottle.rail),
            f"{bottle.position_cm:.0f}",
            f"{bottle.volume_ml:.0f}",
            plain(bottle.pump, 12),
            f"±{bottle.tolerance_cents:g} c",
            f"{kpa_to_psi(bottle.ceiling_kpa):.0f} psi",
            cap,
        )
