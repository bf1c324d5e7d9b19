"""Fit the weights of the uncertainty: `python -m tests.benchmarks.calibration [--per N] [--keep FILE]`.

Strikes of several generators that share no code (`tests.strikes`), under all their conditions, through the
whole ear. Sought are the weights of `rounds.hearing.certainty` with which the uncertainty holds the truth 96
to 97 times in 100 in every condition, and among the surest readings, while strikes are accepted as often as
may be. First each generator is left out in turn, the weights are fitted on the others, and what they hold on
it is printed; then all are fitted together, and what those weights hold on other strikes of them and of the
generator that is never fitted is printed, and the weights.

`--keep` writes what the strikes gave to a file, and reads it again if it is there: reading them takes most of
the time.
"""

from __future__ import annotations

import argparse
import os
import pickle
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from unittest.mock import patch

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize

from rounds.hearing.certainty import FREE, Signs, Weights, u95_cents
from rounds.hearing.pitch import Pitch, measure_pitch
from rounds.hearing.strike import MAX_U95_CENTS
from tests import strikes
from tests.strikes.outcome import EARLY_S, LATE_S, readings_of

if TYPE_CHECKING:
    from rounds.hearing.reading import Reading

FIT_FROM, PROVE_FROM = 20_000, 50_000
"""Numbers of the strikes fitted on and proved on; the table of docs/hearing.md has others again."""
TARGET = 0.962
SPREAD = 0.01
"""How far from the target a group may truly be before it counts; what its number leaves open comes on top."""
SOFT = 0.06
"""Counts are smoothed over this much of the logarithm, so that there is a slope to follow."""
PULL = 0.6
"""Weights are drawn to those in use, in natural logarithms: what nothing decides stays there."""
SURE_CENTS = 1.0
ENOUGH = 40


@dataclass(frozen=True)
class Heard:
    """Strikes that would be clear if their uncertainty allowed it, and how many there were in all."""

    groups: np.ndarray
    """`generator: condition`, with `, hint` behind it for the first reading."""
    errors: np.ndarray
    signs: Signs
    made: dict[str, int]

    def of(self, generators: tuple[str, ...]) -> Heard:
        """Those of some generators."""
        chosen = np.array([g.split(":")[0] in generators for g in self.groups])
        signs = Signs(**{f.name: getattr(self.signs, f.name)[chosen] for f in fields(Signs)})
        made = {g: n for g, n in self.made.items() if g.split(":")[0] in generators}
        return Heard(self.groups[chosen], self.errors[chosen], signs, made)


def collect(generators: tuple[str, ...], numbers: range) -> Heard:
    """Make strikes and read them, with every uncertainty allowed."""
    kept: list[tuple[str, float, Signs]] = []
    made: dict[str, int] = {}
    for generator in generators:
        for condition in strikes.CONDITIONS[generator]:
            if strikes.missing(generator, condition):
                continue
            group = f"{generator}: {condition}"
            made[group] = made[f"{group}, hint"] = len(numbers)
            for number in numbers:
                found = _read(strikes.make(generator, condition, number))
                kept += [(group + suffix, error, signs) for suffix, error, signs in found]
        print(f"{generator}: {len(kept)} readings so far", flush=True)
    columns = {f.name: np.array([float(getattr(s, f.name)) for _, _, s in kept]) for f in fields(Signs)}
    return Heard(np.array([g for g, _, _ in kept]), np.array([e for _, e, _ in kept]), Signs(**columns), made)


def _read(strike: strikes.Strike) -> list[tuple[str, float, Signs]]:
    """Suffix, error and signs of the hint and of the reading that counts, where nothing else refuses them."""
    pitches: dict[float, Pitch] = {}

    def remembering(*args: object, **how: object) -> Pitch | None:
        pitch = measure_pitch(*args, **how)  # type: ignore[arg-type]
        if pitch is not None:
            pitches[pitch.hz] = pitch
        return pitch

    with patch.multiple("rounds.hearing.strike", measure_pitch=remembering, MAX_U95_CENTS=float("inf")):
        readings, _ = readings_of(strike)
    near = [r for r in readings if -EARLY_S < r.at_s - strike.at_s[0] < LATE_S]
    hint: list[Reading] = [r for r in near if r.stage == "provisional"][:1]
    last: list[Reading] = [r for r in near if r.stage != "provisional"][-1:]
    return [
        (suffix, _error(reading, strike), pitches[reading.hz].signs)
        for suffix, reading in [*((", hint", r) for r in hint), *(("", r) for r in last)]
        if reading.verdict == "clear" and reading.hz in pitches
    ]


def _error(reading: Reading, strike: strikes.Strike) -> float:
    """Distance from the truth as far as that is known."""
    off = abs(1200.0 * float(np.log2((reading.hz or 1.0) / strike.true_hz)))
    return max(0.0, off - strike.known_to_cents)


