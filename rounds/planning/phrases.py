"""Why a bottle is in or out of the round: one short phrase each, for the player."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.standing import LIKELY_OUT, MAY_BE_OUT

if TYPE_CHECKING:
    from rounds.planning.whom import Outlook


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
    return "drifts out soon whether visited or not: plan a break"


def with_short_hold(why: str, hold_s: float) -> str:
    """A reason, with the warning that the bottle will not last the block."""
    return f"{why}. Holds about {hold_s / 60.0:.0f} min only: plan a break"


def _in_ten(chance: float) -> str:
    """A chance as it is spoken of; nothing that is foreseen is certain."""
    return f"{min(9, max(1, round(10.0 * chance)))} in 10"


def _side(cents: float) -> str:
    return "sharp" if cents > 0.0 else "flat"
