"""The hearing on strikes of other hands (`tests/strikes`), a small sample of each generator.

Whole table: `python -m tests.benchmarks.hearing_foreign`. A floor is what is reached; its target is beside.
"""

from __future__ import annotations

import numpy as np
import pytest

from rounds.hearing.ear import Ear
from rounds.hearing.reading import Expectation
from tests import strikes
from tests.benchmarks.hearing_noises import heard as heard_in
from tests.strikes.noises import NOISES
from tests.strikes.outcome import Outcome, hear

pytestmark = pytest.mark.slow

SEED = 90_000
GENERATORS = ("modal", "sampled", "mesh")
"""The project's own has `tests/test_hearing_accuracy.py`."""


@pytest.mark.parametrize("generator", GENERATORS)
def test_the_same_number_gives_the_same_strike(generator: str) -> None:
    condition = "near"
    if strikes.missing(generator, condition):
        pytest.skip(strikes.missing(generator, condition) or "")
    first, again, other = (strikes.make(generator, condition, seed) for seed in (1, 1, 2))
    assert np.array_equal(first.samples, again.samples)
    assert first.true_hz == again.true_hz
    assert not np.array_equal(first.samples, other.samples)


def test_of_a_ring_stepped_through_time_the_true_pitch_is_what_rings_on() -> None:
    """By a plain FFT (numpy) of half a second, late, of a strike beside the microphone."""
    for seed in range(4):
        strike = strikes.make("mesh", "near", seed)
        begin = round((strike.at_s[0] + 0.15) * strike.sample_rate_hz)
        part = strike.samples[begin : begin + strike.sample_rate_hz // 2].astype(np.float64)
        level = np.abs(np.fft.rfft(part * np.hanning(part.size), 1 << 20))
        hz = np.fft.rfftfreq(1 << 20, 1 / strike.sample_rate_hz)
        near = np.abs(1200 * np.log2(np.maximum(hz, 1.0) / strike.true_hz)) < 60.0
        assert 1200 * np.log2(hz[near][level[near].argmax()] / strike.true_hz) == pytest.approx(0.0, abs=3.0)


@pytest.fixture(scope="module")
def heard() -> dict[str, list[Outcome]]:
    """One strike of each condition and generator, and one of every fourth chain."""
    found: dict[str, list[Outcome]] = {}
    for number, generator in enumerate(GENERATORS):
        kinds = [c for c in strikes.CONDITIONS[generator] if c not in strikes.CHAINS]
        kinds += strikes.CHAINS[number :: len(GENERATORS)]
        made = [strikes.make(generator, c, SEED) for c in kinds if not strikes.missing(generator, c)]
        found[generator] = [outcome for strike in made for outcome in hear(strike)]
    return found


def _all(heard: dict[str, list[Outcome]]) -> list[Outcome]:
    return [o for outcomes in heard.values() for o in outcomes]


def test_the_uncertainty_holds_the_truth(heard: dict[str, list[Outcome]]) -> None:
    """Target: 94 in 100; all of these 29 are reached."""
    good = [o for o in _all(heard) if o.clear]
    assert sum(o.held for o in good) >= 0.94 * len(good)


def test_three_in_four_are_accepted_and_none_is_met_with_silence(heard: dict[str, list[Outcome]]) -> None:
    """Target: 75 in 100 of the harder conditions together, 1 in 100 silent; 83 and none of 35 are reached."""
    outcomes = _all(heard)
    assert sum(o.clear for o in outcomes) >= 0.75 * len(outcomes)
    assert [o.strike.condition for o in outcomes if o.reading is None] == []


def test_no_accepted_reading_is_of_another_tone(heard: dict[str, list[Outcome]]) -> None:
    assert max(abs(o.error_cents) for o in _all(heard) if o.clear) < 50.0


def test_a_strike_is_read_once(heard: dict[str, list[Outcome]]) -> None:
    assert [o.strike.condition for o in _all(heard) if o.doubles] == []


@pytest.mark.parametrize("name", list(NOISES))
def test_what_is_no_strike_is_never_accepted(name: str) -> None:
    """Three short pieces, any bottle waited for in the first; hours: `tests.benchmarks.hearing_noises`."""
    assert heard_in(name, range(3), seconds=3.0)["clear"] == 0


def _given_after_s(strike: strikes.Strike) -> dict[str, float]:
    """How much of the stream after the touch had been fed when each stage's reading came, in 10 ms blocks."""
    ear = Ear(strike.sample_rate_hz, Expectation(strike.target_hz))
    block, after = strike.sample_rate_hz // 100, dict[str, float]()
    for k in range(0, strike.samples.size, block):
        for reading in ear.feed(strike.samples[k : k + block]):
            if abs(reading.at_s - strike.at_s[0]) < 0.05:
                after[reading.stage] = ear.heard_s - strike.at_s[0]
    return after


def test_the_reading_that_counts_waits_for_a_ring_and_not_where_there_is_none() -> None:
    """A hint at 0.15 s; then 0.42 s where it rings, 0.26 s where it is soon over; 20 ms are for the way."""
    ringing = _given_after_s(strikes.make("mesh", "near", 2))
    soon_over = _given_after_s(strikes.make("mesh", "short ring", 0))
    assert ringing["provisional"] < 0.15
    assert 0.3 < ringing["final"] <= 0.41
    assert soon_over["final"] <= 0.26