def _cost(logs: np.ndarray, heard: Heard, members: dict[str, np.ndarray], start: np.ndarray) -> float:
    weights = replace(Weights(), **dict(zip(FREE, np.exp(logs).tolist(), strict=True)))
    wide = np.log(u95_cents(heard.signs, weights))
    error = np.log(np.maximum(heard.errors, 1e-5))
    accepted = _below(wide, np.log(MAX_U95_CENTS))
    sure = _below(wide, np.log(SURE_CENTS))
    held = _below(error, wide)
    cost = float(np.sum(np.square((logs - start) / PULL)))
    for group, inside in members.items():
        count = float(accepted[inside].sum())
        cost += _missed(accepted[inside], held[inside])
        cost += float((accepted * wide)[inside].sum()) / max(count, 1.0)
        cost -= 6.0 * count / heard.made[group]
    for generator in {group.split(":")[0] for group in members}:
        inside = np.array([g.startswith(f"{generator}:") for g in heard.groups])
        cost += 4.0 * _missed(accepted[inside], held[inside]) + 4.0 * _missed(sure[inside], held[inside])
    return cost


def _below(value: np.ndarray, limit: np.ndarray | float) -> np.ndarray:
    return np.asarray(1.0 / (1.0 + np.exp(np.clip((value - limit) / SOFT, -50.0, 50.0))))


def _missed(counted: np.ndarray, held: np.ndarray) -> float:
    """What it costs that a group holds more or less than the target, as far as its number can tell."""
    count = max(float(counted.sum()), 1e-9)
    off = float((counted * held).sum()) / count - TARGET
    return off**2 / (SPREAD**2 + TARGET * (1.0 - TARGET) / count)


def fit(heard: Heard) -> Weights:
    """The best weights, from those in use on."""
    members = {group: heard.groups == group for group in heard.made}
    start = np.log([getattr(Weights(), name) for name in FREE])
    found = start
    for _ in range(3):
        simplex = np.vstack([found, found + 0.25 * np.eye(found.size)])
        answer = minimize(
            _cost,
            found,
            args=(heard, members, start),
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "maxiter": 800, "xatol": 1e-3, "fatol": 1e-3},
        )
        found = answer.x
    return replace(Weights(), **dict(zip(FREE, np.exp(found).round(2).tolist(), strict=True)))


def report(title: str, heard: Heard, weights: Weights, *, conditions: bool = False) -> None:
    """What the weights hold: a generator at a time, then the conditions that hold least."""
    print(f"\n{title}\n{'':32s}    n  accepted  u95 holds  median u95 | under 1 cent: n  holds | hint holds")
    wide = u95_cents(heard.signs, weights)
    held, good = heard.errors <= wide, wide <= MAX_U95_CENTS
    hint = np.array([g.endswith(", hint") for g in heard.groups])
    for generator in dict.fromkeys(g.split(":")[0] for g in heard.made):
        inside = np.array([g.startswith(f"{generator}:") for g in heard.groups])
        made = sum(n for g, n in heard.made.items() if g.startswith(f"{generator}:")) // 2
        _row(f"{generator}: all", made, inside & good, hint, held, wide)
    for group, made in heard.made.items():
        inside = (heard.groups == group) | (heard.groups == f"{group}, hint")
        shown = conditions or (inside & good & ~hint).sum() >= ENOUGH
        if not group.endswith(", hint") and shown:
            _row(group, made, inside & good, hint, held, wide)


def _row(
    name: str, made: int, good: np.ndarray, hint: np.ndarray, held: np.ndarray, wide: np.ndarray
) -> None:
    final, sure = good & ~hint, good & ~hint & (wide < SURE_CENTS)
    if final.any():
        print(
            f"{name:32s} {made:4d} {final.sum() / made:9.1%} {held[final].mean():10.1%}"
            f" {np.median(wide[final]):11.2f} | {sure.sum():15d} {_share(held[sure])} |"
            f" {_share(held[good & hint])}",
            flush=True,
        )


def _share(held: np.ndarray) -> str:
    return f"{held.mean():6.1%}" if held.size else "     -"


def _collected(path: Path | None, generators: tuple[str, ...], per: int) -> tuple[Heard, Heard]:
    if path is not None and path.exists():
        kept: tuple[Heard, Heard] = pickle.loads(path.read_bytes())
        return kept
    fitted = collect(generators, range(FIT_FROM, FIT_FROM + per))
    proof = collect((*generators, strikes.NEVER_FITTED), range(PROVE_FROM, PROVE_FROM + per))
    if path is not None:
        path.write_bytes(pickle.dumps((fitted, proof)))
    return fitted, proof


def main() -> None:
    """Collect, leave out in turn, fit, check."""
    parser = argparse.ArgumentParser(description="Fit the weights of the uncertainty.")
    parser.add_argument("--per", type=int, default=60, help="strikes a condition (default 60)")
    parser.add_argument("--generators", nargs="+", choices=strikes.FITTED, default=list(strikes.FITTED))
    parser.add_argument("--keep", type=Path, help="a file for what the strikes gave")
    parser.add_argument("--conditions", action="store_true", help="show each condition, however few")
    args = parser.parse_args()
    generators = tuple(args.generators)
    heard, proof = _collected(args.keep, generators, args.per)
    report("weights in use, on other strikes", proof, Weights(), conditions=args.conditions)
    for left_out in generators if len(generators) > 1 else ():
        weights = fit(heard.of(tuple(g for g in generators if g != left_out)))
        report(f"fitted without {left_out}, held on it", proof.of((left_out,)), weights)
    weights = fit(heard)
    report("fitted on all, on other strikes", proof, weights, conditions=args.conditions)
    print({name: value for name, value in asdict(weights).items() if name in FREE}, flush=True)


if __name__ == "__main__":
    main()
