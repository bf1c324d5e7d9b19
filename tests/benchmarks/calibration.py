"""Fit the weights of the uncertainty: `python -m tests.benchmarks.calibration` (7 minutes of processor time).

Strikes of every condition of the benchmark, other random seeds, through the whole ear. Sought are the
weights of `rounds.hearing.certainty` with which the uncertainty holds the truth 96 to 97 times in 100 in
every condition, strikes are accepted as often as may be, and the uncertainty is no wider than needed.
Prints them, and what they hold on the seeds of the fit and on one that was not used (`--check`). It starts
from plain weights and not from those in use, so that the same seeds give the same answer.
"""

from __future__ import annotations

import argparse
import os
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize

from rounds.hearing import strike
from rounds.hearing.certainty import Signs, Weights, u95_cents
from rounds.hearing.ear import Ear
from rounds.hearing.pitch import Pitch, measure_pitch
from rounds.hearing.strike import MAX_U95_CENTS
from tests.benchmarks.strikes import CONDITIONS, make, off_cents

if TYPE_CHECKING:
    from rounds.hearing.reading import Stage

SEEDS = (5101, 5102, 5103, 5104)
CHECK = 5105
TARGET = 0.967
SPREAD = 0.006
"""How far from the target a condition may be before it counts in earnest."""
SOFT = 0.06
"""Counts are smoothed over this much of the logarithm, so that there is a slope to follow."""
PULL = 2.0
"""Weights are drawn to the plain ones, in natural logarithms: what nothing decides stays there."""
HARD = ("short ring", "doublet", "bounce")
"""Twice as many of these: few of them are accepted, or they proved hardest to hold."""
STAGED = ("reverberant", "close microphone", "first fill")
PLAIN = Weights(
    dry=1.96,
    wet=1.96,
    peak=1.0,
    peak_short=1.0,
    short=1.3,
    brief=1.0,
    long=1.0,
    slow_cents=5.0,
    shift=1.0,
    pair=2.0,
)
FREE = ("dry", "wet", "peak", "peak_short", "short", "brief", "long", "slow_cents", "shift", "pair")
"""The others are set by hand: a floor, and tones too equal to choose between."""


@dataclass(frozen=True)
class Strikes:
    """Strikes that would be clear if their uncertainty allowed it, and how many there were in all."""

    groups: list[str]
    errors: np.ndarray
    signs: Signs
    made: dict[str, int]


