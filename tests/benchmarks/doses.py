"""Connections per bottle that needed air: `python -m tests.benchmarks.doses [--days N] [--fills N]`.

Rounds half an hour apart on the big virtual rig, through the real session and the quick ear. For each
bottle and round in which the pump went onto its valve: how many times it did, before and after the
bottle had been visited three times. Then first fills from scratch: every bottle at 40 to 80 % of the
pressure it needs. The numbers stand in docs/planning.md.
"""

from __future__ import annotations

import argparse
import statistics
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from rounds.events import AirMoved, Connected
from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import RoundResult, play_round
from rounds.simulation.world import World

RIG = Path(__file__).parent.parent.parent / "configs" / "three_rails.toml"
BETWEEN_S = 1800.0
LEARNED_AFTER = 3


@dataclass
class Counts:
    """Connections per bottle and round, doses per connection."""

    early: list[int] = field(default_factory=list)
    learned: list[int] = field(default_factory=list)
    doses: list[int] = field(default_factory=list)
    rounds: list[RoundResult] = field(default_factory=list)


def day(seed: int, rounds: int, counts: Counts) -> None:
    """Some rounds on one rig."""
    rig = load_rig(RIG)
    world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
    world.tuned(15.0)
    journal = MemoryJournal()
    session, player = Session(rig, journal, world.now_s), Player(world)
    visits: Counter[str] = Counter()
    seen = 0
    for _ in range(rounds):
        counts.rounds.append(play_round(session, world, player))
        events = [event for _, event in journal.events(seen)]
        seen = max((i for i, _ in journal.events(seen)), default=seen)
        connected = Counter(e.bottle for e in events if isinstance(e, Connected))
        moved = Counter(e.bottle for e in events if isinstance(e, AirMoved) and (e.strokes or 0.0) > 0.0)
        for bottle, times in connected.items():
            (counts.learned if visits[bottle] >= LEARNED_AFTER else counts.early).append(times)
            counts.doses.append(moved[bottle])
            visits[bottle] += 1
        world.advance(world.now_s + BETWEEN_S)


def fill(seed: int) -> RoundResult:
    """A first fill from scratch, by the truth of the world."""
    rig = load_rig(RIG)
    world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
    world.first_fill()
    return play_round(Session(rig, MemoryJournal(), world.now_s), world, Player(world))


def print_fills(count: int) -> None:
    """Play and print first fills."""
    print("\n| first fill | minutes | connections | strikes | in tune | highest share of a ceiling |")
    print("| --- | --- | --- | --- | --- | --- |")
    fills = [fill(seed) for seed in range(count)]
    for seed, r in enumerate(fills):
        done = f"{r.in_tune} of {r.needed}" + ("" if r.finished else ", not ended")
        print(
            f"| {seed} | {r.minutes:.1f} | {r.connections} | {r.strikes} | {done} | {r.highest_share:.2f} |"
        )
    means = [statistics.fmean(v) for v in zip(*((r.minutes, r.connections) for r in fills), strict=True)]
    print(f"\nMean: {means[0]:.1f} minutes, {means[1]:.1f} connections.")


def print_rounds(rounds: list[RoundResult]) -> None:
    """What the rounds came to, by the truth of the world."""
    share = sum(r.in_tune for r in rounds) / sum(r.needed for r in rounds)
    means = [statistics.fmean(v) for v in zip(*((r.minutes, r.connections) for r in rounds), strict=True)]
    print(f"A round: {means[0]:.1f} minutes, {means[1]:.1f} connections, {share:.1%} in tune as it ends.")


def line(name: str, values: list[int]) -> str:
    """One row of the table."""
    return f"| {name} | {len(values)} | {statistics.median(values):.2f} | {statistics.fmean(values):.2f} |"


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=int, default=6)
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--fills", type=int, default=9)
    args = parser.parse_args()
    counts = Counts()
    for seed in range(args.days):
        day(seed, args.rounds, counts)
    if counts.learned:
        print(f"{args.days} rigs, {args.rounds} rounds each, {BETWEEN_S / 60:g} min apart\n")
        print("| connections per bottle that needed air | count | median | mean |")
        print("| --- | --- | --- | --- |")
        print(line("before its third visit", counts.early))
        print(line("after three visits", counts.learned))
        print(f"\nDoses per bottle and round: mean {statistics.fmean(counts.doses):.2f}.")
        print_rounds(counts.rounds)
    if args.fills:
        print_fills(args.fills)


if __name__ == "__main__":
    main()
