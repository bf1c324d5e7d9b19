"""Hours without a strike: `python -m tests.benchmarks.hearing_noises [--minutes 60] [--noise NAME ...]`.

Each noise of `tests.strikes.noises` in one go through one ear that waits for any bottle in one minute and for
one of five in the others. `accepted`: clear readings, of which there should be none. `hints`: other readings
that a player is shown; six an hour are the most that are wanted in speech, steps, pump and applause.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from rounds.hearing.ear import Ear
from rounds.hearing.reading import Expectation
from tests.strikes.noises import NOISES, RATE_HZ, minute

TARGETS_HZ = (None, 131.0, 262.0, 440.0, 784.0, 1319.0)
BLOCK = 480


def heard(name: str, numbers: range, *, seconds: float = 60.0) -> Counter[str]:
    """Final readings by verdict, and what was accepted for a moment only, as `early clear`."""
    ear, counted = Ear(RATE_HZ, Expectation()), Counter[str]()
    for number in numbers:
        ear.expectation = Expectation(TARGETS_HZ[number % len(TARGETS_HZ)])
        samples = minute(name, number, seconds=seconds)
        for k in range(0, samples.size, BLOCK):
            for reading in ear.feed(samples[k : k + BLOCK]):
                if reading.stage != "provisional":
                    counted[reading.verdict] += 1
                elif reading.verdict == "clear":
                    counted["early clear"] += 1
    return counted


def main() -> None:
    """Print a line a noise."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--minutes", type=int, default=60, help="minutes of each (default 60)")
    parser.add_argument("--noise", nargs="+", choices=list(NOISES), default=list(NOISES))
    args = parser.parse_args()
    print(f"{args.minutes} minutes of each\n{'noise':15s} accepted  hints  clear at first only   processor s")
    for name in args.noise:
        begun = time.process_time()
        counted = heard(name, range(args.minutes))
        hints = {k: n for k, n in counted.items() if k not in ("clear", "early clear")}
        print(
            f"{name:15s} {counted['clear']:8d} {sum(hints.values()):6d} {counted['early clear']:20d}"
            f" {time.process_time() - begun:13.0f}   {hints}",
            flush=True,
        )


if __name__ == "__main__":
    main()
