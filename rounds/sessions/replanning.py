"""The plan of the open round: made anew after each event and, since the clock alone can make time short,
each quarter of a minute after that.

It follows from the events and the time alone, whenever it is asked for: a session that was killed and is
taken up again plans as the one before it would have. So each plan is made for a moment that is counted from
the newest event, and the order that it keeps to between equal plans is the one that the journal tells.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rounds.forecast.calling import call_of, out_now
from rounds.forecast.drift import due
from rounds.planning import Asked, RoundPlan, plan_round
from rounds.planning.problem_of import FIRST_CHANGE_CENTS
from rounds.sessions.acts import pieces_named

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.belief import Beliefs
    from rounds.forecast.calling import Call
    from rounds.forecast.drift import Due
    from rounds.guide.round import RoundState
    from rounds.rig import Rig
    from rounds.sessions.day import Moment

REPLAN_S = 15.0
"""A plan is made anew after this long even when nothing happened."""


FAR_DOWN_CENTS, NEAR_CENTS = 350.0, 40.0
"""Usual change of a bottle that is filled, and of one that is touched up. Our guess."""
FIRST_COUNTS = 2
"""The first guess counts as so many bottles."""


def planned_at_s(latest_s: float, now_s: float) -> float:
    """The moment that is looked at: the newest event's, or a whole number of `REPLAN_S` after it."""
    if not math.isfinite(latest_s):
        return now_s
    return latest_s + REPLAN_S * max(0.0, (now_s - latest_s) // REPLAN_S)


class Replanner:
    """Keeps the newest plan, and makes another when it is asked about another moment."""

    def __init__(self) -> None:
        self._plan: RoundPlan | None = None
        self._key: tuple[str, int, float] | None = None

    def copy(self) -> Replanner:
        """As it is now, whatever is planned later."""
        twin = Replanner()
        twin._plan, twin._key = self._plan, self._key
        return twin

    def plan(self, rig: Rig, beliefs: Beliefs, state: RoundState, now_s: float, newest_id: int) -> RoundPlan:
        """The plan of a round as it is now, `newest_id` being the newest event it knows."""
        at_s = planned_at_s(beliefs.latest_s, now_s)
        key = (state.opened.round_id, newest_id, at_s)
        if self._plan is None or key != self._key:
            self._plan = plan_round(rig, beliefs, asked_of(rig, state, at_s), state.order)
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
        head_on=state.pump_on,
        at_bottle=state.at_bottle,
        skipped=frozenset(state.skipped),
        done=state.accepted,
        shift_cents=state.shift_cents if fixed else None,
        pieces=pieces_named(rig, state.opened.pieces),
        unheard_cents=expected_of_unheard(len(state.far), len(state.heard)),
        empty=state.empty,
    )


def expected_of_unheard(far: int, heard: int) -> float:
    """How far down bottles that were never heard are expected, in cents: like those of this round.

    Args:
        far: bottles found far down.
        heard: all bottles heard.
    """
    near = max(0, heard - far)
    found = far * FAR_DOWN_CENTS + near * NEAR_CENTS + FIRST_COUNTS * FIRST_CHANGE_CENTS
    return found / (far + near + FIRST_COUNTS)


class DueKeeper:
    """Keeps the newest due time, and works out the next one when something happened or time went on."""

    def __init__(self) -> None:
        self._key: tuple[int, float] | None = None
        self._due: Due | None = None

    def due(self, at: Moment, awaited: Mapping[str, float]) -> Due:
        """When the next round should start, and why; `awaited`: the bottles waited for, by weight."""
        looked_at_s = planned_at_s(at.beliefs.latest_s, at.now_s)
        key = (at.newest_id, looked_at_s)
        if self._due is None or key != self._key:
            limit, shift_cents = at.rig.habits.due_limit, at.day.shift_cents
            self._due = due(at.rig, at.beliefs, awaited, looked_at_s, limit, shift_cents)
            self._key = key
        return self._due.put_off(at.day.snoozed_until_s)

    def call(self, at: Moment, awaited: Mapping[str, float]) -> Call:
        """Whether to call the players now: with whoever is out at this very moment."""
        out = out_now(at.rig, at.beliefs, awaited, at.now_s, at.day.shift_cents)
        return call_of(self.due(at, awaited), at.now_s, len(out), filming=at.day.take is not None)
