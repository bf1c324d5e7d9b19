"""The plan of the open round, made anew after each event and, since the clock alone can make time
short, each quarter of a minute.

Each plan is told the one before it, so that between equal plans the player's path stays as it was.
After a restart the path may change once between equal plans; where the player stands may not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.planning import Asked, RoundPlan, plan_round
from rounds.sessions.acts import pieces_named

if TYPE_CHECKING:
    from rounds.belief import Beliefs
    from rounds.guide.round import RoundState
    from rounds.rig import Rig

REPLAN_S = 15.0
"""A plan is made anew after this long even when nothing happened."""


class Replanner:
    """Keeps the newest plan, and makes the next one from it."""

    def __init__(self) -> None:
        self._plan: RoundPlan | None = None
        self._key: tuple[str, int, int] | None = None

    def copy(self) -> Replanner:
        """As it is now, whatever is planned later."""
        twin = Replanner()
        twin._plan, twin._key = self._plan, self._key
        return twin

    def plan(self, rig: Rig, beliefs: Beliefs, state: RoundState, now_s: float, newest_id: int) -> RoundPlan:
        """The plan of a round as it stands, `newest_id` being the newest event it knows."""
        key = (state.opened.round_id, newest_id, int(now_s // REPLAN_S))
        if self._plan is None or self._key is None or key != self._key:
            same_round = self._key is not None and self._key[0] == key[0]
            before = self._plan if same_round else None
            self._plan = plan_round(rig, beliefs, asked_of(rig, state, now_s), before)
            self._key = key
        return self._plan


def asked_of(rig: Rig, state: RoundState, now_s: float) -> Asked:
    """What is left to plan of a round."""
    fixed = state.shift_settled or not rig.reference.floating
    return Asked(
        now_s=now_s,
        downbeat_s=state.opened.downbeat_s,
        block_s=state.opened.block_s,
        needed=state.needed,
        mounted=state.mounted,
        at_bottle=state.at_bottle,
        skipped=frozenset(state.skipped),
        done=state.accepted,
        shift_cents=state.shift_cents if fixed else None,
        pieces=pieces_named(rig, state.opened.pieces),
    )
