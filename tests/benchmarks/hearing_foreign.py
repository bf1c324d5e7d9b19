"""How well strikes of other hands are heard: `python -m tests.benchmarks.hearing_foreign [--per N]`.

Strikes of every generator of `tests.strikes` under each of its conditions through the whole ear. `accept`:
the reading that counts (the last one given of a strike) is clear. `held`: its uncertainty holds the truth;
`<1c held`: the same of readings that say less than 1 cent (how many); `>50`: accepted and off by more than 50
cents; `silent`: no reading at all; `double`: a further reading of a strike; `phant`: a reading before the
first strike; `early`: held by the provisional readings that are clear; `bias`: median error with its sign;
`ms`: processor time of one measurement.
"""

from __future__ import annotations

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from tests import strikes
from tests.strikes.outcome import TITLES, Outcome, hear, line

SEED = 70_000
"""Strikes are numbered from here on; fits use numbers under 60 000."""


def table(generator: str, conditions: list[str], seeds: range) -> dict[str, list[Outcome]]:
    """Print a row a condition and one of all."""
    rows: dict[str, list[Outcome]] = {}
    for condition in conditions:
        lacking = strikes.missing(generator, condition)
        if lacking:
            print(f"{generator}: {condition}: left out: {lacking}")
            continue
        rows[condition] = [o for seed in seeds for o in hear(strikes.make(generator, condition, seed))]
        print(line(f"{generator}: {condition}", rows[condition]), flush=True)
    if rows:
        print(line(f"{generator}: all", [o for row in rows.values() for o in row]), flush=True)
    return rows


def main() -> None:
    """Print the tables: one a generator, then each condition over all generators."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    names = list(strikes.CONDITIONS)
    parser.add_argument("--per", type=int, default=60, help="strikes a condition (default 60)")
    parser.add_argument("--seed", type=int, default=SEED, help="number of the first strike")
    parser.add_argument("--generator", nargs="+", choices=names, default=names)
    parser.add_argument("--condition", nargs="+", help="these conditions alone")
    args = parser.parse_args()
    seeds = range(args.seed, args.seed + args.per)
    print(f"strikes {args.seed} to {seeds[-1]} of each condition\n{TITLES}")
    together: dict[str, list[Outcome]] = {}
    for generator in args.generator:
        chosen = [c for c in strikes.CONDITIONS[generator] if args.condition is None or c in args.condition]
        for condition, row in table(generator, chosen, seeds).items():
            together.setdefault(condition, []).extend(row)
    if len(args.generator) > 1:
        for condition, row in together.items():
            print(line(f"together: {condition}", row), flush=True)


if __name__ == "__main__":
    main()
