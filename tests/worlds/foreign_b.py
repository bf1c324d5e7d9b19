"""World B: what the forecasts, doses and plans are proved on, and never fitted to.

Settling 0.10-0.28 of a change within one to two minutes; the empty shell makes 0.6 of f² in the bass,
0.2-0.4 elsewhere; a pump head costs 3 / 1.5 / 3 cents (bass / middle / top), half as it goes on and half as
it comes off; leaks of 0.8 / 0.2 / 0.5 cents a minute; a random walk of 0.45 / 0.15 / 0.28 cents a root
minute; weather; an ear of 1.5 cents and a hand of 7 %; makes that differ in what a stroke does. All of it
our guess, and none of it the beliefs'.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.worlds.physics import (
    Drawn,
    Ear,
    Weather,
    World,
    describe,
    usual_kpa,
    weather_of_a_day,
)

if TYPE_CHECKING:
    from rounds.rig import Rig
    from tests.worlds.physics import Start

HEAD_CENTS = {"bass": 3.0, "middle": 1.5, "top": 3.0}
WALK_CENTS = {"bass": 0.45, "middle": 0.15, "top": 0.28}
LEAK_CENTS_PER_MIN = {"bass": 0.8, "middle": 0.2, "top": 0.5}
MAKES = (0.8, 1.0, 1.27)
"""Pressure at the note, by make, beside what is usual."""


def make(
    seed: int,
    bottles: int = 36,
    start: Start = "tuned",
    *,
    needed: int = 25,
    tolerance_cents: float = 15.0,
    ear: Ear | None = None,
    hand_sd: float = 0.07,
    steady: bool = False,
    start_s: float = 1.75e9,
    rig: Rig | None = None,
) -> World:
    """A rig of world B.

    Args:
        start: every bottle near its note, at 40-80 % of the pressure it needs, or empty.
        needed: how many bottles the piece "Most" needs.
        steady: the air keeps its temperature.
        rig: another rig than the usual one (`tests.worlds.physics.describe`).
    """
    rng = np.random.default_rng([seed, 0xB])
    rig = rig or describe(bottles, needed, tolerance_cents)
    weather = Weather() if steady else weather_of_a_day(rng)
    drawn = _drawn(rig, rng)
    world = World(rig, drawn, rng, ear=ear or Ear(), weather=weather, hand_sd=hand_sd, start_s=start_s)
    _begin(world, start)
    return world


def _begin(world: World, start: Start) -> None:
    if start == "tuned":
        world.put_all(world.rng.normal(0.0, 3.0, len(world.rig.bottles)))
    else:
        world.fill_to(*((0.4, 0.8) if start == "low" else (0.0, 0.0)))


def _drawn(rig: Rig, rng: np.random.Generator) -> Drawn:
    count = len(rig.bottles)
    groups = [b.group for b in rig.bottles]
    bass = np.array([g == "bass" for g in groups])
    target2 = np.array([rig.target_hz(b.id) for b in rig.bottles]) ** 2
    empty = np.where(bass, rng.uniform(0.55, 0.65, count), rng.uniform(0.2, 0.4, count))
    note_kpa = np.array([usual_kpa(b.note.midi) for b in rig.bottles])
    note_kpa *= rng.choice(MAKES, count) * rng.normal(1.0, 0.06, count)
    note_kpa = np.minimum(note_kpa, 0.85 * np.array([b.ceiling_kpa for b in rig.bottles]))
    leak = np.array([LEAK_CENTS_PER_MIN[g] for g in groups]) * np.exp(rng.normal(0.0, 0.45, count))
    head = np.array([HEAD_CENTS[g] for g in groups]) * rng.uniform(0.75, 1.25, count)
    volume = np.array([b.volume_ml for b in rig.bottles])
    never = np.full(count, np.inf)
    return Drawn(
        stiff=empty * target2,
        slope=(1.0 - empty) * target2 / note_kpa,
        load=np.zeros(count),
        leak_per_min=leak / (865.6 * (1.0 - empty)),
        walk_cents=np.array([WALK_CENTS[g] for g in groups]),
        settling=rng.uniform(0.10, 0.28, count),
        quick_share=np.ones(count),
        quick_s=rng.uniform(55.0, 125.0, count),
        slow_s=np.full(count, 1e9),
        on_cents=0.5 * head,
        off_cents=0.5 * head,
        volume_ml=volume * rng.normal(1.0, 0.03, count),
        delivered=rng.uniform(0.84, 0.98, count),
        pin=rng.uniform(0.6, 1.3, count),
        lag_s=(90.0 + 0.08 * volume) * rng.uniform(0.8, 1.25, count),
        sudden_s=never,
        sudden_per_min=np.zeros(count),
        seats_s=-never,
        seat_per_min=np.zeros(count),
    )
