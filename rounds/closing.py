"""What is written down when a round ends, and the pressures known from gauges. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.air import stroke_kpa
from rounds.events import RoundClosed

if TYPE_CHECKING:
    from rounds.belief import Beliefs
    from rounds.day import Day
    from rounds.rig import Rig
    from rounds.round import RoundState


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


def gauges_kpa(rig: Rig, day: Day) -> dict[str, float]:
    """Pressure of each bottle that has a gauge reading, the strokes since then counted in."""
    found = {}
    for bottle_id, read in day.gauges.items():
        if rig.has_bottle(bottle_id):
            each_kpa = stroke_kpa(rig.pump_of(bottle_id).barrel_ml, rig.bottle(bottle_id).volume_ml)
            found[bottle_id] = max(0.0, read.gauge_kpa + read.strokes_since * each_kpa)
    return found
