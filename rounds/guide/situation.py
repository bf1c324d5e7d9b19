"""Everything that the next step of a round depends on, at one moment."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from rounds.air import ATMOSPHERE_KPA, celsius_to_kelvin
from rounds.belief.air_log import kind_of, pressure_now

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.belief import Beliefs
    from rounds.belief.air_log import AirLog
    from rounds.gauss import Gauss
    from rounds.guide.round import RoundState
    from rounds.planning import RoundPlan
    from rounds.rig import Rig


class Recognised(Protocol):
    """What strikes show of whose they are: `rounds.recognising`, which stands above the round, answers."""

    def unlike(self, now: Situation, bottle_id: str) -> float:
        """Cents from what is believed of a bottle to its newest reading; 0 where they agree well enough."""

    def likely_owner(self, now: Situation, bottle_id: str) -> str | None:
        """The bottle that two strikes alike, refused as not the asked one's, most likely were of."""

    def sounds_like(self, now: Situation, bottle_id: str) -> str | None:
        """The bottle a semitone away whose pitch one strike had."""


class NothingRecognised:
    """Takes every strike as it is."""

    def unlike(self, now: Situation, bottle_id: str) -> float:
        """Nothing is unlike what is believed."""
        return 0.0

    def likely_owner(self, now: Situation, bottle_id: str) -> str | None:
        """Nobody else's."""
        return None

    def sounds_like(self, now: Situation, bottle_id: str) -> str | None:
        """Like no other."""
        return None


@dataclass(frozen=True)
class Situation:
    """Everything that the next step depends on."""

    rig: Rig
    beliefs: Beliefs
    state: RoundState
    plan: RoundPlan
    now_s: float
    air: Mapping[str, AirLog] = field(default_factory=dict)
    """What happened to the air of each bottle."""
    temp_c: float | None = None
    """The air temperature now, where somebody said."""
    without_gauge: frozenset[str] = frozenset()
    """Pumps of which the player said that they have no gauge to read."""
    recognised: Recognised = field(default_factory=NothingRecognised)
    filled_to: Mapping[str, float] = field(default_factory=dict)
    """Where a bottle brought from far is left, in cents off its nominal target, since some settles back."""

    @property
    def downbeat_s(self) -> float | None:
        """When the playing starts, if that is set."""
        return self.state.opened.downbeat_s

    def aim_of(self, bottle_id: str) -> float:
        """Where a visit is aimed, from the plan; the middle of the band when the plan has no visit.

        And the middle where two strikes say that it is out on the side that is aimed at.
        """
        if bottle_id in self.filled_to:
            return self.filled_to[bottle_id]
        middle_cents = self.state.shift_cents
        aim_cents = next((v.aim_cents for v in self.plan.visits if v.bottle == bottle_id), middle_cents)
        heard = self.state.heard.get(bottle_id)
        if heard is None or heard.times == 1 or bottle_id in self.state.moved:
            return aim_cents
        off, aside = heard.cents - middle_cents, aim_cents - middle_cents
        return middle_cents if off * aside > 0.0 and abs(off) > self._tolerance(bottle_id) else aim_cents

    def _tolerance(self, bottle_id: str) -> float:
        return self.rig.bottle(bottle_id).tolerance_cents

    def aim_beside(self, bottle_id: str) -> float:
        """The aim off the day's target, the shift of a floating reference counted as the target."""
        return self.aim_of(bottle_id) - self.state.shift_cents

    def over_its_limit(self) -> str | None:
        """A bottle of the round above its ceiling, by what a gauge read and by how warm it got since."""
        for bottle_id in self.air:
            known = bottle_id in self.state.needed and self.rig.has_bottle(bottle_id)
            if known and self.measured_kpa(bottle_id) > self.rig.bottle(bottle_id).ceiling_kpa:
                return bottle_id
        return None

    def measured_kpa(self, bottle_id: str) -> float:
        """The pressure of a bottle by a gauge, in the air of now; 0 where none says."""
        log, kind = self.air[bottle_id], kind_of(self.rig, bottle_id)
        if log.let_out or (log.read_kpa is None and not log.readings):
            return 0.0
        if log.read_kpa is not None:
            return log.read_kpa + log.read_strokes * kind.stroke_kpa
        pressure = pressure_now(kind, log, kind.target_hz)
        warmer = 1.0
        if self.temp_c is not None and log.temp_c is not None:
            warmer = max(1.0, celsius_to_kelvin(self.temp_c) / celsius_to_kelvin(log.temp_c))
        return (pressure.counted_kpa + ATMOSPHERE_KPA) * warmer - ATMOSPHERE_KPA

    def sounding(self, bottle_id: str, level: Gauss) -> Gauss:
        """What is heard of a level (pump off): with the head on, the loss at taking it off is yet to come."""
        if self.state.pump_on != bottle_id:
            return level
        loss = self.beliefs.head_loss(bottle_id)
        return level.plus(loss.scaled(-1.0))
