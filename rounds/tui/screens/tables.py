"""Log, health and rig: pages that are one table each.

The last column takes what width is left and folds, so that nothing runs off the side.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.binding import Binding
from textual.content import Content
from textual.widgets import DataTable, Static

from rounds.air import kpa_to_psi
from rounds.tui.screens.page import SCROLLS, Page
from rounds.wording.printable import plain

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
PARTS = "──"
BEGIN_A_PART = ("round_opened", "round_closed", "take_started", "take_stopped")
"""Kinds of events that begin or end a part of the log."""
_NARROWEST_FOLD = 16
_SCROLLBAR = 2


class TablePage(Page):
    """A page with one table, filled again only when its rows or its width changed."""

    COLUMNS: ClassVar[tuple[str, ...]] = ()
    EMPTY = "Nothing yet."
    HINT = f"{SCROLLS}; / finds"
    BINDINGS: ClassVar = [Binding("slash", "find", "find", show=False)]

    def __init__(self) -> None:
        super().__init__()
        self._filled: tuple[Sequence[Row], int] | None = None
        self._find = ""
        self._controller: Controller | None = None

    def body(self) -> Iterable[Widget]:
        """The table."""
        table: DataTable[Text] = DataTable(cursor_type="row", zebra_stripes=True)
        table.add_columns(*self.COLUMNS)
        yield table

    def on_mount(self) -> None:
        """The table takes the arrow keys."""
        super().on_mount()
        self.query_one(DataTable).focus()

    def rows(self, controller: Controller) -> Sequence[Row]:
        """The rows now."""
        raise NotImplementedError

    def action_find(self) -> None:
        """Ask what to look for, and show only the rows that have it."""
        from rounds.tui.screens.dialogs import Ask, Field

        def answered(text: str | None) -> None:
            if text is not None and self._controller is not None:
                self._find = text
                self.fill(self._controller)

        field = Field("find", "a bottle, a take, a word; empty: all", self._find)
        self.app.push_screen(Ask("Find on this page", (field,), lambda v: v["find"].strip()), answered)

    def weighs(self, row: Row) -> str:
        """How heavily a row is set: `bold` for one that begins a part of the page, `dim` for a lesser one."""
        return ""

    def _found(self, controller: Controller) -> Sequence[Row]:
        rows, wanted = self.rows(controller), self._find.casefold()
        found = [row for row in rows if wanted in " ".join(row).casefold()] if wanted else rows
        nothing = f"Nothing on this page has {plain(self._find, 30)!r}." if rows else self.EMPTY
        return found or [("", *("" for _ in self.COLUMNS[2:]), nothing)]

    def fill(self, controller: Controller) -> None:
        """Put the rows in, and keep the place where the player was reading."""
        self._controller = controller
        rows = self._found(controller)
        if (rows, self.size.width) == self._filled:
            return
        self._filled = (rows, self.size.width)
        table = self.query_one(DataTable)
        at = table.cursor_row
        room = max(_NARROWEST_FOLD, self.size.width - self._fixed_width(rows) - _SCROLLBAR)
        table.clear()
        for row in rows:
            *fixed, text = row
            lines, weight = textwrap.wrap(text, room) or [""], self.weighs(row)
            cells = (Text(cell, weight) for cell in (*fixed, "\n".join(lines)))
            table.add_row(*cells, height=len(lines))
        table.move_cursor(row=min(at, len(rows) - 1))

    def _fixed_width(self, rows: Sequence[Row]) -> int:
        columns = list(zip(self.COLUMNS, *rows, strict=True))[:-1]
        return sum(max(map(len, column)) + 2 for column in columns) + 2


class LogPage(TablePage):
    """All that happened, newest first."""

    HEADING, NAME = "LOG", "log"
    COLUMNS = ("when", "bottle", "what")
    EMPTY = "Nothing yet. The first strike or note starts the page."

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a line of the log."""
        return [self._row(line) for line in controller.log_lines()]

    def weighs(self, row: Row) -> str:
        """Rounds and takes part the page."""
        return "bold" if row[2].startswith(PARTS) else ""

    @staticmethod
    def _row(line: LogLine) -> Row:
        part = f"{PARTS} " if line.kind in BEGIN_A_PART else ""
        return plain(line.at, 20), plain(line.bottle, 8), f"{part}{plain(line.text, 400)}"


class HealthPage(TablePage):
    """How each bottle has held, the worst first."""

    HEADING, NAME = "HEALTH", "health"
    COLUMNS = ("bottle", "state", "what to do, and why")
    EMPTY = "No bottle heard yet. Health starts with the first round."

    def weighs(self, row: Row) -> str:
        """What needs a hand stands out, what is fine recedes."""
        return "bold" if row[1] in (HEALTH_WORD["replace"], HEALTH_WORD["watch"]) else ""

    def rows(self, controller: Controller) -> Sequence[Row]:
        """One row a bottle."""
        return [self._row(line) for line in controller.health_lines()]

    @staticmethod
    def _row(line: HealthLine) -> Row:
        text = f"{line.advice}; {line.figures}" if line.advice else line.figures
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
    COLUMNS = ("bottle", "Hz", "rail", "cm", "mL", "pump", "differs")

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
        """One row a bottle, low to high; what all share is said once above."""
        rig = controller.rig
        return [self._row(rig, b, shared_words(rig)) for b in rig.by_pitch]

    @staticmethod
    def _row(rig: Rig, bottle: Bottle, shared: Sequence[str]) -> Row:
        cap = [] if bottle.cap_fitted is None else [f"cap of {bottle.cap_fitted.isoformat()}"]
        return (
            plain(bottle.id, 8),
            f"{rig.target_hz(bottle.id):.1f}",
            str(bottle.rail),
            f"{bottle.position_cm:.0f}",
            f"{bottle.volume_ml:.0f}",
            plain(bottle.pump, 20),
            ", ".join([*(w for w in own_words(rig, bottle) if w not in shared), *cap]),
        )


def own_words(rig: Rig, bottle: Bottle) -> tuple[str, str]:
    """The tolerance of a bottle, and where its pump stops: the lower of the two limits."""
    return f"±{bottle.tolerance_cents:g} cents", f"stop at {kpa_to_psi(rig.limit_kpa(bottle.id)):.0f} psi"


def shared_words(rig: Rig) -> tuple[str, ...]:
    """The most usual of each, said once for all bottles."""
    columns = zip(*(own_words(rig, b) for b in rig.bottles), strict=True)
    return tuple(max(column, key=column.count) for column in columns)


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
    shared = f"All bottles: {', '.join(shared_words(rig))}, unless the last column says otherwise."
    title = f"{rig.name}: {len(rig.bottles)} bottles, {pitch}"
    lines = (title, f"Pumps: {pumps}", f"Pieces: {pieces}", shared)
    return "\n".join(plain(line, 300) for line in lines)
