"""Days on a foreign world written down as a player's log: what `rounds log import` is given.

Rounds some minutes apart; every bottle is struck, and who is out is pumped by a hand of the world's. Now and
then only the row after the pumping is written down, and one row in fifty is wrong by tens of cents.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.worlds.physics import World

WRONG_SHARE, WRONG_CENTS = 0.02, 40.0
TOUCH_SHARE = 0.6
"""Of the tolerance: who is further off is tuned."""
AIM_SHARE = 0.25
ONLY_AFTER = 0.5
"""Rounds of which only the rows after the pumping were written down."""


@dataclass(frozen=True)
class Row:
    """One row of a log."""

    at_s: float
    bottle: str
    cents: float
    temp_c: float
    touched: bool


class ForeignLog:
    """A day of rounds."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.rows: list[Row] = []

    def round(self) -> None:
        """Strike all, tune who is out."""
        rng = self.world.rng
        only_after = rng.random() < ONLY_AFTER
        for bottle in self.world.rig.bottles:
            self.world.advance(self.world.now_s + 4.0)
            off = self.world.cents(bottle.id) + float(rng.normal(0.0, self.world.ear.sd_cents))
            out = abs(off) > TOUCH_SHARE * bottle.tolerance_cents
            if not (out and only_after):
                self._write(bottle.id, off, touched=False)
            if out:
                self._tune(bottle.id, bottle.tolerance_cents)

    def pause(self, minutes: float) -> None:
        """Time between rounds."""
        self.world.advance(self.world.now_s + 60.0 * minutes)

    def _tune(self, bottle: str, tolerance: float) -> None:
        world = self.world
        for _ in range(3):
            world.advance(world.now_s + 8.0)
            aim = AIM_SHARE * tolerance + float(world.rng.normal(0.0, 1.0))
            kpa = (aim - world.cents(bottle)) / world.cents_per_kpa(bottle)
            strokes = kpa / world.stroke_kpa(bottle)
            if strokes > 0.0:
                world.head_on(bottle)
                world.pump(strokes)
                world.head_off()
            else:
                world.let_out(bottle, -strokes / float(world.drawn.pin.mean()))
            world.advance(world.now_s + 4.0)
            off = world.cents(bottle) + float(world.rng.normal(0.0, world.ear.sd_cents))
            self._write(bottle, off, touched=True)
            if abs(off) <= TOUCH_SHARE * tolerance:
                return

    def _write(self, bottle: str, cents: float, *, touched: bool) -> None:
        rng = self.world.rng
        if rng.random() < WRONG_SHARE:
            cents += float(rng.normal(0.0, WRONG_CENTS))
        temp_c = round(self.world.temp_c + float(rng.normal(0.0, 0.1)), 1)
        self.rows.append(Row(self.world.now_s, bottle, cents, temp_c, touched))
