"""Connections per bottle that needed air: `python -m tests.benchmarks.doses [--days N]`.

Rounds half an hour apart on the big virtual rig, through the real session and the quick ear. For each
bottle and round in which the pump went onto its valve: how many times it did, before and after the
bottle had been visited three times. The numbers stand in docs/planning.md.
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
from rounds.rigfile import load_rig
from rounds.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import play_round
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
        play_round(session, world, player)
        events = [event for _, event in journal.events(seen)]
        seen = max((i for i, _ in journal.events(seen)), default=seen)
        connected = Counter(e.bottle for e in events if isinstance(e, Connected))
        moved = Counter(e.bottle for e in events if isinstance(e, AirMoved) and (e.strokes or 0.0) > 0.0)
        for bottle, times in connected.items():
            (counts.learned if visits[bottle] >= LEARNED_AFTER else counts.early).append(times)
            counts.doses.append(moved[bottle])
            visits[bottle] += 1
        world.advance(world.now_s + BETWEEN_S)


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
    args = parser.parse_args()
    counts = Counts()
    for seed in range(args.days):
        day(seed, args.rounds, counts)
    print(f"{args.days} rigs, {args.rounds} rounds each, {BETWEEN_S / 60:g} min apart\n")
    print("| connections per bottle that needed air | count | median | mean |")
    print("| --- | --- | --- | --- |")
    print(line("before its third visit", counts.early))
    print(line("after three visits", counts.learned))
    print(f"\nDoses per bottle and round: mean {statistics.fmean(counts.doses):.2f}.")


if __name__ == "__main__":
    main()
