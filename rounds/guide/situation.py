"""Everything that the next step of a round depends on, at one moment."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.belief import Beliefs
    from rounds.belief.air_log import PressureTold
    from rounds.gauss import Gauss
    from rounds.guide.round import RoundState
    from rounds.planning import RoundPlan
    from rounds.rig import Rig


@dataclass(frozen=True)
class Situation:
    """Everything that the next step depends on."""

    rig: Rig
    beliefs: Beliefs
    state: RoundState
    plan: RoundPlan
    now_s: float
    told: Mapping[str, PressureTold] = field(default_factory=dict)
    """What gauges and strokes told of a bottle's pressure."""

    @property
    def downbeat_s(self) -> float | None:
        """When the playing starts, if that is set."""
        return self.state.opened.downbeat_s

    def aim_of(self, bottle_id: str) -> float:
        """Where a visit is aimed, from the plan; the middle of the band when the plan has no visit."""
        for visit in self.plan.visits:
            if visit.bottle == bottle_id:
                return visit.aim_cents
        return self.state.shift_cents

    def aim_beside(self, bottle_id: str) -> float:
        """The aim off the day's target, the shift of a floating reference counted as the target."""
        return self.aim_of(bottle_id) - self.state.shift_cents

    def over_its_limit(self) -> str | None:
        """A bottle of the round whose gauge was read above its ceiling."""
        for bottle_id, told in self.told.items():
            ceiling_kpa = self.rig.bottle(bottle_id).ceiling_kpa
            if bottle_id in self.state.needed and (told.gauge_kpa or 0.0) > ceiling_kpa:
                return bottle_id
        return None

    def sounding(self, bottle_id: str, level: Gauss) -> Gauss:
        """What is heard of a level (pump off): with the head on, the loss at taking it off is yet to come."""
        if self.state.pump_on != bottle_id:
            return level
        loss = self.beliefs.head_loss(bottle_id)
        return level.plus(loss.scaled(-1.0))
