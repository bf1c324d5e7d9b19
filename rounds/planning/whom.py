"""Which bottles to touch: those that a visit helps, by the chance to be out before they can be retuned.

Not those that are out now: touching only these leaves the others to drift out while the playing
lasts. And not those that a visit would not help either. One exchange rate decides: a connection is
worth making when it saves more than so many bottles out, in expectation; letting air out by the pin
is less work, so it is worth less. Each bottle is told why in one short phrase.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.belief.in_or_out import LIKELY_OUT, MAY_BE_OUT
from rounds.planning.prospect import AfterVisit, Chances, Paths, after_visit, outside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.planning.beliefs_protocol import Floats

    Flags = NDArray[np.bool_]

CONNECTION_WORTH = 0.15
"""A connection must save this many bottles out, in expectation."""
PIN_WORTH = 0.1
"""The same for letting air out by the pin."""

LEAST_POINTS = 2
"""Moments of the playing that a round always looks ahead, however soon the next one may come."""
HELPED = 0.2
"""Who is likely out at the downbeat is visited at any price, if the visit helps by this much."""


@dataclass(frozen=True)
class Outlook:
    """What is known of every bottle at one shift of the reference."""

    paths: Paths
    after: AfterVisit
    shift_cents: float
    stay: Chances
    """If left alone."""

    @property
    def aim_cents(self) -> Floats:
        """Where to aim each bottle, off the nominal target."""
        return self.after.aim_cents + self.shift_cents

    @property
    def change_cents(self) -> Floats:
        """From the level at the visit to the aim; negative means air must come out."""
        return self.aim_cents - self.paths.visit_cents

    @property
    def needs_air(self) -> Flags:
        """Bottles whose visit would be a connection; the others need the pin."""
        flags: Flags = self.change_cents > 0.0
        return flags

    @property
    def price(self) -> Floats:
        """What a visit must save."""
        return np.where(self.needs_air, CONNECTION_WORTH, PIN_WORTH)

    @property
    def saves(self) -> Floats:
        """What a visit saves: how much a bottle is out if left alone, less how much it is out then."""
        saved: Floats = self.stay.out - self.after.out
        return saved

    @property
    def chosen(self) -> Flags:
        """The bottles to visit."""
        worth = self.saves > self.price
        flags: Flags = worth | self._out_at_downbeat
        return flags

    @property
    def _out_at_downbeat(self) -> Flags:
        """Likely out as the playing starts, where a visit would help: being in tune then comes first."""
        helped = self.stay.downbeat - self.after.downbeat > HELPED
        flags: Flags = (self.stay.downbeat > LIKELY_OUT) & helped
        return flags

    @property
    def costs(self) -> Floats:
        """How much each bottle is out, or else its visit at its price, whichever is less."""
        return np.minimum(self.stay.out, self.after.out + self.price)

    @property
    def connections(self) -> int:
        """Connections that the visits need."""
        return int((self.chosen & self.needs_air).sum())


def points_until_next_round(ahead: Outlook, heard: Flags, limit: float) -> int:
    """How many moments of the playing pass before the next round is likely to come: a fixed point.

    Whom to visit depends on when the next chance to retune comes, and that on whom this round visits. Begun
    with the whole block, each step can only leave more bottles alone and bring the next round nearer, so it
    ends.

    Args:
        ahead: all bottles at the day's shift.
        heard: whose chances mean something.
        limit: bottles out in expectation at which a round is due.
    """
    paths = ahead.paths
    means, sds, half = (a[heard] for a in (paths.means[:, 2:], paths.sds[:, 2:], paths.half[:, None]))
    stay = outside(means, sds, half, ahead.shift_cents)
    levels = ahead.after.aim_cents[heard, None] + paths.drift[heard, 2:]
    after = outside(levels, paths.grown[heard, 2:], half, 0.0)
    points = len(paths.when.playing_min)
    while points > LEAST_POINTS:
        saves = stay[:, :points].max(axis=1) - after[:, :points].max(axis=1)
        chances = np.where((saves > LIKELY_OUT)[:, None], after, stay)
        due = (chances.sum(axis=0) > limit) & (chances.max(axis=0, initial=0.0) >= LIKELY_OUT)
        first = max(LEAST_POINTS, int(due.argmax())) if due.any() else points
        if first >= points:
            break
        points = first
    return points


def outlook(paths: Paths, shift_cents: float, after: AfterVisit | None = None) -> Outlook:
    """Judge every bottle at one shift."""
    return Outlook(paths, after or after_visit(paths), shift_cents, paths.stay(shift_cents))


def reason_for(ahead: Outlook, place: int) -> str:
    """Why a bottle is visited."""
    off = float(ahead.paths.means[place, 0]) - ahead.shift_cents
    if abs(off) > ahead.paths.half[place]:
        return f"{abs(off):.0f} cents {_side(off)} now"
    where = float(ahead.paths.means[place, ahead.paths.when.playing][-1]) - ahead.shift_cents
    chance = float(ahead.stay.worst[place])
    drifts = "drifts" if chance > LIKELY_OUT else "may drift"
    return f"in tune now, {drifts} {_side(where)} while you play ({_in_ten(chance)})"


def reason_alone(ahead: Outlook, place: int) -> str:
    """Why a bottle is left alone."""
    if ahead.stay.worst[place] <= MAY_BE_OUT:
        return "stays in tune while you play"
    if ahead.stay.worst[place] <= LIKELY_OUT:
        return "more likely than not stays in tune while you play"
    return "won't last either way: plan a break"


def with_short_hold(why: str, hold_s: float) -> str:
    """A reason, with the warning that the bottle will not last the block."""
    return f"{why}. Holds about {hold_s / 60.0:.0f} min only: plan a break"


def _in_ten(chance: float) -> str:
    """A chance as it is spoken of; nothing that is foreseen is certain."""
    return f"{min(9, max(1, round(10.0 * chance)))} in 10"


def _side(cents: float) -> str:
    return "sharp" if cents > 0.0 else "flat"
