"""Two bottles that hang in each other's place are asked about before any air moves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rounds.faces.offering import offered
from rounds.faces.viewing import Viewer
from rounds.hearing.reading import Reading
from rounds.journal import MemoryJournal
from rounds.sessions.session import Session
from tests.test_session import rig

if TYPE_CHECKING:
    from rounds.faces.view import View

START_S = 1e9


class Player:
    """Strikes what is asked for, on a rig where some bottles hang in others' places."""

    def __init__(self, hangs: dict[str, str], off_cents: float = 0.0) -> None:
        self.session, self.now_s = Session(rig(), MemoryJournal(), START_S), START_S
        self.hangs, self.off_cents = hangs, off_cents
        self.session.open_round(self.now_s, temp_c=20.0)

    def view(self) -> View:
        return Viewer(self.session).view(self.now_s)

    def strike_on(self) -> View:
        """Strike until something else is asked for, or bottles may be swapped."""
        for _ in range(30):
            told = self.session.instruction
            if told.act != "strike" or told.bottle is None or self.view().maybe_swapped:
                break
            self.now_s += 5.0
            hz = self.session.rig.target_hz(self.hangs.get(told.bottle, told.bottle))
            hz *= 2.0 ** (self.off_cents / 1200.0)
            self.session.strike(self.now_s, Reading(hz, 1.0, ring_s=0.5, peak_dbfs=-12.0, at_s=self.now_s))
        return self.view()


def test_two_that_changed_places_are_asked_about_and_told_with_one_key() -> None:
    player = Player({"C4": "D4", "D4": "C4"})
    view = player.strike_on()
    assert view.maybe_swapped == ("C4", "D4")
    assert offered(view) == "swapped"
    player.session.swapped("C4", "D4", player.now_s)
    assert player.view().maybe_swapped is None


@pytest.mark.parametrize("off_cents", [0.0, -30.0, 200.0])
def test_bottles_in_their_places_are_not(off_cents: float) -> None:
    """Not even where the whole rig is off, by as much as its neighbours are apart."""
    assert Player({}, off_cents).strike_on().maybe_swapped is None


def test_one_bottle_that_sounds_like_another_is_none() -> None:
    assert Player({"C4": "D4"}).strike_on().maybe_swapped is None
