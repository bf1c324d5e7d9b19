"""No advice above the ceiling, on bottles unlike ours: `python -m tests.benchmarks.ceilings`.

Prints how often advice, perfectly done (the hand's own error is counted apart), took the true pressure above
1.03 and 1.10 of the ceiling, how many bottles that need no more than 0.85 of their ceiling reached their
note, and how often a gauge was asked for. The world is `tests.worlds.one_bottle`.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict

from tests.worlds.one_bottle import OneBottle, Rounds, drawn

ABOVE, FAR_ABOVE = 1.03, 1.10
TRULY_NEEDS = 0.85
NEAR_CENTS = 25.0
"""A bottle no flatter than this reached its note: what is left is the hand's and the heat's."""


def played(seed: int, gauge: str | None, *, honest: bool = False) -> OneBottle:
    """Two rounds on one bottle."""
    true = drawn(seed, gauge, honest=honest)
    Rounds(true).play(1 if honest else 2)
    return true


def safety(first: int, count: int) -> None:
    """Everything at its worst."""
    above: dict[str, list[tuple[float, int]]] = defaultdict(list)
    for seed in range(first, first + count):
        true = played(seed, None)
        above[true.gauge].append((true.highest / true.ceiling, seed))
        if true.highest > ABOVE * true.ceiling:
            print(
                f"  seed {seed} {true.gauge:5} {true.highest / true.ceiling:.2f} of {true.ceiling:.0f} psi",
                flush=True,
            )
    print(f"bottles {count}, two rounds each")
    print("gauge   bottles  above 1.03  above 1.10  worst")
    for kind, found in above.items():
        shares = [share for share, _ in found]
        over, far = sum(s > ABOVE for s in shares), sum(s > FAR_ABOVE for s in shares)
        print(f"{kind:6} {len(shares):8d} {over:11d} {far:11d} {max(shares):6.2f}")


def reach(first: int, count: int) -> None:
    """Honest labels, gauges and ears: who reaches the note, and what that costs."""
    found: dict[tuple[str, str], list[tuple[bool, int, int]]] = defaultdict(list)
    for gauge in ("right", "none"):
        for seed in range(first, first + count):
            true = played(seed, gauge, honest=True)
            if true.need > TRULY_NEEDS * true.ceiling:
                continue
            part = "bass" if true.note < 60 else "middle" if true.note <= 88 else "top"
            there = true.nearest_cents > -NEAR_CENTS
            found[gauge, part].append((there, true.asked, true.strikes))
            found[gauge, f"{part}, from empty" if true.told_empty else f"{part}, not counted"].append(
                (there, true.asked, true.strikes)
            )
    print("gauge  bottles that need <= 0.85  reached   asked a bottle  strikes  refused for the ceiling")
    for (gauge, part), rows in sorted(found.items()):
        n = len(rows)
        share, asked, strikes = (sum(r[i] for r in rows) / n for i in range(3))
        print(f"{gauge:6} {part:20} {n:4d}  {100.0 * share:6.1f} %  {asked:8.2f}  {strikes:8.1f}")


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bottles", type=int, default=500)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--only", choices=("safety", "reach"))
    args = parser.parse_args()
    if args.only != "reach":
        safety(args.first, args.bottles)
    if args.only != "safety":
        reach(args.first, args.bottles)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
