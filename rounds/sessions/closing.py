"""What is written down when a round ends, and the pressures known by gauge and strokes. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.air import stroke_kpa
from rounds.events import RoundClosed

if TYPE_CHECKING:
    from rounds.belief import Beliefs
    from rounds.belief.air_log import PressureTold
    from rounds.guide.round import RoundState
    from rounds.rig import Rig
    from rounds.sessions.day import Day


def closing(rig: Rig, beliefs: Beliefs, state: RoundState, now_s: float) -> RoundClosed:
    """The figures of a round that ends now, as believed: also of bottles that it left alone."""
    known = [b for b in state.needed if beliefs.heard(b)]
    off = {b: abs(beliefs.level(b, now_s).mean - state.shift_cents) for b in known}
    worst = max(off, key=lambda b: off[b], default=None)
    return RoundClosed(
        at_s=now_s,
        round_id=state.opened.round_id,
        finished=not state.open_bottles,
        connections=state.connections,
        in_tune=sum(c <= rig.bottle(b).tolerance_cents for b, c in off.items()),
        needed=len(state.opened.needed),
        worst_bottle=worst,
        worst_cents=None if worst is None else round(off[worst], 2),
    )


def pressures_told(rig: Rig, day: Day, now_s: float) -> dict[str, PressureTold]:
    """Each bottle's pressure by gauge readings and counted strokes."""
    return {
        bottle_id: air.at(
            now_s, stroke_kpa(rig.pump_of(bottle_id).barrel_ml, rig.bottle(bottle_id).volume_ml)
        )
        for bottle_id, air in day.air.items()
        if rig.has_bottle(bottle_id)
    }
