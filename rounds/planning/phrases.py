"""Why a bottle is in or out of the round: one short phrase each, for the player."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rounds.planning.whom import Outlook


def reason_for(ahead: Outlook, place: int) -> str:
    """Why a bottle is visited."""
    off = float(ahead.paths.means[place, 0]) - ahead.shift_cents
    if abs(off) > ahead.paths.half[place]:
        return f"{abs(off):.0f} cents {_side(off)} now"
    where = float(ahead.paths.means[place, ahead.paths.when.playing][-1]) - ahead.shift_cents
    chance = 100.0 * float(ahead.stay.worst[place])
    return f"in tune now, goes {_side(where)} while you play ({chance:.0f} % likely out)"


def reason_alone(ahead: Outlook, place: int) -> str:
    """Why a bottle is left alone."""
    stays = 100.0 * (1.0 - float(ahead.stay.worst[place]))
    if ahead.stay.worst[place] <= 0.5:
        return f"stays in tune while you play ({stays:.0f} % likely)"
    return "drifts out soon whether visited or not: plan a break"


def with_short_hold(why: str, hold_s: float) -> str:
    """A reason, with the warning that the bottle will not last the block."""
    return f"{why}; holds about {hold_s / 60.0:.0f} min: plan a break"


def _side(cents: float) -> str:
    return "sharp" if cents > 0.0 else "flat"
