"""How long `rounds --help` takes from a cold process, against a bare Python of the same run.

    python -m tests.benchmarks.startup [--runs N]

Prints medians in milliseconds, and the machine. The house wants `--help` under 150 ms.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import subprocess
import sys
import time

CASES = {
    "python -c pass": ("-c", "pass"),
    "rounds --help": ("-m", "rounds", "--help"),
    "rounds range C3-G6": ("-m", "rounds", "range", "C3-G6"),
}


def milliseconds(argv: tuple[str, ...]) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *argv], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    return 1000.0 * (time.perf_counter() - start)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=15)
    runs = parser.parse_args().runs
    print(f"{platform.platform()}, Python {platform.python_version()}, {os.cpu_count()} cores")
    baseline = None
    for name, argv in CASES.items():
        milliseconds(argv)
        times = [milliseconds(argv) for _ in range(runs)]
        median = statistics.median(times)
        baseline = baseline or median
        ratio = median / baseline
        print(f"{name:<20} median {median:6.1f} ms, least {min(times):6.1f} ms, {ratio:.1f} × bare Python")


if __name__ == "__main__":
    main()
