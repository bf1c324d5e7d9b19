"""Are real leaks found, and only those? Days on the virtual rig with leaks put into it.

    python -m tests.benchmarks.leaks [--days N] [--rounds N] [--times FACTOR]

Each day: one leak, `times` the bottle's true one and at least 0.8 cents a minute, in one bottle of
each group. Baseline of the same run: the rule "more than two standard deviations faster than the
group's mean", each bottle as its own readings tell.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter

import numpy as np

from rounds.health import BottleHealth, Histories, assess
from rounds.journal import MemoryJournal
from rounds.notes import CENTS_PER_NEPER
from rounds.rig import GROUPS
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import play_round
from rounds.simulation.world import World

BINS = (0.0, 0.1, 0.5, 0.9, 1.001)


def day(seed: int, rounds: int, times: float) -> tuple[set[str], tuple[BottleHealth, ...]]:
    rig = load_rig("configs/three_rails.toml")
    rng = np.random.default_rng(seed)
    world = World(rig, rng)
    leaky = {str(rng.choice([b.id for b in rig.bottles if b.group == g])) for g in GROUPS}
    for index, bottle in enumerate(rig.bottles):
        if bottle.id in leaky:
            truth = world.truth
            per_min = truth.leak_per_s[index] * 60.0 * cents_per_share(world, index)
            truth.leak_per_s[index] *= max(times, 0.8 / per_min)
    journal = MemoryJournal()
    session, player = Session(rig, journal, world.now_s), Player(world)
    for _ in range(rounds):
        play_round(session, world, player)
        world.advance(world.now_s + 20 * 60.0)
    histories = Histories(rig)
    for _, event in journal.events():
        histories.apply(event)
    return leaky, assess(rig, histories, world.now_s)


def cents_per_share(world: World, index: int) -> float:
    """Cents that losing all the gauge pressure would cost at the rate it has at the target."""
    hz2 = world.truth.target_hz[index] ** 2
    return float(0.5 * CENTS_PER_NEPER * (hz2 - world.truth.stiffness_hz2[index]) / hz2)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--days", type=int, default=20)
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--times", type=float, default=5.0)
    args = parser.parse_args()
    started = time.perf_counter()
    counts: Counter[tuple[str, bool]] = Counter()
    by_group: Counter[tuple[str, bool]] = Counter()
    bins: list[list[bool]] = [[] for _ in BINS[1:]]
    for seed in range(args.days):
        leaky, health = day(seed, args.rounds, args.times)
        for h in health:
            real = h.id in leaky
            counts["all", real] += 1
            counts["p >= 0.5", real] += h.p_leak >= 0.5
            by_group[h.group, real] += h.p_leak >= 0.5
            counts["p >= 0.9", real] += h.p_leak >= 0.9
            own = h.own_leak
            counts["two sd", real] += own is not None and own.mean < h.group_leak.mean - 2 * own.sd
            bins[next(i for i, top in enumerate(BINS[1:]) if h.p_leak < top)].append(real)
    for name in ("p >= 0.5", "p >= 0.9", "two sd"):
        found, wrong = counts[name, True] / counts["all", True], counts[name, False] / counts["all", False]
        print(f"{name}: real leaks found {found:.2f}, healthy bottles accused {wrong:.4f}")
    print("found by group:", ", ".join(f"{g} {by_group[g, True]} of {args.days}" for g in GROUPS))
    for low, high, members in zip(BINS, BINS[1:], bins, strict=False):
        if members:
            share = np.mean(members)
            print(f"p in {low:.1f}..{high:.1f}: {len(members)} bottles, share that really leak {share:.3f}")
    print(f"{args.days} days in {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
