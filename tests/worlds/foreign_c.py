"""World C: harsher than any rig we heard of; reported beside world B, never a target, never fitted to.

The enclosed gas loads the shell, f² = (a + b p)/(1 + C P); 0.10-0.45 of a change comes back, in two stages
(heat within a minute or two, the wall within a quarter of an hour); leaks that begin suddenly, caps that leak
until they seat themselves; makes 0.4 to 1.6 as stiff as usual, so that some notes need as much as the ceiling
or more; volumes 15 % off what the rig says. All of it our guess.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.worlds.physics import ATM, Drawn, Ear, World, describe, usual_kpa, weather_of_a_day

if TYPE_CHECKING:
    from rounds.rig import Rig
    from tests.worlds.physics import Start

HEAD_CENTS = {"bass": 4.0, "middle": 2.0, "top": 3.0}
WALK_CENTS = {"bass": 0.5, "middle": 0.2, "top": 0.35}
LEAK_CENTS_PER_MIN = {"bass": 0.5, "middle": 0.12, "top": 0.4}
MOST_SHARE_OF_CEILING = 1.2


def make(
    seed: int,
    bottles: int = 36,
    start: Start = "tuned",
    *,
    needed: int = 25,
    tolerance_cents: float = 15.0,
    ear: Ear | None = None,
    hand_sd: float = 0.07,
    start_s: float = 1.75e9,
    rig: Rig | None = None,
    reachable: bool = False,
) -> World:
    """A rig of world C; arguments as in `tests.worlds.foreign_b.make`.

    Args:
        reachable: no bottle needs more than 0.85 of its ceiling.
    """
    rng = np.random.default_rng([seed, 0xC])
    rig = rig or describe(bottles, needed, tolerance_cents)
    weather = weather_of_a_day(rng)
    drawn = _drawn(rig, rng, 0.85 if reachable else MOST_SHARE_OF_CEILING)
    world = World(rig, drawn, rng, ear=ear or Ear(), weather=weather, hand_sd=hand_sd, start_s=start_s)
    if start == "tuned":
        ceilings = np.array([b.ceiling_kpa for b in rig.bottles])
        world.put_all(rng.normal(0.0, 3.0, len(rig.bottles)))
        for bottle, ceiling in zip(rig.bottles, ceilings, strict=True):
            if world.gauge_kpa(bottle.id) > 0.95 * ceiling:
                world.put(bottle.id, -150.0)
    else:
        world.fill_to(*((0.4, 0.8) if start == "low" else (0.0, 0.0)))
    return world


def _drawn(rig: Rig, rng: np.random.Generator, most_share: float) -> Drawn:
    count = len(rig.bottles)
    groups = [b.group for b in rig.bottles]
    target2 = np.array([rig.target_hz(b.id) for b in rig.bottles]) ** 2
    stiffness = rng.uniform(0.4, 1.6, 4)[rng.integers(0, 4, count)] * rng.normal(1.0, 0.05, count)
    note_kpa = np.array([usual_kpa(b.note.midi) for b in rig.bottles]) / stiffness
    note_kpa = np.clip(note_kpa, 15.0, most_share * np.array([b.ceiling_kpa for b in rig.bottles]))
    load = rng.uniform(3e-4, 7e-4, count)
    loaded2 = target2 * (1.0 + load * (note_kpa + ATM))
    empty = np.where(
        [g == "bass" for g in groups], rng.uniform(0.3, 0.7, count), rng.uniform(0.1, 0.5, count)
    )
    slope = (1.0 - empty) * loaded2 / note_kpa
    cents_per_kpa = 865.6 * (slope / loaded2 - load * target2 / loaded2)
    leak = np.array([LEAK_CENTS_PER_MIN[g] for g in groups]) * np.exp(rng.normal(0.0, 0.6, count))
    head = np.array([HEAD_CENTS[g] for g in groups]) * rng.uniform(0.6, 1.5, count)
    volume = np.array([b.volume_ml for b in rig.bottles])
    per_cent = 1.0 / (cents_per_kpa * note_kpa)
    sudden = rng.random(count) < 0.12
    loose = rng.random(count) < 0.12
    return Drawn(
        stiff=empty * loaded2,
        slope=slope,
        load=load,
        leak_per_min=leak * per_cent,
        walk_cents=np.array([WALK_CENTS[g] for g in groups]) * rng.uniform(0.6, 1.5, count),
        settling=rng.uniform(0.10, 0.45, count),
        quick_share=rng.uniform(0.4, 0.8, count),
        quick_s=rng.uniform(40.0, 130.0, count),
        slow_s=rng.uniform(300.0, 1100.0, count),
        on_cents=head * 0.6,
        off_cents=head * 0.4,
        volume_ml=volume * rng.uniform(0.85, 1.15, count),
        delivered=rng.uniform(0.75, 0.98, count),
        pin=rng.uniform(0.4, 1.6, count),
        lag_s=rng.uniform(100.0, 360.0, count),
        sudden_s=np.where(sudden, rng.uniform(0.0, 14400.0, count), np.inf),
        sudden_per_min=rng.uniform(0.8, 5.0, count) * per_cent,
        seats_s=np.where(loose, rng.uniform(600.0, 3600.0, count), -np.inf),
        seat_per_min=rng.uniform(0.5, 2.5, count) * per_cent,
    )
