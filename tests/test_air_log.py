"""What is kept of the air in a bottle: pitch measures it, strokes teach what a pitch is worth."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.air import KPA_PER, KPA_PER_PSI, played_gauge_kpa, stroke_kpa
from rounds.belief.air_log import AirLog, pressure_now
from rounds.belief.pressure import DialReading, Kind
from rounds.notes import parse_note, shifted_hz

NOTE = parse_note("C5")
HZ = NOTE.hz()
KIND = Kind(HZ, played_gauge_kpa(NOTE.midi), stroke_kpa(160.0, 1250.0), 4.0 * KPA_PER_PSI)


class Shell:
    """A true bottle: f^2 = (a + b p)/(1 + C p), a share of it the empty shell's."""

    def __init__(self, need_psi: float, share: float = 0.35, gas_per_kpa: float = 0.0) -> None:
        self.need_kpa, self.gas = need_psi * KPA_PER_PSI, gas_per_kpa
        self.a = share * HZ**2
        self.b = (HZ**2 * (1.0 + gas_per_kpa * self.need_kpa) - self.a) / self.need_kpa

    def hz(self, kpa: float) -> float:
        return math.sqrt((self.a + self.b * kpa) / (1.0 + self.gas * kpa))

    def filled(self, log: AirLog, to_kpa: float, times: int, delivered: float = 1.0) -> tuple[AirLog, float]:
        """From empty in equal parts, each counted and struck."""
        kpa = 0.0
        for i in range(times):
            log = log.moved(to_kpa / times / (delivered * KIND.stroke_kpa))
            kpa += to_kpa / times
            log = log.heard(self.hz(kpa), 60.0 * i)
        return log, kpa


@pytest.mark.parametrize("need_psi", [15.0, 35.0, 80.0])
@pytest.mark.parametrize("gas_per_kpa", [0.0, 0.0008])
def test_strokes_counted_from_empty_bound_the_pressure_from_both_sides(
    need_psi: float, gas_per_kpa: float
) -> None:
    """Boyle's law tells what went in; the bound may be wide, since the volume may be wrong, but holds it."""
    shell = Shell(need_psi, gas_per_kpa=gas_per_kpa)
    log, kpa = shell.filled(AirLog().emptied(), 0.9 * shell.need_kpa, 4)
    now = pressure_now(KIND, log, HZ)
    assert now.least_kpa <= kpa <= now.most_kpa
    assert 0.6 * kpa < now.expected_kpa < 1.75 * kpa


def test_a_gauge_makes_the_bound_narrow() -> None:
    shell = Shell(45.0)
    log, kpa = shell.filled(AirLog().emptied(), 0.9 * shell.need_kpa, 4)
    wide = pressure_now(KIND, log, HZ).most_kpa
    now = pressure_now(KIND, log.gauge_read(kpa, 190.0), HZ)
    assert kpa < now.most_kpa < min(wide, kpa + 13.0 * KPA_PER_PSI)


def test_counted_air_is_still_there_after_a_month() -> None:
    """Nothing leaked: the pitch has not fallen, and time alone takes nothing off."""
    log, _ = Shell(45.0).filled(AirLog().emptied(), 200.0, 3)
    same = log.heard(log.hz or 0.0, 30.0 * 86400.0)
    assert pressure_now(KIND, same, HZ).most_kpa == pressure_now(KIND, log, HZ).most_kpa


@pytest.mark.parametrize(("cents", "needed"), [(-20.0, 1), (-150.0, 2), (-702.0, 3)])
def test_a_fall_of_the_pitch_counts_when_enough_strikes_agree(cents: float, needed: int) -> None:
    log = AirLog().heard(HZ, 0.0)
    for strike in range(1, needed + 1):
        log = log.heard(shifted_hz(HZ, cents), float(strike))
        assert (log.hz == HZ) == (strike < needed)


def test_a_wrong_low_strike_that_no_other_confirms_is_forgotten() -> None:
    log = AirLog().heard(HZ, 0.0).heard(HZ / 1.5, 1.0).heard(HZ, 2.0).heard(HZ / 1.5, 3.0)
    assert log.hz == HZ


def test_strokes_let_out_take_nothing_off_until_the_pitch_tells() -> None:
    log = AirLog().heard(HZ, 0.0)
    assert pressure_now(KIND, log.moved(-50.0), HZ).most_kpa == pressure_now(KIND, log, HZ).most_kpa
    assert log.moved(-50.0).heard(0.9 * HZ, 1.0).hz == 0.9 * HZ


def test_strokes_counted_count_before_a_strike_tells_what_they_did() -> None:
    """Boyle: what a stroke adds is at least known to half, whatever the bottle."""
    log = AirLog().heard(HZ, 0.0)
    before, after = pressure_now(KIND, log, HZ), pressure_now(KIND, log.moved(10.0), HZ)
    assert after.most_kpa > before.most_kpa + 10.0 * KIND.stroke_kpa
    assert after.expected_kpa == pytest.approx(before.expected_kpa + 10.0 * KIND.stroke_kpa, rel=0.25)


