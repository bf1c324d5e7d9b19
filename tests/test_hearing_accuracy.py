"""The targets of the hearing, on a small sample of the benchmark's conditions (other random numbers).

The whole table: `python -m tests.benchmarks.hearing`. The bound on the error of a frequency in white
noise is Cramér and Rao's (Kay 1993, Fundamentals of Statistical Signal Processing: Estimation Theory,
from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from rounds.hearing.ear import Ear
from rounds.hearing.reading import Expectation
from tests.benchmarks.hearing import Heard, _over_bound, hear
from tests.benchmarks.noises import NOISES, make_noise
from tests.benchmarks.strikes import CONDITIONS, make

pytestmark = pytest.mark.slow

SEED = 4711
PER = 8


@pytest.fixture(scope="module")
def heard() -> list[Heard]:
    return [hear(make(condition, number, SEED)) for condition in CONDITIONS for number in range(PER)]


@pytest.mark.slow
def test_accepted_strikes_are_right(heard: list[Heard]) -> None:
    errors = [h.error_cents for h in heard if h.clear]
    assert len(errors) > 0.84 * len(heard)
    assert float(np.median(errors)) < 0.3
    assert float(np.quantile(errors, 0.95)) < 3.0
    assert max(errors) < 50.0


def test_the_uncertainty_holds_the_truth(heard: list[Heard]) -> None:
    good = [h for h in heard if h.clear]
    assert sum(h.covered for h in good) > 0.95 * len(good)


def test_dry_and_close_strikes_are_nearly_all_accepted_and_exact(heard: list[Heard]) -> None:
    easy = [h for h in heard if h.case.condition in ("quiet", "room 25 dB", "set 12 dB", "close microphone")]
    assert sum(h.clear for h in easy) > 0.95 * len(easy)
    assert max(h.error_cents for h in easy if h.clear) < 3.0


def test_a_strike_gives_one_reading(heard: list[Heard]) -> None:
    assert max(h.readings for h in heard) == 1


def test_what_is_not_clear_says_what_to_do(heard: list[Heard]) -> None:
    for h in heard:
        if h.reading is not None and not h.clear:
            assert h.reading.advice.endswith(".")


@pytest.mark.slow
@pytest.mark.parametrize("snr_db", [12.0, 20.0, 30.0, 40.0, 50.0])
def test_the_error_is_near_the_bound_where_there_is_only_noise(snr_db: float) -> None:
    """1.12 is the most reached; the mean of 80 squares is itself known to a sixth only."""
    ratios = [_over_bound(snr_db, SEED, number) for number in range(80)]
    assert math.sqrt(np.mean(np.square(ratios))) < 1.2


@pytest.mark.parametrize("name", list(NOISES))
def test_what_is_no_strike_is_never_accepted(name: str) -> None:
    samples = make_noise(name, 10.0, SEED)
    for target_hz in (None, 262.0, 784.0):
        ear = Ear(48_000, Expectation(target_hz), stages=("final",))
        assert [r for r in ear.feed(samples) + ear.flush() if r.verdict == "clear"] == []
