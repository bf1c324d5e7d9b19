"""Generator 3, the project's own: the sounds of its virtual rig, as `tests.benchmarks.strikes` makes them."""

from __future__ import annotations

from tests.benchmarks import strikes
from tests.strikes.strike import Strike

CONDITIONS = strikes.CONDITIONS
SEED = 6100
"""Another random seed than the benchmark's and than those of its first fit."""


def make(condition: str, seed: int) -> Strike:
    """Strike number `seed` of a condition."""
    case = strikes.make(condition, seed, SEED)
    return Strike(
        generator="own",
        condition=condition,
        samples=case.samples,
        sample_rate_hz=case.sample_rate_hz,
        at_s=(case.onset_index / case.sample_rate_hz,),
        true_hz=case.true_hz,
        target_hz=case.expectation.target_hz,
        half_width_cents=case.expectation.half_width_cents,
        others_before=condition == "other ringing",
    )
