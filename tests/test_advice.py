"""The next step: what to do with a bottle that was just heard."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import pytest

from rounds.events import AirMoved, Connected, Event, RoundOpened, Sent, Strike
from rounds.gauss import Gauss
from rounds.guide.advice import next_step
from rounds.guide.round import advance, begin
from rounds.guide.situation import Situation
from rounds.planning import Asked, plan_round
from tests.planning_beliefs import WrittenBeliefs, small_rig

if TYPE_CHECKING:
    from rounds.belief import Beliefs
    from rounds.instruction import Instruction

NEEDED = {"B1": 1.0, "B2": 1.0}
PUMPED: tuple[Event, ...] = (
    RoundOpened(at_s=0.0, round_id="r", downbeat_s=900.0, block_s=1200.0, needed=NEEDED),
    Sent(at_s=1.0, bottle="B1", purpose="visit"),
    Connected(at_s=2.0, bottle="B1", pump="P1"),
    AirMoved(at_s=3.0, bottle="B1", pump="P1", strokes=1.0),
)


def asked_after(heard_cents: float, loss_cents: float) -> Event | Instruction:
    """B1 was pumped and struck with the head on, which is believed to take so much along as it comes off."""
    rig = small_rig(("C4", "E4"))
    levels = {"B1": Gauss(heard_cents + loss_cents, 1.0), "B2": Gauss(0.0, 1.0)}
    beliefs = WrittenBeliefs(rig, levels, loss=Gauss(loss_cents, 3.0))
    heard = Strike(
        at_s=4.0, bottle="B1", verdict="clear", hz=None, cents=heard_cents, u95_cents=1.0, pump_on=True
    )
    opened = PUMPED[0]
    assert isinstance(opened, RoundOpened)
    state = begin(opened)
    for event in (*PUMPED[1:], heard):
        state = advance(state, event)
    asked = Asked(now_s=5.0, downbeat_s=900.0, block_s=1200.0, needed=NEEDED)
    plan = plan_round(rig, beliefs, asked)
    return next_step(Situation(rig, cast("Beliefs", beliefs), state, plan, 5.0))


@pytest.mark.parametrize(("heard_cents", "act"), [(18.0, "add"), (22.0, "disconnect"), (30.0, "disconnect")])
def test_what_sounds_far_too_sharp_is_not_pumped_on_for_a_great_loss_at_the_head(
    heard_cents: float, act: str
) -> None:
    """More than two tolerances are not lost as a head comes off (common practice, no source)."""
    assert getattr(asked_after(heard_cents, -40.0), "act", None) == act
