"""The plan of a round: whom, aimed where, why, with what shift, and what goes when time is short."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest

from rounds.belief.in_or_out import of_reading, place
from rounds.errors import BadInput
from rounds.gauss import Gauss
from rounds.notes import parse_note
from rounds.planning import Asked, RoundPlan, parallel_plans, plan_round
from rounds.planning.problem_of import _put_in
from rounds.planning.prospect import after_visit, look_ahead, outside, span
from rounds.planning.walking import walking_order
from rounds.planning.whom import outlook
from rounds.rig import Bottle, Piece, Pump, Reference, Rig
from tests.planning_beliefs import WrittenBeliefs, small_rig

BLOCK_S = 1200.0
WIDE = ("C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5")


def beliefs(rig: Rig, *levels: float, sd: float = 2.0, **others: object) -> WrittenBeliefs:
    known = {b.id: Gauss(c, sd) for b, c in zip(rig.bottles, levels, strict=False)}
    return WrittenBeliefs(rig, known, **others)  # type: ignore[arg-type]


def asked_of(rig: Rig, **asked: object) -> Asked:
    usual = Asked(now_s=0.0, downbeat_s=900.0, block_s=BLOCK_S, needed={b.id: 1.0 for b in rig.bottles})
    return replace(usual, **asked)  # type: ignore[arg-type]


def planned(rig: Rig, known: WrittenBeliefs, previous: RoundPlan | None = None, **asked: object) -> RoundPlan:
    return plan_round(rig, known, asked_of(rig, **asked), () if previous is None else previous.order)


def test_who_is_out_is_visited_and_who_stays_in_is_left_alone() -> None:
    rig = small_rig(WIDE)
    plan = planned(rig, beliefs(rig, -25.0, 0.0, 30.0, *[0.0] * 7))
    assert {v.bottle: v.pump for v in plan.visits} == {"B1": "P1", "B3": None}
    assert plan.connections == 1
    assert set(plan.left_alone) == {b.id for b in rig.bottles} - {"B1", "B3"}


def test_who_is_in_now_but_drifts_out_is_visited() -> None:
    rig = small_rig(WIDE)
    known = beliefs(rig, *[0.0] * 10, drift_per_min={"B4": -0.6})
    plan = planned(rig, known)
    assert [v.bottle for v in plan.visits] == ["B4"]
    assert "flat" in plan.visits[0].why


def test_who_is_out_at_the_downbeat_is_visited_though_it_comes_into_tune_while_playing() -> None:
    """Being in tune as the playing starts comes before what a connection is worth over the whole of it."""
    rig = small_rig(WIDE)
    known = beliefs(rig, -16.0, *[0.0] * 9, drift_per_min={"B1": 1.0})
    assert [v.bottle for v in planned(rig, known, downbeat_s=300.0).visits] == ["B1"]


@pytest.mark.parametrize("downbeat_s", [100.0, 150.0, 200.0, 250.0])
def test_the_time_to_listen_is_taken_from_the_time_to_the_downbeat(downbeat_s: float) -> None:
    """Three bottles are still to be struck; what all visits would take does not fit as well."""
    rig = small_rig(WIDE)
    plan = planned(rig, beliefs(rig, *[-25.0] * 7), downbeat_s=downbeat_s)
    assert len(plan.listen) == 3
    assert plan.visits
    assert plan.finish_before_downbeat_s is not None
    assert plan.finish_before_downbeat_s >= rig.habits.quarantine_s


def test_every_open_bottle_has_one_short_reason() -> None:
    rig = small_rig(WIDE)
    plan = planned(rig, beliefs(rig, *np.linspace(-30.0, 30.0, 10)))
    reasons = {v.bottle: v.why for v in plan.visits} | dict(plan.left_alone)
    assert set(reasons) == {b.id for b in rig.bottles}
    assert all(0 < len(r) <= 80 for r in reasons.values())


def test_done_and_skipped_bottles_are_not_planned() -> None:
    rig = small_rig(WIDE)
    plan = planned(rig, beliefs(rig, *[-25.0] * 10), done=frozenset({"B1"}), skipped=frozenset({"B2"}))
    assert not {"B1", "B2"} & {v.bottle for v in plan.visits}


def test_unheard_and_moved_bottles_are_struck_first() -> None:
    rig = small_rig(WIDE)
    known = beliefs(rig, *[0.0] * 8, moved={"B3"})
    plan = planned(rig, known)
    assert set(plan.listen) == {"B3", "B9", "B10"}


def test_the_aim_meets_the_drift_half_way() -> None:
    """A bottle that goes 6 cents flat while playing is aimed above the middle, by half of that or more.

    More, since the doubt is largest at the end of the block.
    """
    rig = small_rig(WIDE)
    known = beliefs(rig, *[-25.0] * 10, drift_per_min={"B1": -6.0 / 20.0})
    aims = {v.bottle: v.aim_cents for v in planned(rig, known).visits}
    assert 3.0 <= aims["B1"] - aims["B2"] <= 6.0


def test_no_aim_beats_the_chosen_one() -> None:
    """Against a plain search over aims, one bottle at a time."""
    rig = small_rig(WIDE)
    known = beliefs(
        rig, *np.linspace(-30.0, 30.0, 10), drift_per_min={f"B{i}": 0.1 * i - 0.5 for i in range(10)}
    )
    when = span(0.0, 900.0, BLOCK_S, 20.0)
    paths = look_ahead(rig, known, [b.id for b in rig.bottles], 0.0, when)
    after = after_visit(paths)
    for i in range(10):
        drift, grown = paths.drift[i, when.playing], paths.grown[i, when.playing]
        outs = []
        for aim in np.linspace(-12.0, 12.0, 241):
            chance = outside(aim + drift, grown, np.array(10.0), 0.0)
            outs.append((chance[0] + chance.max() + chance.mean()) / 3.0)
        assert after.out[i] <= min(outs) + 0.005


def test_with_no_downbeat_told_a_fast_leaker_is_left_in_tune() -> None:
    """Aimed beyond its band, to be in tune some minutes later, it was visited over and over."""
    rig = small_rig(WIDE)
    known = beliefs(rig, *[-25.0] * 10, drift_per_min=dict.fromkeys((f"B{i}" for i in range(10)), -6.0))
    paths = look_ahead(rig, known, [b.id for b in rig.bottles], 0.0, span(0.0, None, BLOCK_S, 20.0))
    assert (abs(after_visit(paths).aim_cents) < paths.half).all()
    told = look_ahead(rig, known, [b.id for b in rig.bottles], 0.0, span(0.0, 300.0, BLOCK_S, 20.0))
    assert (after_visit(told).aim_cents > told.half).any()


def test_a_short_hold_is_said_and_the_bottle_still_visited_last() -> None:
    rig = small_rig(WIDE)
    known = beliefs(rig, *[-25.0] * 10, drift_per_min={"B2": -2.0})
    plan = planned(rig, known)
    assert plan.short_lived == ("B2",)
    assert plan.visits[-1].bottle == "B2"
    assert "plan a break" in plan.visits[-1].why


def test_too_little_time_sacrifices_the_least_weight_and_says_so() -> None:
    rig = small_rig(WIDE)
    needed = {b.id: 3.0 if b.id in ("B5", "B6") else 1.0 for b in rig.bottles}
    plan = planned(rig, beliefs(rig, *[-25.0] * 10), downbeat_s=100.0, needed=needed)
    assert plan.sacrificed
    assert not {"B5", "B6"} & set(plan.sacrificed)
    assert len(plan.visits) + len(plan.sacrificed) == 10
    assert plan.finish_before_downbeat_s is not None
    assert plan.finish_before_downbeat_s >= rig.habits.quarantine_s - 1e-6


def test_no_downbeat_no_hurry() -> None:
    rig = small_rig(WIDE)
    plan = planned(rig, beliefs(rig, *[-25.0] * 10), downbeat_s=None)
    assert not plan.sacrificed
    assert plan.finish_before_downbeat_s is None


def test_nothing_to_plan() -> None:
    rig = small_rig(WIDE)
    plan = planned(rig, beliefs(rig, *[0.0] * 10), needed={})
    assert plan.visits == ()
    assert plan.work_s == 0.0


def test_the_order_stays_when_a_reading_changes_nothing() -> None:
    rig = small_rig(WIDE, pumps=2)
    rng = random.Random(4)
    levels = [rng.uniform(-30.0, -18.0) for _ in WIDE]
    before = planned(rig, beliefs(rig, *levels))
    for _ in range(10):
        levels = [c + rng.gauss(0.0, 0.3) for c in levels]
        after = planned(rig, beliefs(rig, *levels), previous=before)
        assert [v.bottle for v in after.visits] == [v.bottle for v in before.visits]
        before = after


def test_a_new_visit_is_put_into_the_order_already_seen() -> None:
    rig = small_rig(WIDE, pumps=2)
    levels = [-25.0, -25.0, 0.0, -25.0, -25.0, -25.0, 0.0, -25.0, -25.0, -25.0]
    before = planned(rig, beliefs(rig, *levels))
    after = planned(rig, beliefs(rig, *[-25.0] * 10), previous=before)
    seen = [v.bottle for v in before.visits]
    assert [v.bottle for v in after.visits if v.bottle in seen] == seen
    assert {v.bottle for v in after.visits} - set(seen) == {"B3", "B7"}
    assert after.pump_changes == planned(rig, beliefs(rig, *[-25.0] * 10)).pump_changes


def floating(rig: Rig) -> Rig:
    return replace(rig, reference=Reference(floating=True, low_cents=-20.0, high_cents=20.0))


def test_the_reference_floats_to_where_the_bottles_are() -> None:
    rig = small_rig(WIDE)
    known = beliefs(rig, *[-14.0] * 9, -15.0)
    fixed, shifted = planned(rig, known, shift_cents=0.0), planned(floating(rig), known)
    assert fixed.connections == 10
    assert shifted.connections == 0
    assert shifted.shift_saves == 10
    assert -20.0 <= shifted.shift_cents <= -8.0


def test_aims_and_scores_move_with_the_shift() -> None:
    """Everything 7 cents lower and A4 7 cents lower: the same plan, its aims 7 cents lower."""
    rig = small_rig(WIDE)
    levels = np.linspace(-28.0, 9.0, 10)
    one = planned(rig, beliefs(rig, *levels), shift_cents=0.0)
    other = planned(rig, beliefs(rig, *(levels - 7.0)), shift_cents=-7.0)
    assert [v.bottle for v in one.visits] == [v.bottle for v in other.visits]
    for a, b in zip(one.visits, other.visits, strict=True):
        assert b.aim_cents - a.aim_cents == pytest.approx(-7.0, abs=0.8)


@pytest.mark.slow
def test_no_shift_costs_less_than_the_chosen_one() -> None:
    """Against every shift on a finer grid: bottles out in expectation, visits at their price."""
    rig = floating(small_rig(WIDE))
    rng = random.Random(8)
    for _ in range(10):
        known = beliefs(rig, *[rng.gauss(-5.0, 14.0) for _ in WIDE])
        chosen = planned(rig, known).shift_cents
        when = span(0.0, 900.0, BLOCK_S, rig.habits.quarantine_s)
        paths = look_ahead(rig, known, [b.id for b in rig.bottles], 0.0, when)
        costs = [float(outlook(paths, float(s)).costs.sum()) for s in np.linspace(-20.0, 20.0, 401)]
        assert float(outlook(paths, chosen).costs.sum()) <= min(costs) + 0.02


def test_a_fixed_pitch_refuses_the_shift() -> None:
    rig = floating(small_rig(WIDE))
    piece = Piece("x", {parse_note("C4"): 1.0}, fixed_by="an accordion")
    plan = planned(rig, beliefs(rig, *[-14.0] * 10), pieces=(piece,))
    assert plan.shift_cents == 0.0
    assert plan.shift_refused == "an accordion"


def test_the_shift_keeps_what_is_done_in_tune() -> None:
    rig = floating(small_rig(WIDE))
    known = beliefs(rig, *[8.0] * 5, *[-14.0] * 5)
    plan = planned(rig, known, done=frozenset({"B1", "B2", "B3", "B4", "B5"}))
    assert plan.shift_cents >= -3.0


def test_two_people_share_the_pumps_and_not_the_bottles() -> None:
    rig = small_rig(WIDE, pumps=2)
    alone = parallel_plans(rig, beliefs(rig, *[-25.0] * 10), asked_of(rig), 1)
    both = parallel_plans(rig, beliefs(rig, *[-25.0] * 10), asked_of(rig), 2)
    assert [p.pumps for p in both] == [("P1",), ("P2",)]
    assert all({v.pump for v in p.visits} == set(p.pumps) for p in both)
    assert {v.bottle for p in both for v in p.visits} == {v.bottle for v in alone[0].visits}
    assert max(p.work_s for p in both) < 0.6 * alone[0].work_s


def test_two_people_need_two_pumps() -> None:
    rig = small_rig(WIDE)
    with pytest.raises(BadInput, match="as many pumps"):
        parallel_plans(rig, beliefs(rig), asked_of(rig, needed={}), 2)


@pytest.mark.parametrize(
    ("cents", "u95", "told"), [(0.0, 3.0, "in"), (9.8, 3.0, "unsure"), (9.8, 0.1, "in"), (20.0, 3.0, "out")]
)
def test_a_reading_at_the_edge_is_not_called_in(cents: float, u95: float, told: str) -> None:
    assert place(of_reading(cents, u95), 10.0) == told


def test_many_pumps_never_keep_the_player_waiting() -> None:
    """Six pumps and forty bottles: the proof would take seconds, so a good order is given and says so."""
    rig = small_rig(WIDE * 4, pumps=6)
    rig = replace(rig, pumps=tuple(replace(p, setup_s=10.0) for p in rig.pumps))
    known = beliefs(rig, *[-25.0] * 40, drift_per_min={b.id: -0.02 * i for i, b in enumerate(rig.bottles)})
    plan = planned(rig, known)
    assert not plan.proved
    assert len(plan.visits) + len(plan.sacrificed) == 40
    few = small_rig(WIDE, pumps=3)
    assert planned(few, beliefs(few, *[-25.0] * 10)).proved


def test_a_visit_tells_what_it_saves_and_how_long_it_holds() -> None:
    rig = small_rig(WIDE)
    plan = planned(rig, beliefs(rig, -25.0, *[0.0] * 9, drift_per_min={"B1": -0.1, "B4": -0.6}))
    visits = {v.bottle: v for v in plan.visits}
    assert 0.15 < visits["B4"].saves <= visits["B1"].saves <= 1.0
    assert visits["B4"].hold_s < visits["B1"].hold_s


def test_after_a_visit_doubt_grows_from_the_hands_own_as_it_would_have_grown() -> None:
    """A random walk: variances add up (sd 1 cent in a minute, 2 in four), beside 2.5 cents of the visit."""
    rig = small_rig(WIDE)
    known = beliefs(rig, *[0.0] * 10, drift_per_min={"B1": -0.5})
    paths = look_ahead(rig, known, [b.id for b in rig.bottles], 0.0, span(0.0, 900.0, BLOCK_S, 20.0))
    minutes = np.array(paths.when.minutes)
    since = minutes[1:] - minutes[1]
    assert paths.grown[1, 1:] ** 2 == pytest.approx(2.5**2 + since)
    assert np.diff(paths.drift[0, 2:]) == pytest.approx(-0.5 * np.diff(since[1:]))


@pytest.mark.parametrize("drift_per_min", [-0.8, -1.1, -1.6, 0.9, 1.3])
def test_a_hold_lasts_until_the_drift_has_eaten_the_tolerance(drift_per_min: float) -> None:
    """By hand: from the aim, a tenth of which settles back, to the edge at ten cents."""
    rig = small_rig(WIDE)
    known = beliefs(rig, *[0.0] * 10, drift_per_min={"B1": drift_per_min})
    paths = look_ahead(rig, known, [b.id for b in rig.bottles], 0.0, span(0.0, 900.0, BLOCK_S, 20.0))
    after = after_visit(paths)
    edge = math.copysign(10.0, drift_per_min)
    assert after.hold_s[0] == pytest.approx(
        60.0 * (edge - 0.9 * after.aim_cents[0]) / drift_per_min, abs=45.0
    )


@pytest.mark.parametrize(
    ("previous", "order", "then"),
    [
        ((), "CAB", "CAB"),
        ("ABC", "CAB", "ABC"),
        ("ABC", "CB", "BC"),
        ("ABC", "DCAB", "DABC"),
        ("ABC", "CADB", "ADBC"),
        ("AB", "ABCD", "ABCD"),
    ],
)
def test_an_order_is_kept_and_what_is_new_comes_after_its_neighbour(
    previous: str, order: str, then: str
) -> None:
    assert "".join(_put_in(order, previous)) == then


@pytest.mark.parametrize(
    ("at", "order"),
    [
        (None, ["a1", "a2", "a3", "b3", "b2", "b1", "c1", "c2"]),
        ("a3", ["a3", "a2", "a1", "b1", "b2", "b3", "c2", "c1"]),
        ("c1", ["c1", "c2", "b1", "b2", "b3", "a3", "a2", "a1"]),
        ("b2", ["b1", "b2", "b3", "a3", "a2", "a1", "c1", "c2"]),
    ],
)
def test_rails_are_walked_in_turn_from_where_the_player_stands(at: str | None, order: list[str]) -> None:
    """The nearest rail first, each from its nearer end: by hand, on three rails of 2 or 3 bottles."""
    places = [(rail, n) for rail, count in ((1, 3), (2, 3), (3, 2)) for n in range(1, count + 1)]
    bottles = tuple(
        Bottle(f"{'abc'[rail - 1]}{n}", parse_note("C4"), 1250.0, rail, 20.0 * n, "P1") for rail, n in places
    )
    rig = Rig("rails", bottles, (Pump("P1", 150.0),))
    assert list(walking_order(rig, [b.id for b in bottles], at)) == order
