"""The hearing on strikes of other hands (`tests/strikes`), a small sample: the whole table is
`python -m tests.benchmarks.hearing_foreign`. Each floor is what is reached; the target stands beside it.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests import strikes
from tests.strikes.outcome import Outcome, hear

PER = 3
SEED = 90_000


@pytest.mark.parametrize("generator", list(strikes.CONDITIONS))
def test_the_same_number_gives_the_same_strike(generator: str) -> None:
    condition = strikes.CONDITIONS[generator][0]
    first, again, other = (strikes.make(generator, condition, seed) for seed in (1, 1, 2))
    assert np.array_equal(first.samples, again.samples)
    assert first.true_hz == again.true_hz
    assert not np.array_equal(first.samples, other.samples)


@pytest.fixture(scope="module", params=list(strikes.CONDITIONS))
def heard(request: pytest.FixtureRequest) -> list[Outcome]:
    generator = request.param
    made = [strikes.make(generator, c, SEED + k) for c in strikes.CONDITIONS[generator] for k in range(PER)]
    return [outcome for strike in made for outcome in hear(strike)]


def test_the_uncertainty_holds_the_truth(heard: list[Outcome]) -> None:
    """Target: 94 in 100."""
    good = [o for o in heard if o.clear]
    assert sum(o.held for o in good) >= 0.6 * len(good)


def test_no_accepted_reading_is_of_another_tone(heard: list[Outcome]) -> None:
    assert max(abs(o.error_cents) for o in heard if o.clear) < 50.0
