"""What a plan and a second of the virtual rig cost: `python -m tests.benchmarks.costs [--times N]`.

A plan is made anew after every reading: for 40 bottles and two pumps within 100 ms, with six pumps (whose
best order would take seconds to prove) within 150. A second of the virtual rig may cost half a millisecond.
Beside each stands its cost in units of a fixed piece of work of the same run, to compare machines by.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from rounds.notes import Note
from rounds.rigs.rigfile import load_rig
from rounds.simulation.world import World
from tests.planning_beliefs import small_rig
from tests.test_planning import beliefs, planned

if TYPE_CHECKING:
    from collections.abc import Callable


def milliseconds(work: Callable[[], object], times: int) -> float:
    """The median of many runs, after one that does not count."""
    work()
    took = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        took.append(1000.0 * (time.perf_counter() - started))
    return statistics.median(took)


def works() -> dict[str, tuple[Callable[[], object], float]]:
    """Each piece of work, and how many milliseconds it may take."""
    names = [Note(48 + i).name for i in range(40)]
    two, six = small_rig(names, pumps=2), small_rig(names, pumps=6)
    six = replace(six, pumps=tuple(replace(p, setup_s=10.0) for p in six.pumps))
    known = beliefs(two, *[-25.0 if i % 3 else 0.0 for i in range(40)])
    drifts = {b.id: -0.02 * i for i, b in enumerate(six.bottles)}
    drifting = beliefs(six, *[-25.0] * 40, drift_per_min=drifts)
    world = World(load_rig("configs/three_rails.toml"), np.random.default_rng(1), start_s=0.0)
    return {
        "a plan with two pumps": (lambda: planned(two, known), 100.0),
        "a plan with six pumps": (lambda: planned(six, drifting), 150.0),
        "a second of the virtual rig": (lambda: world.advance(world.now_s + 1.0), 0.5),
    }


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=30)
    times = parser.parse_args().times
    print(f"{platform.platform()}, Python {platform.python_version()}, {os.cpu_count()} cores")
    square = np.random.default_rng(0).normal(size=(100, 100))
    yardstick_ms = milliseconds(lambda: np.linalg.solve(square, square[0]), 10 * times)
    for name, (work, most_ms) in works().items():
        took_ms = milliseconds(work, times)
        ratio = took_ms / yardstick_ms
        print(f"{name:<28} {took_ms:8.3f} ms (at most {most_ms:g}), {ratio:.1f} × solving 100 equations")


if __name__ == "__main__":
    main()