def collect(seeds: list[int], per: int) -> Strikes:
    """Make strikes and read them, with every uncertainty allowed."""
    kept: list[tuple[str, float, Signs]] = []
    made: dict[str, int] = {}
    plan: list[tuple[str, Stage, int]] = [(c, "final", 2 * per if c in HARD else per) for c in CONDITIONS]
    plan += [(c, s, per // 2) for s in ("provisional", "update") for c in STAGED]
    for condition, stage, count in plan:
        group = condition if stage == "final" else f"{condition}, {stage}"
        made[group] = count * len(seeds)
        for seed in seeds:
            found = [_read(condition, number, seed, stage) for number in range(count)]
            kept += [(group, *one) for one in found if one is not None]
    columns = {f.name: np.array([float(getattr(s, f.name)) for _, _, s in kept]) for f in fields(Signs)}
    return Strikes([g for g, _, _ in kept], np.array([e for _, e, _ in kept]), Signs(**columns), made)


def _read(condition: str, number: int, seed: int, stage: Stage) -> tuple[float, Signs] | None:
    """Error and signs of one strike; None where it is refused for another reason than its uncertainty."""
    pitches: dict[float, Pitch] = {}

    def remembering(*args: object, **how: bool) -> Pitch | None:
        pitch = measure_pitch(*args, **how)  # type: ignore[arg-type]
        if pitch is not None:
            pitches[pitch.hz] = pitch
        return pitch

    case = make(condition, number, seed)
    changed: Any = strike
    changed.measure_pitch, changed.MAX_U95_CENTS = remembering, float("inf")
    try:
        ear = Ear(case.sample_rate_hz, case.expectation, stages=(stage,))
        readings = ear.feed(case.samples) + ear.flush()
    finally:
        changed.measure_pitch, changed.MAX_U95_CENTS = measure_pitch, MAX_U95_CENTS
    truly_s = case.onset_index / case.sample_rate_hz
    near = [r for r in readings if -0.02 < r.at_s - truly_s < 0.1]
    if not near or near[0].verdict != "clear" or near[0].hz is None:
        return None
    return abs(off_cents(near[0].hz, case)), pitches[near[0].hz].signs


def _cost(logs: np.ndarray, strikes: Strikes, members: dict[str, np.ndarray], start: np.ndarray) -> float:
    weights = replace(PLAIN, **dict(zip(FREE, np.exp(logs).tolist(), strict=True)))
    wide = np.log(u95_cents(strikes.signs, weights))
    error = np.log(np.maximum(strikes.errors, 1e-5))
    accepted = 1.0 / (1.0 + np.exp(np.clip((wide - np.log(MAX_U95_CENTS)) / SOFT, -50.0, 50.0)))
    held = accepted / (1.0 + np.exp(np.clip((error - wide) / SOFT, -50.0, 50.0)))
    cost = float(np.sum(np.square((logs - start) / PULL)))
    for group, inside in members.items():
        count = max(float(accepted[inside].sum()), 1e-9)
        off = float(held[inside].sum()) / count - TARGET
        cost += (off / SPREAD) ** 2 * min(1.0, count / 60.0)
        cost += 0.6 * float((accepted * wide)[inside].sum()) / count - 3.0 * count / strikes.made[group]
    return cost


def fit(strikes: Strikes) -> Weights:
    """The best weights, from plain ones on."""
    groups = np.array(strikes.groups)
    members = {group: groups == group for group in strikes.made}
    start = np.log([getattr(PLAIN, name) for name in FREE])
    found = start
    for _ in range(3):
        simplex = np.vstack([found, found + 0.25 * np.eye(found.size)])
        answer = minimize(
            _cost,
            found,
            args=(strikes, members, start),
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "maxiter": 1000, "xatol": 1e-3, "fatol": 1e-3},
        )
        found = answer.x
    return replace(PLAIN, **dict(zip(FREE, np.exp(found).round(2).tolist(), strict=True)))


def report(title: str, strikes: Strikes, weights: Weights) -> None:
    """What the weights hold, per condition."""
    print(f"\n{title:29s}    n  accepted   u95 holds  u95 median (cents)")
    wide = u95_cents(strikes.signs, weights)
    groups = np.array(strikes.groups)
    for group, made in strikes.made.items():
        good = (groups == group) & (wide <= MAX_U95_CENTS)
        if good.any():
            holds = np.mean(strikes.errors[good] <= wide[good])
            print(
                f"{group:29s} {made:4d}  {good.sum() / made:8.1%} {holds:10.1%} {np.median(wide[good]):10.3f}"
            )


def main() -> None:
    """Collect, fit, check."""
    parser = argparse.ArgumentParser(description="Fit the weights of the uncertainty.")
    parser.add_argument("--seeds", type=int, nargs="+", default=list(SEEDS))
    parser.add_argument("--check", type=int, default=CHECK)
    parser.add_argument("--per", type=int, default=150, help="strikes per condition and seed (default 150)")
    args = parser.parse_args()
    strikes = collect(args.seeds, args.per)
    weights = fit(strikes)
    print({name: value for name, value in asdict(weights).items() if name in FREE}, flush=True)
    report(f"seeds of the fit {args.seeds}", strikes, weights)
    report(f"seed not used, {args.check}", collect([args.check], args.per), weights)


if __name__ == "__main__":
    main()
