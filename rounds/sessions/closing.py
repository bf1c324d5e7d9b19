"""What is written down when a round ends. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.events import RoundClosed

if TYPE_CHECKING:
    from rounds.belief import Beliefs
    from rounds.guide.round import RoundState
    from rounds.rig import Rig


def closing(rig: Rig, beliefs: Beliefs, state: RoundState, now_s: float) -> RoundClosed:
    """The figures of a round that ends now, as believed: also of bottles that it left alone."""
    if state.opened.let_down:
        return _down(state, now_s)
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


def _down(state: RoundState, now_s: float) -> RoundClosed:
    """The figures of a round that let bottles down."""
    return RoundClosed(
        at_s=now_s,
        round_id=state.opened.round_id,
        finished=not state.open_bottles,
        needed=len(state.opened.needed),
        down=sum(b in state.empty for b in state.opened.needed),
    )
