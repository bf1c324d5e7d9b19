"""Whose strike it was. Cents are off the target's nominal pitch; the rigs and strikes are invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.recognising.odds import FIRST_FILL_CENTS, KNOWN_CENTS, Other, Story, Target, chance_astray, whose

NEIGHBOUR = Other("C#4", Story(98.0, 5.0))
IN_TUNE = (Story(-4.0, 5.0),)


def test_a_strike_near_what_is_believed_is_the_targets() -> None:
    assert whose(-6.0, Target(IN_TUNE), [NEIGHBOUR]) is None


def test_a_strike_at_a_known_neighbours_pitch_is_the_neighbours() -> None:
    assert whose(96.0, Target(IN_TUNE), [NEIGHBOUR]) == "C#4"


def test_a_strike_of_a_well_known_target_is_refused_however_often_the_neighbour_is_hit() -> None:
    assert whose(96.0, Target(IN_TUNE, (96.0, 97.0, 95.0)), [NEIGHBOUR]) == "C#4"


def test_a_pumped_target_may_land_on_a_neighbours_pitch_the_third_time() -> None:
    stories = (Story(-60.0, 5.0), Story(0.0, 20.0))
    assert whose(96.0, Target(stories, (96.0,)), [NEIGHBOUR]) == "C#4"
    assert whose(96.0, Target(stories, (96.0, 95.0)), [NEIGHBOUR]) is None


def test_a_pitch_outside_every_band_is_nobodys() -> None:
    assert whose(900.0, Target(()), [NEIGHBOUR]) == ""


def test_a_bottle_never_heard_may_be_far_off_but_not_on_a_known_bottle_at_once() -> None:
    assert whose(-430.0, Target(()), [NEIGHBOUR]) is None
    assert whose(97.0, Target(()), [NEIGHBOUR]) == "C#4"
    assert whose(97.0, Target((), (96.0,)), [NEIGHBOUR]) is None


def test_advised_air_widens_the_band_towards_where_it_leads() -> None:
    moved = Target((Story(-500.0, 10.0), Story(0.0, 60.0)))
    assert moved.half_width_cents > KNOWN_CENTS
    assert whose(-120.0, moved, []) is None


@pytest.mark.slow
@given(st.floats(-2000, 2000), st.floats(-300, 300), st.floats(0, 80))
def test_without_other_bottles_only_the_band_decides(off: float, mean: float, sd: float) -> None:
    target = Target((Story(mean, sd),))
    inside = abs(off - target.centre_cents) <= target.half_width_cents
    assert (whose(off, target, []) is None) == inside


@pytest.mark.parametrize("off", [-FIRST_FILL_CENTS + 1, FIRST_FILL_CENTS - 1])
def test_first_fill_looks_seven_semitones_either_side(off: float) -> None:
    assert whose(off, Target(()), []) is None


SILENT = 30.0


def test_where_the_others_stand_near_their_notes_a_neighbours_pitch_is_asked_for_once_more() -> None:
    """Neither bottle was heard. The first pitch could be the target's, far off, or the neighbour's, near."""
    astray = chance_astray([4.0, -12.0, 9.0, -20.0, 7.0, 3.0])
    silent = Other("E4", Story(-100.0, SILENT), 1.0 - astray)
    assert whose(-117.0, Target((), (), astray), [silent]) == "E4"
    assert whose(-117.0, Target((), (-116.0,), astray), [silent]) is None
    assert whose(-17.0, Target((), (), astray), [silent]) is None


def test_at_a_first_fill_a_pitch_far_off_is_believed_at_once() -> None:
    astray = chance_astray([-430.0, -380.0, -510.0, -290.0])
    silent = Other("E4", Story(-100.0, SILENT), 1.0 - astray)
    assert whose(-117.0, Target((), (), astray), [silent]) is None


def test_the_first_strike_of_all_on_a_neighbours_note_is_asked_for_once_more_where_it_is_sharp() -> None:
    """Air has yet to go in: a bottle far from its note is flat, so a pitch far above is somebody else's."""
    above = Other("D3", Story(200.0, 30.0), 1.0 - chance_astray([]))
    assert whose(190.0, Target(()), [above]) == "D3"
    assert whose(190.0, Target((), (190.0,)), [above]) is None
    assert whose(-190.0, Target(()), [Other("A#2", Story(-200.0, 30.0), above.share)]) is None


@given(st.lists(st.floats(-700, 700)))
def test_the_rule_of_succession_is_never_sure(heard: list[float]) -> None:
    """Laplace 1774: with no case for it in n, 1 / (n + 2)."""
    assert 0.0 < chance_astray(heard) < 1.0
    assert chance_astray([0.0] * 8) == 0.1
