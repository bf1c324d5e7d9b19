"""The home screen: the round, the time between rounds, or a running take, one pane at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.containers import Horizontal, Vertical
from textual.screen import Screen

from rounds.tui import betweenmodels, models, pairmodels
from rounds.tui.messages import Opened
from rounds.tui.widgets.airline import AirLine
from rounds.tui.widgets.following import Following
from rounds.tui.widgets.keyline import KeyLine
from rounds.tui.widgets.lines import Foot, Lines, Prose
from rounds.tui.widgets.pair import PairBoards
from rounds.tui.widgets.plot import Plot
from rounds.tui.widgets.rails import Rails
from rounds.tui.widgets.reading import Reading
from rounds.tui.widgets.ribbons import Ribbons, RibbonsModel
from rounds.tui.widgets.slab import Slab
from rounds.tui.widgets.stillness import Stillness
from rounds.tui.widgets.strip import Strip

if TYPE_CHECKING:
    from collections.abc import Callable

    from textual.app import ComposeResult

    from rounds.faces.controller import Controller, DriftPath, Level
    from rounds.faces.view import BottleView, Mode, View
    from rounds.tui.widgets.keyline import Key
    from rounds.tui.widgets.painted import Painted

MOST_PIECES, MOST_PIECES_TALL, TALL_ROWS = 3, 8, 32
"""Pieces named between rounds, and from how many rows on the more of them."""
FORECAST_EVERY = 20
"""Paintings (about seconds) between two forecasts while nothing else happens."""


class RoundPane(Vertical):
    """What to do now, and the rails."""

    def __init__(self, keyed: Callable[[str], str]) -> None:
        super().__init__()
        self._keyed = keyed

    def compose(self) -> ComposeResult:
        """From the top: strip, slab, why, what is next and the clock, reading, air, rails, foot."""
        yield Strip(classes="strip")
        yield Slab()
        yield PairBoards()
        yield Prose(classes="why")
        yield Following()
        yield Reading()
        yield AirLine()
        yield Lines(classes="caution")
        yield Rails()
        yield Foot(classes="said")

    def paint(self, view: View, level: Level, answer: str, typed: str) -> None:
        """Show a view; `typed`: the digits of a gauge so far."""
        self.set_class(bool(view.people), "-two")
        self.query_one(Strip).paint(models.round_strip(view, level))
        self.query_one(Following).paint(models.following(view))
        self.query_one(".said", Lines).paint(models.said(view, level, answer))
        if view.people:
            self._paint_two(view)
        else:
            self._paint_one(view, level, typed)

    def _paint_one(self, view: View, level: Level, typed: str) -> None:
        self.query_one("RoundPane > Slab", Slab).paint(models.slab(view, level, typed))
        self.query_one(".why", Lines).paint(models.why(view, level, self._keyed))
        self.query_one(Reading).paint(models.reading(view, self._keyed))
        self.query_one(AirLine).paint(models.air(view))
        self.query_one(".caution", Lines).paint(models.caution(view))
        self.query_one(Rails).paint(models.rails(view))

    def _paint_two(self, view: View) -> None:
        self.query_one(PairBoards).paint(pairmodels.boards(view))
        self.query_one(Reading).paint(pairmodels.reading(view))
        self.query_one(Rails).paint(pairmodels.rails(view))


class BetweenPane(Vertical):
    """How long until the next round, why, what would come first, and where every bottle is going."""

    def __init__(self, keyed: Callable[[str], str]) -> None:
        super().__init__()
        self._keyed = keyed
        self.paths: tuple[DriftPath, ...] = ()
        self.chosen = 0
        self._forecast_of: tuple[BottleView, ...] | None = None
        self._stale = 0

    def compose(self) -> ComposeResult:
        """From the top: strip, countdown and reason, forecasts, foot."""
        yield Strip(classes="strip")
        yield Slab()
        yield Prose(classes="reason")
        yield Lines(classes="plays")
        with Horizontal(classes="forecast"):
            yield Ribbons()
            yield Plot()
        yield Foot(classes="said")

    def paint(self, view: View, controller: Controller, answer: str) -> None:
        """Show a view and the forecasts that go with it."""
        level = controller.level()
        self._forecast(view, controller)
        self.query_one(Strip).paint(betweenmodels.strip(view, level))
        self.query_one(Slab).paint(betweenmodels.slab(view))
        self.query_one(".reason", Lines).paint(betweenmodels.reasons(view, self._keyed))
        self._paint_pieces(view)
        self.query_one(".said", Lines).paint(models.said(view, level, answer))
        self.choose(self.chosen)

    def _paint_pieces(self, view: View) -> None:
        """A row a piece, as far as there is room."""
        most = MOST_PIECES if self.size.height < TALL_ROWS else MOST_PIECES_TALL
        plays = self.query_one(".plays", Lines)
        said = betweenmodels.pieces(view, most, self.size.width)
        plays.styles.height = len(said)
        plays.paint(said)

    def _forecast(self, view: View, controller: Controller) -> None:
        """Ask for the paths when the bottles changed or some time has passed; they are slow to make."""
        self._stale = (self._stale + 1) % FORECAST_EVERY
        if self._stale and view.bottles == self._forecast_of:
            return
        self._forecast_of = view.bottles
        self.paths = tuple(controller.forecast_paths())

    def choose(self, number: int) -> None:
        """Choose a bottle, so that its path is plotted."""
        self.chosen = max(0, min(number, len(self.paths) - 1))
        self.query_one(Ribbons).paint(RibbonsModel(self.paths, self.chosen))
        self.query_one(Plot).paint(self.paths[self.chosen] if self.paths else None)

    def on_painted_pressed(self, event: Painted.Pressed) -> None:
        """A ribbon was clicked."""
        event.stop()
        self.choose(int(event.value))


class TakePane(Vertical):
    """Still while a take runs."""

    def compose(self) -> ComposeResult:
        """One still picture."""
        yield Stillness()

    def paint(self, view: View) -> None:
        """Show the take; the model holds nothing that counts, so it is painted once."""
        self.query_one(Stillness).paint(models.still(view))


class HomeScreen(Screen[None]):
    """Shows the pane of the view's mode."""

    def __init__(self, keyed: Callable[[str], str]) -> None:
        """The home screen; `keyed` puts the player's keys into a sentence."""
        super().__init__()
        self._keyed = keyed
        self.mode: Mode | None = None
        self.opened = False

    def on_mount(self) -> None:
        """All parts are there: ask to be painted."""
        self.opened = True
        self.post_message(Opened())

    def compose(self) -> ComposeResult:
        """All panes, and the keys."""
        yield RoundPane(self._keyed)
        yield BetweenPane(self._keyed)
        yield TakePane()
        yield KeyLine()

    def paint(
        self, view: View, controller: Controller, answer: str, keys: tuple[Key, ...], typed: str
    ) -> None:
        """Show a view in its pane; `typed`: the digits of a gauge so far."""
        if not self.opened or not self.query(KeyLine):
            # Not all there yet, or being taken down while a last tick comes in.
            return
        self._turn_to(view.mode)
        if view.mode == "take":
            self.query_one(TakePane).paint(view)
            return
        self.query_one(KeyLine).paint(keys)
        if view.mode == "round":
            self.query_one(RoundPane).paint(view, controller.level(), answer, typed)
        else:
            self.query_one(BetweenPane).paint(view, controller, answer)

    def _turn_to(self, mode: Mode) -> None:
        if mode == self.mode:
            return
        self.mode = mode
        self.query_one(RoundPane).display = mode == "round"
        self.query_one(BetweenPane).display = mode == "between"
        self.query_one(TakePane).display = mode == "take"
        self.query_one(KeyLine).display = mode != "take"

    def bottle_in_hand(self, view: View) -> str:
        """The bottle asked for, or the one chosen in the forecast; empty when there is none."""
        paths = self.query_one(BetweenPane).paths if view.mode == "between" else ()
        chosen = paths[self.query_one(BetweenPane).chosen].bottle if paths else ""
        return view.instruction.bottle or chosen

    def choose(self, step: int) -> None:
        """Choose another bottle in the forecast."""
        if self.mode == "between":
            pane = self.query_one(BetweenPane)
            pane.choose(pane.chosen + step)
