"""Visits that wait until shortly before the downbeat, because what they do would not last until then.

A bass bottle holds for some ten minutes. With twenty to go and eight minutes of work, tuned at once it
is out again when the playing starts; so it is left for the last minutes, which the plan's order has room
for. The work starts early enough to take a good deal longer than foreseen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.guide.situation import Situation
    from rounds.planning.plan import PlannedVisit

HOLD_TO_SPARE = 1.5
"""A visit lasts when its hold, the time it is likelier in tune than out, is this much longer than needed."""
INTO_THE_BLOCK_S = 600.0
"""It should last so far into the block, or to its end."""
HASTE = 1.4
"""The work left may take this much longer than foreseen."""
SPARE_S = 90.0
"""Time kept free besides."""
ONE_FILL_S = 60.0
"""Who was struck and found far down is filled at once if this much time is left. Our guess."""


def still_fits(now: Situation) -> bool:
    """Whether one more bottle can be filled before the downbeat, whatever the plan left out."""
    quiet_s = now.rig.habits.quarantine_s
    return now.downbeat_s is None or now.downbeat_s - now.now_s - quiet_s >= ONE_FILL_S


def in_time(now: Situation) -> Sequence[PlannedVisit]:
    """Visits of the plan to be made now, in its order."""
    if start_in_s(now) <= 0.0:
        return now.plan.visits
    return [v for v in now.plan.visits if _lasts(now, v)]


def start_in_s(now: Situation) -> float:
    """Seconds until the work that is left has to start; none where no downbeat is known."""
    return 0.0 if now.downbeat_s is None else now.downbeat_s - now.now_s - before_downbeat_s(now)


def before_downbeat_s(now: Situation) -> float:
    """How long before the downbeat the work that is left starts at the latest."""
    return now.rig.habits.quarantine_s + with_spare_s(now.plan.work_s)


def with_spare_s(work_s: float) -> float:
    """The time that is kept for some work: it may take longer than foreseen."""
    return HASTE * work_s + SPARE_S


def _lasts(now: Situation, visit: PlannedVisit) -> bool:
    to_go_s = (now.downbeat_s or now.now_s) - now.now_s
    return visit.hold_s >= HOLD_TO_SPARE * to_go_s + min(now.state.opened.block_s, INTO_THE_BLOCK_S)
