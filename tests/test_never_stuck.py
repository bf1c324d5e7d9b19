"""No round is ever stuck: random rounds in a small world of their own, counted from outside."""

from __future__ import annotations

import pytest

from tests.never_stuck import play

MOST_IN_A_ROW, MOST_ASKED = 3, 6


def check(seed: int) -> None:
    found = play(seed)
    assert found.ended, seed
    assert not found.head_on, seed
    assert found.longest_row <= MOST_IN_A_ROW, seed
    assert found.most_asked <= MOST_ASKED, seed
    assert not found.disagreed, seed


@pytest.mark.parametrize("seed", range(6))
def test_no_bottle_is_asked_for_again_and_again(seed: int) -> None:
    check(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [*range(6, 40), 1011, 1033, 1040])
def test_nor_in_many_random_rounds(seed: int) -> None:
    check(seed)
