"""Bottles that hold for minutes only are tuned last, shortly before the playing starts."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from rounds.belief import Beliefs
from rounds.events import Accepted, AirMoved, RoundOpened, Sent, Strike
from rounds.guide import advice
from rounds.guide.lateness import HASTE, SPARE_S, in_time, start_in_s
from rounds.guide.round import advance, begin
from rounds.guide.situation import Situation
from rounds.instruction import Instruction
from rounds.planning import PlannedVisit, RoundPlan
from tests.test_session import NOTES, rig

RIG = rig()
DOWNBEAT_S = 1200.0
WORK_S = 60.0


def situation(now_s: float, holds_s: dict[str, float], downbeat_s: float | None = DOWNBEAT_S) -> Situation:
    """Every bottle was heard flat; those with a hold are to be visited."""
    opened = RoundOpened(
        at_s=0.0, round_id="r", needed=dict.fromkeys(NOTES, 1.0), downbeat_s=downbeat_s, block_s=1800.0
    )
    state, beliefs = begin(opened), Beliefs(RIG)
    for note in NOTES:
        heard = Strike(
            at_s=now_s - 60.0,
            bottle=note,
            verdict="clear",
            hz=RIG.target_hz(note),
            cents=-30.0,
            u95_cents=1.0,
        )
        state = advance(state, heard)
        beliefs.apply(heard)
    visits = tuple(PlannedVisit(b, "hand", 0.0, "flat", 20.0, hold) for b, hold in holds_s.items())
    plan = RoundPlan(visits, {}, (), (), 0.0, 0, WORK_S, None, len(visits), 0)
    return Situation(RIG, beliefs, state, plan, now_s)


def test_who_would_be_out_again_at_the_downbeat_waits_and_the_others_do_not() -> None:
    now = situation(0.0, {"C4": 600.0, "D4": 7200.0})
    assert [v.bottle for v in in_time(now)] == ["D4"]


def test_when_all_that_is_left_would_not_last_the_player_rests_and_is_told_why_and_until_when() -> None:
    told = advice.next_step(situation(0.0, {"C4": 600.0, "E4": 500.0}))
    assert isinstance(told, Instruction)
    assert told.act == "wait"
    assert told.why == "C4 and E4 won't stay put. They come last, 4 min before the downbeat"


@pytest.mark.parametrize("hold_s", [60.0, 600.0, 7200.0])
def test_the_last_work_starts_with_time_to_spare(hold_s: float) -> None:
    start_s = DOWNBEAT_S - RIG.habits.quarantine_s - HASTE * WORK_S - SPARE_S
    assert start_in_s(situation(start_s - 5.0, {"C4": hold_s})) == pytest.approx(5.0)
    now = situation(start_s + 1.0, {"C4": hold_s})
    assert [v.bottle for v in in_time(now)] == ["C4"]


def test_without_a_downbeat_nothing_waits() -> None:
    now = situation(0.0, {"C4": 60.0, "D4": math.inf}, downbeat_s=None)
    assert [v.bottle for v in in_time(now)] == ["C4", "D4"]


@pytest.mark.parametrize(("saves", "touched_again"), [(0.2, False), (0.7, True)])
def test_a_bottle_left_in_tune_by_its_visit_is_visited_again_for_a_clear_gain_only(
    saves: float, touched_again: bool
) -> None:
    """C4 was let out a little too far, to 8 cents flat of an aim of +3: inside its tolerance of 10."""
    now = situation(0.0, {"C4": 7200.0}, downbeat_s=None)
    state = now.state
    out = AirMoved(at_s=1.0, bottle="C4", pump=None, strokes=-0.5)
    heard = Strike(at_s=5.0, bottle="C4", verdict="clear", hz=260.4, cents=-8.0, u95_cents=1.0)
    beliefs = Beliefs(RIG)
    for event in (Sent(at_s=0.5, bottle="C4", purpose="visit"), out, heard):
        state = advance(state, event)
    beliefs.apply(heard)
    visit = PlannedVisit("C4", "hand", 3.0, "goes flat", 20.0, 7200.0, saves)
    plan = replace(now.plan, visits=(visit,))
    step = advice.next_step(replace(now, state=state, beliefs=beliefs, plan=plan, now_s=6.0))
    assert isinstance(step, Instruction if touched_again else Accepted)
    assert not isinstance(step, Instruction) or step.act == "connect"


def test_a_bottle_heard_again_and_in_tune_is_accepted_though_the_plan_would_touch_it_once_more() -> None:
    """Else it would be sent for again and again, neither visited nor accepted."""
    now = situation(0.0, {"C4": 7200.0}, downbeat_s=None)
    state, beliefs = now.state, Beliefs(RIG)
    heard = Strike(at_s=60.0, bottle="C4", verdict="clear", hz=260.4, cents=-8.0, u95_cents=1.0)
    moved = AirMoved(at_s=1.0, bottle="C4", pump="hand", strokes=0.5)
    for event in (moved, Sent(at_s=50.0, bottle="C4", purpose="listen"), heard):
        state = advance(state, event)
    beliefs.apply(heard)
    plan = replace(now.plan, visits=(PlannedVisit("C4", "hand", 3.0, "goes flat", 20.0, 7200.0, 0.2),))
    step = advice.next_step(replace(now, state=state, beliefs=beliefs, plan=plan, now_s=61.0))
    assert isinstance(step, Accepted)
