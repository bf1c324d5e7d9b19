"""Pressures told of: gauges grow old, strokes add up, let-outs are guesses."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from rounds.air import stroke_kpa
from rounds.belief.air_log import GAUGE_GOOD_S, OVERCOUNT, AirLog

KPA = stroke_kpa(barrel_ml=160.0, volume_ml=2000.0)
"""Boyle's law: a full stroke of 160 mL into 2 litres."""


def test_strokes_in_a_row_add_up_to_a_least_pressure() -> None:
    air = AirLog().moved(30.0, 0.0).moved(20.0, 60.0)
    least_kpa = air.at(60.0, KPA).least_kpa
    assert 0.995 * 50.0 * KPA < least_kpa / OVERCOUNT < 50.0 * KPA
    assert air.at(60.0, KPA).gauge_kpa is None


def test_topping_up_for_weeks_does_not_add_up() -> None:
    """A twentieth of a bottle's air lost and put back each hour, 500 times; a third of f^2 is the shell's."""
    air, lost_strokes, full_strokes = AirLog(), 2.0, 40.0
    full_hz, low_hz = 200.0, 200.0 * math.sqrt(1.0 - 0.05 * 2.0 / 3.0)
    for hour in range(500):
        air = air.moved(lost_strokes, 3600.0 * hour)
        for hz in (full_hz, full_hz, low_hz, low_hz):
            air = air.heard(hz)
    counted_kpa = air.at(3600.0 * 500, KPA).least_kpa
    assert full_strokes * KPA < counted_kpa < 1.6 * full_strokes * KPA


def test_strokes_do_not_fade_while_the_pitch_has_not_fallen() -> None:
    """Nothing leaked: after a night, or a month, what was counted in is still in."""
    air = AirLog().moved(30.0, 0.0).heard(200.0).heard(200.0)
    assert air.heard(201.0).at(30.0 * 86400.0, KPA).least_kpa == OVERCOUNT * 30.0 * KPA


def test_a_single_strike_heard_low_takes_nothing_off() -> None:
    air = AirLog().moved(30.0, 0.0).heard(200.0).heard(200.0).heard(133.3)
    assert air.at(60.0, KPA).least_kpa == OVERCOUNT * 30.0 * KPA
    assert air.heard(200.0).at(60.0, KPA).least_kpa == OVERCOUNT * 30.0 * KPA


def test_two_strikes_heard_low_take_off_the_share_that_is_surely_gone() -> None:
    """f^2 = a + b p with a >= 0: p falls by no smaller share than f^2."""
    air = AirLog().moved(30.0, 0.0).heard(200.0).heard(200.0).heard(180.0).heard(180.0)
    assert math.isclose(air.at(60.0, KPA).least_kpa, 0.81 * OVERCOUNT * 30.0 * KPA)


def test_letting_out_takes_off_and_never_below_none() -> None:
    assert AirLog().moved(10.0, 0.0).moved(-4.0, 0.0).at(0.0, KPA).least_kpa == OVERCOUNT * 6.0 * KPA
    assert (
        AirLog().moved(10.0, 0.0).moved(-500.0, 0.0).moved(3.0, 0.0).at(0.0, KPA).least_kpa
        == OVERCOUNT * 3.0 * KPA
    )


def test_a_gauge_reading_grows_old() -> None:
    air = AirLog().gauged(300.0, 0.0)
    assert air.at(GAUGE_GOOD_S, KPA).gauge_kpa == 300.0
    old = air.at(GAUGE_GOOD_S + 1.0, KPA)
    assert old.gauge_kpa is None
    assert old.least_kpa == 300.0


def test_after_a_let_out_a_gauge_no_longer_stands_for_the_pressure() -> None:
    """The amount let out is a guess, and may be a slip: the pitch has to say so too."""
    told = AirLog().gauged(500.0, 0.0).moved(-500.0, 1.0).at(1.0, KPA)
    assert told.gauge_kpa is None


def test_a_new_gauge_reading_counts_anew() -> None:
    air = AirLog().gauged(500.0, 0.0).moved(-1.0, 1.0).gauged(420.0, 2.0)
    assert air.at(2.0, KPA).gauge_kpa == 420.0


def test_an_unknown_amount_ends_the_worth_of_a_gauge() -> None:
    assert AirLog().gauged(300.0, 0.0).moved(None, 1.0).at(1.0, KPA).gauge_kpa is None


@given(st.lists(st.tuples(st.floats(0.0, 60.0), st.floats(-3600.0, 3600.0)), max_size=30))
def test_never_more_than_all_strokes_and_never_less_than_none(moves: list[tuple[float, float]]) -> None:
    """Also where a clock runs back."""
    air, at_s = AirLog(), 0.0
    for strokes, later_s in moves:
        at_s += later_s
        air = air.moved(strokes, at_s)
    assert 0.0 <= air.at(at_s, KPA).least_kpa <= sum(s for s, _ in moves) * OVERCOUNT * KPA * (1.0 + 1e-9)
