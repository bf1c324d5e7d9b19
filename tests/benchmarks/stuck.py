"""Random rounds counted from outside: `python -m tests.benchmarks.stuck [--rounds N] [--first SEED]`.

Bottles leak by up to 900 cents, change places, are dead or misheard, hands slip (`tests.never_stuck`).
Counted are rounds that ask for a bottle more than three times in a row without anything new, more than six
times while its air did not move, that do not end, end with a head on, or give an order that goes against the
reading beside it. The last column names the rounds, to be played again.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from tests.never_stuck import play

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.never_stuck import Outcome

MOST_IN_A_ROW, MOST_ASKED = 3, 6
FAULTS: dict[str, Callable[[Outcome], bool]] = {
    "asked more than three times in a row": lambda o: o.longest_row > MOST_IN_A_ROW,
    "asked more than six times": lambda o: o.most_asked > MOST_ASKED,
    "did not end": lambda o: not o.ended,
    "ended with a head on": lambda o: o.head_on,
    "order against the reading": lambda o: o.disagreed > 0,
}


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rounds", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    args = parser.parse_args()
    found: dict[str, list[int]] = {name: [] for name in FAULTS}
    for seed in range(args.first, args.first + args.rounds):
        outcome = play(seed)
        for name, is_so in FAULTS.items():
            if is_so(outcome):
                found[name].append(seed)
    print(f"| of {args.rounds} random rounds | number | which |")
    print("| --- | --- | --- |")
    for name, seeds in found.items():
        print(f"| {name} | {len(seeds)} | {', '.join(map(str, seeds[:20]))} |")


if __name__ == "__main__":
    main()
