"""Doses: they arrive, seldom overshoot, never pass the ceiling."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.gauss import Gauss
from rounds.planning import dose
from tests.planning_beliefs import WrittenBeliefs, small_rig

if TYPE_CHECKING:
    from rounds.rig import Rig


def beliefs_for(rig: Rig, level: float = -20.0) -> WrittenBeliefs:
    return WrittenBeliefs(rig, {b.id: Gauss(level, 2.0) for b in rig.bottles})


def test_a_dose_arrives_at_the_aim() -> None:
    rig = small_rig()
    for bottle in rig.bottles:
        found = dose(
            rig,
            beliefs_for(rig),
            bottle.id,
            level_cents=Gauss(-20.0, 1.0),
            aim_cents=0.0,
            pump_on=True,
            at_s=0.0,
        )
        assert found.strokes > 0.0
        assert abs(found.after.mean) < 5.0
        assert found.final


def test_a_sharp_bottle_is_let_out_by_the_pin() -> None:
    rig = small_rig()
    found = dose(
        rig, beliefs_for(rig), "B3", level_cents=Gauss(14.0, 1.0), aim_cents=0.0, pump_on=False, at_s=0.0
    )
    assert found.strokes < 0.0
    assert abs(found.after.mean) < 3.0


def test_no_advice_above_the_ceiling() -> None:
    rig = small_rig()
    low = tuple(replace(b, ceiling_kpa=200.0) if b.id == "B6" else b for b in rig.bottles)
    rig = replace(rig, bottles=low)
    found = dose(
        rig, beliefs_for(rig), "B6", level_cents=Gauss(-20.0, 1.0), aim_cents=0.0, pump_on=True, at_s=0.0
    )
    assert found.strokes == 0.0
    assert found.refused is not None
    assert "29 psi" in found.refused
