"""Beliefs written down by hand, for tests of planning."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rounds import air
from rounds.gauss import Gauss
from rounds.notes import parse_note
from rounds.rig import Bottle, Pump, Rig, group_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.planning.beliefs_protocol import Floats


@dataclass
class WrittenBeliefs:
    """A level and a drift per minute per bottle; everything else the same for all."""

    rig: Rig
    levels: dict[str, Gauss]
    drift_per_min: dict[str, float] = field(default_factory=dict)
    spread_per_root_min: float = 1.0
    loss: Gauss = field(default_factory=lambda: Gauss(-3.0, 1.0))
    gain_sd_share: float = 0.05
    moved: set[str] = field(default_factory=set)

    def heard(self, bottle_id: str) -> bool:
        return bottle_id in self.levels

    def changed_since_reading(self, bottle_id: str) -> bool:
        return bottle_id in self.moved

    def level(self, bottle_id: str, at_s: float, temp_c: float | None = None) -> Gauss:
        return self.levels[bottle_id]

    def path(
        self, bottle_id: str, at_s: float, minutes: Sequence[float], temp_c: float | None = None
    ) -> tuple[Floats, Floats]:
        ahead = np.asarray(minutes, dtype=float)
        level = self.levels.get(bottle_id, Gauss(0.0, 300.0))
        sds = np.sqrt(level.var + self.spread_per_root_min**2 * ahead)
        return level.mean + self.drift_per_min.get(bottle_id, 0.0) * ahead, sds

    def gain(self, bottle_id: str, pump_id: str) -> Gauss:
        bottle, pump = self.rig.bottle(bottle_id), self.rig.pump(pump_id)
        shell = air.prior_shell(self.rig.target_hz(bottle_id), bottle.note.midi)
        hz2 = shell.slope_hz2_per_kpa * air.stroke_kpa(pump.barrel_ml, bottle.volume_ml)
        return Gauss(hz2, hz2 * self.gain_sd_share)

    def pin_gain(self, bottle_id: str) -> Gauss:
        return self.gain(bottle_id, self.rig.bottle(bottle_id).pump)

    def head_loss(self, bottle_id: str) -> Gauss:
        return self.loss

    def settling(self, bottle_id: str, change_cents: float) -> Gauss:
        return Gauss(-0.1 * change_cents, 0.03 * abs(change_cents))


def small_rig(names: Sequence[str] = ("C3", "E4", "G4", "C5", "E5", "G6"), pumps: int = 1) -> Rig:
    """A rig of a few bottles on one rail."""
    hands = tuple(Pump(id=f"P{i + 1}", barrel_ml=150.0) for i in range(pumps))
    notes = [parse_note(n) for n in names]
    bottles = tuple(
        Bottle(
            id=f"B{i + 1}",
            note=note,
            volume_ml=2000.0 if note.midi < 60 else 1250.0 if note.midi < 88 else 600.0,
            rail=1,
            position_cm=12.0 * i,
            pump=hands[i % pumps].id,
            group=group_of(note),
        )
        for i, note in enumerate(notes)
    )
    return Rig("small", bottles, hands)