def test_topping_up_for_weeks_does_not_add_up() -> None:
    """A twentieth of a bottle's air lost and put back each hour, 500 times."""
    shell = Shell(40.0)
    log, kpa = shell.filled(AirLog().emptied(), shell.need_kpa, 3)
    for hour in range(500):
        log = log.heard(shell.hz(0.98 * kpa), 3600.0 * hour)
        log = log.moved(0.02 * kpa / KIND.stroke_kpa).heard(shell.hz(kpa), 3600.0 * hour + 60.0)
    assert len(log.fills) <= 8
    assert pressure_now(KIND, log, HZ).expected_kpa == pytest.approx(kpa, rel=0.35)


@pytest.mark.parametrize("read_psi", [0.0, 2.0])
def test_a_reading_far_too_low_is_doubted_and_the_strokes_count(read_psi: float) -> None:
    shell = Shell(45.0)
    log, kpa = shell.filled(AirLog().emptied(), 0.9 * shell.need_kpa, 4)
    once = log.gauge_read(read_psi * KPA_PER_PSI, 190.0)
    now = pressure_now(KIND, once, HZ)
    assert now.doubted
    assert now.most_kpa > 1.1 * kpa
    twice = pressure_now(KIND, once.gauge_read(read_psi * KPA_PER_PSI, 195.0), HZ)
    assert twice.times_read == 2
    assert twice.most_kpa > 1.1 * kpa


@pytest.mark.parametrize("times", [1, 2, 6])
@pytest.mark.parametrize(("unit", "other"), [("psi", "bar"), ("kPa", "psi"), ("kPa", "bar")])
def test_a_wrong_unit_typed_ever_so_often_never_hides_the_pressure(unit: str, other: str, times: int) -> None:
    """Nothing was counted, and the shell allows both: the same number again is no second witness."""
    shell = Shell(45.0)
    kpa = 0.6 * shell.need_kpa
    log = AirLog().heard(shell.hz(kpa), 0.0)
    for at_s in range(times):
        log = log.gauge_read(kpa / KPA_PER[other] * KPA_PER[unit], float(at_s), unit)
    assert pressure_now(KIND, log, HZ).most_kpa > 0.98 * kpa


def test_a_unit_that_the_player_names_settles_what_a_bare_number_leaves_open() -> None:
    shell = Shell(45.0)
    kpa = 0.6 * shell.need_kpa
    log = AirLog().heard(shell.hz(kpa), 0.0).gauge_read(kpa / 100.0 * KPA_PER_PSI, 1.0, "psi")
    now = pressure_now(KIND, log.gauge_read(kpa, 2.0, None), HZ)
    assert not now.doubted
    assert now.expected_kpa == pytest.approx(kpa, rel=0.2)
    assert kpa < now.most_kpa < kpa + 20.0 * KPA_PER_PSI


def test_reading_a_dial_ten_times_makes_it_no_better() -> None:
    """What a dial is off by it is off by each time; only the eye's share of it is averaged out."""
    shell = Shell(45.0)
    kpa = 0.9 * shell.need_kpa
    once = AirLog().heard(shell.hz(kpa), 0.0).gauge_read(kpa, 0.0, None)
    often = once
    for at_s in range(1, 8):
        often = often.gauge_read(kpa, float(at_s), None)
    margins = [pressure_now(KIND, log, HZ).most_kpa - kpa for log in (once, often)]
    assert all(2.7 * KIND.gauge_sd_kpa < margin < 3.3 * KIND.gauge_sd_kpa for margin in margins)


def test_a_reading_waits_for_the_next_strike_where_air_was_moved() -> None:
    log = AirLog().heard(0.8 * HZ, 0.0).moved(5.0).gauge_read(200.0, 1.0)
    assert log.readings == ()
    assert log.heard(HZ, 2.0).readings == (DialReading(200.0, HZ, 0.0, "psi"),)


acts = st.lists(
    st.one_of(
        st.tuples(st.just("heard"), st.floats(100.0, 2000.0)),
        st.tuples(st.just("moved"), st.floats(-60.0, 60.0)),
        st.tuples(st.just("gauge"), st.floats(0.0, 900.0)),
        st.tuples(st.just("empty"), st.just(0.0)),
    ),
    max_size=25,
)


@settings(max_examples=40, deadline=None)
@given(acts)
def test_whatever_happens_there_is_a_bound_and_the_log_survives_a_checkpoint(
    moves: list[tuple[str, float]],
) -> None:
    log = AirLog()
    for at_s, (act, value) in enumerate(moves):
        match act:
            case "heard":
                log = log.heard(value, float(at_s))
            case "moved":
                log = log.moved(value)
            case "gauge":
                log = log.gauge_read(value, float(at_s))
            case _:
                log = log.emptied()
    now = pressure_now(KIND, log, HZ)
    assert 0.0 <= now.least_kpa <= now.expected_kpa * (1.0 + 1e-9) <= now.most_kpa * (1.0 + 2e-9)
    assert math.isfinite(now.most_kpa)
    assert AirLog.from_kept(json.loads(json.dumps(dataclasses.asdict(log)))) == log
