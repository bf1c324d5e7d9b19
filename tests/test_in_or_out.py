"""One rule says how a bottle stands, so that no two places of a screen can disagree."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.belief.in_or_out import MAY_BE_OUT, ahead, tuned
from rounds.gauss import Gauss

CENTS = st.floats(-60.0, 60.0)
SDS = st.floats(0.1, 60.0)


@pytest.mark.parametrize(
    ("cents", "sd", "standing"),
    [
        (9.0, 1.0, "in_tune"),
        (11.0, 1.0, "sharp"),
        (-200.0, 30.0, "flat"),
        (-5.0, 11.0, "in_tune"),
        (2.0, 20.0, "doubtful"),
    ],
)
def test_how_a_bottle_stands(cents: float, sd: float, standing: str) -> None:
    assert tuned(Gauss(cents, sd), 10.0) == standing


@given(CENTS, SDS)
def test_in_tune_means_no_more_likely_out_than_in(cents: float, sd: float) -> None:
    """And a side is named only where it is more likely than not beyond the tolerance on that side."""
    level = Gauss(cents, sd)
    standing = tuned(level, 10.0)
    if standing == "sharp":
        assert 1.0 - level.below(10.0) >= 0.5
    elif standing == "flat":
        assert level.below(-10.0) >= 0.5
    else:
        assert (standing == "in_tune") == (level.outside(10.0) <= 0.5)


@given(CENTS, SDS)
def test_what_may_be_out_is_still_in_tune(cents: float, sd: float) -> None:
    level = Gauss(cents, sd)
    later = ahead(level, 10.0)
    assert (later == "wavering") == (tuned(level, 10.0) == "in_tune" and level.outside(10.0) >= MAY_BE_OUT)


def test_a_path_that_only_drifts_flat_is_never_sharp_again() -> None:
    """Sharp, unsure, sharp, flat was drawn where the doubt grew while the pitch fell."""
    path = [ahead(Gauss(14.0 - m, 2.0 + 0.6 * m), 10.0) for m in range(40)]
    last_sharp = max(m for m, standing in enumerate(path) if standing == "sharp")
    assert all(standing == "sharp" for standing in path[: last_sharp + 1])
    assert path[-1] == "flat"
