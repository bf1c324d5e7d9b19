"""What is true of each virtual bottle, drawn at random around what the tool believes at first.

The tool must not be tested on its own beliefs, so nothing here equals a prior: each bottle has its
own shell, leak, head, settling, creep and lag. The groups differ as players say they do (bass out in
about ten minutes, middle holds best, top hard to hold: common practice, no source); the numbers that
make it so are of our own invention. See docs/world.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.air import SETTLING_BOUND, played_gauge_kpa
from rounds.notes import CENTS_PER_NEPER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.rig import Bottle, Group, Rig

LEAK_CENTS_PER_MIN: dict[Group, float] = {"bass": 0.95, "middle": 0.11, "top": 0.42}
"""Median loss of pitch by leaking, near the target."""
LEAK_SPREAD = 0.5
"""Standard deviation of the logarithm of the leak between bottles of a group."""
WALK_CENTS: dict[Group, float] = {"bass": 0.55, "middle": 0.25, "top": 0.45}
"""Slow random walk of pitch, standard deviation after one minute."""
EAR_CENTS = 0.8
"""Typical error of one clear reading of the quick ear."""
CREEP_S = (60.0, 600.0, 6000.0)
"""Time constants of the wall; three decades side by side look like logarithmic time."""
CREEP_SHARE = 0.006
"""Share of the pressure's effect that creeps away in each decade, median."""
ROUGH = (2.0, 1.6, 1.4)
"""In the rougher world: leaks, walk and noise are this much larger."""
REACH = 0.85
"""Players keep only bottles that reach their note below this share of the ceiling."""


@dataclass(frozen=True)
class Truth:
    """True parameters, one array element a bottle in the order of `rig.bottles`."""

    target_hz: NDArray[np.float64]
    stiffness_hz2: NDArray[np.float64]
    slope_hz2_per_kpa: NDArray[np.float64]
    softening_per_k: NDArray[np.float64]
    """Share of the shell's own stiffness that a warm wall loses per kelvin."""
    leak_per_s: NDArray[np.float64]
    walk_cents: NDArray[np.float64]
    settle_share: NDArray[np.float64]
    """Share of a quick change of pressure that comes back; never more than 2/7."""
    settle_s: NDArray[np.float64]
    creep_share: NDArray[np.float64]
    """Bottles by decades."""
    lag_s: NDArray[np.float64]
    barrel_share: NDArray[np.float64]
    """Share of the barrel that a full stroke really delivers."""
    head_ml: NDArray[np.float64]
    """Dead volume that a connection fills from the bottle."""
    hiss_ml: NDArray[np.float64]
    """Air lost while the head comes off, as volume at the bottle's pressure."""
    pin_share: NDArray[np.float64]
    """A small let-out at the valve, in strokes."""
    ear_cents: float


def draw_truth(rig: Rig, rng: np.random.Generator, roughness: float = 1.0) -> Truth:
    """Draw every bottle of a rig. Roughness 1 is the ordinary world, 2 the rougher one."""
    bottles = rig.bottles
    count = len(bottles)
    leak_factor, walk_factor, noise_factor = (f ** math.log2(roughness) for f in ROUGH)
    target_hz = np.array([rig.target_hz(b.id) for b in bottles])
    stiff = rng.uniform(0.2, 0.4, count)
    pressure = _target_kpa(bottles, rng)
    loss = np.array([LEAK_CENTS_PER_MIN[b.group] for b in bottles]) * rng.lognormal(0.0, LEAK_SPREAD, count)
    pressure_cents = 0.5 * CENTS_PER_NEPER * (1.0 - stiff)
    volume = np.array([b.volume_ml for b in bottles])
    return Truth(
        target_hz=target_hz,
        stiffness_hz2=stiff * target_hz**2,
        slope_hz2_per_kpa=(1.0 - stiff) * target_hz**2 / pressure,
        softening_per_k=rng.uniform(0.0, 0.002, count),
        leak_per_s=leak_factor * loss / pressure_cents / 60.0,
        walk_cents=walk_factor
        * np.array([WALK_CENTS[b.group] for b in bottles])
        * rng.uniform(0.6, 1.4, count),
        settle_share=SETTLING_BOUND * rng.beta(1.5, 2.5, count),
        settle_s=rng.uniform(40.0, 85.0, count),
        creep_share=CREEP_SHARE
        * rng.lognormal(0.0, 0.4, (count, 1))
        * rng.uniform(0.7, 1.3, (count, len(CREEP_S))),
        lag_s=np.clip(120.0 + 180.0 * (volume - 600.0) / 1400.0, 120.0, 300.0)
        * rng.uniform(0.85, 1.15, count),
        barrel_share=rng.uniform(0.85, 0.95, count),
        head_ml=rng.uniform(1.5, 4.0, count),
        hiss_ml=rng.uniform(1.0, 4.0, count),
        pin_share=rng.lognormal(-0.1, 0.35, count),
        ear_cents=EAR_CENTS * noise_factor,
    )


def _target_kpa(bottles: tuple[Bottle, ...], rng: np.random.Generator) -> NDArray[np.float64]:
    """True gauge pressure at the target: within 15 % of the prior, and within the bottle's reach."""
    usual = np.array([played_gauge_kpa(b.note.midi) for b in bottles])
    reach = REACH * np.array([b.ceiling_kpa for b in bottles])
    return np.minimum(usual * rng.uniform(0.85, 1.15, len(bottles)), reach)
