"""How far off a bottle is said to be: never a word that the reading beside it seems to deny."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.gauss import Gauss
from rounds.guide.instructions import off_the_aim
from rounds.guide.situation import Situation
from rounds.wording.words import offset_in_words


@pytest.mark.parametrize(
    ("error", "aim", "words"),
    [
        (-12.0, 0.0, "12 cents flat"),
        (1.0, 0.0, "1 cent sharp"),
        (0.2, 0.0, "on the note"),
        (-2.0, 5.0, "2 cents under the aim of +5"),
        (1.2, -6.4, "1 cent over the aim of −6"),
        (0.0, 5.0, "on the aim of +5"),
    ],
)
def test_offsets(error: float, aim: float, words: str) -> None:
    assert offset_in_words(error, aim) == words


@given(st.floats(-60, 60), st.floats(-20, 20))
def test_sharp_and_flat_are_said_of_the_target_alone(reading: float, aim: float) -> None:
    """A reading is off the target; the words beside it may not call it flat where it reads sharp."""
    words = offset_in_words(reading - aim, aim)
    if abs(reading) >= 1.0:
        assert ("flat" if reading > 0 else "sharp") not in words


def _situation(pump_on: str | None, loss_cents: float, aim_cents: float) -> Situation:
    visit = SimpleNamespace(bottle="C3", aim_cents=aim_cents + 10.0)
    plan: Any = SimpleNamespace(visits=[visit])
    state: Any = SimpleNamespace(shift_cents=10.0, pump_on=pump_on, heard={})
    beliefs: Any = SimpleNamespace(head_loss=lambda _: Gauss(loss_cents, 1.0))
    rig: Any = None
    return Situation(rig, beliefs, state, plan, now_s=0.0)


def test_air_that_goes_with_the_pump_head_is_told() -> None:
    """With the head on a bottle may read +2 and yet be 3 under: the head takes some with it."""
    assert off_the_aim(_situation("C3", -5.0, 0.0), "C3", -3.0) == "3 cents flat once the pump is off"
    assert off_the_aim(_situation("C3", -0.4, 4.0), "C3", -3.0) == "3 cents under the aim of +4"
    assert off_the_aim(_situation(None, -5.0, 4.0), "C3", 2.0) == "2 cents over the aim of +4"
