"""What a second person with a second pump saves, and whether a reading ever goes to a wrong bottle.

`python -m tests.benchmarks.people [--rounds N] [--fills N]` plays the same rigs on the same random seeds with
one and with two simulated players, through the quick ear. Every reading is held against what was struck.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import RoundResult, play_round
from rounds.simulation.together import play_together
from rounds.simulation.world import World

if TYPE_CHECKING:
    from rounds.rig import Rig

CONFIG = Path(__file__).parents[2] / "configs" / "three_rails.toml"
OVERNIGHT_CENTS = 12.0


def rigs() -> dict[str, Rig]:
    """The shipped rig (7 of 34 bottles have the hand pump), and its bottles dealt out in turn."""
    shipped = load_rig(CONFIG)
    pumps = ("hand", "floor")
    dealt = tuple(replace(b, pump=pumps[i % 2]) for i, b in enumerate(shipped.bottles))
    return {"as shipped": shipped, "dealt out in turn": replace(shipped, bottles=dealt)}


def played(rig: Rig, seed: int, people: int, *, fill: bool) -> RoundResult:
    """One round by so many people."""
    world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
    if fill:
        world.first_fill()
    else:
        world.tuned(OVERNIGHT_CENTS)
    session = Session(rig, MemoryJournal(), world.now_s)
    if people == 1:
        return play_round(session, world, Player(world))
    return play_together(session, world, [Player(world, number=i) for i in range(people)])


def row(name: str, people: int, results: list[RoundResult]) -> str:
    """One line of the table."""
    count = len(results)
    minutes = sum(r.minutes for r in results) / count
    connections = sum(r.connections for r in results) / count
    strikes = sum(r.strikes for r in results)
    return (
        f"| {name} | {people} | {minutes:.1f} | {connections:.1f} | {strikes / count:.0f} | "
        f"{sum(r.in_tune for r in results)} of {sum(r.needed for r in results)} | "
        f"{sum(r.astray for r in results)} of {strikes} | {sum(r.mixed_up for r in results)} |"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--fills", type=int, default=1)
    asked = parser.parse_args()
    heads: tuple[str, ...] = ("rig and start", "people", "minutes", "connections", "strikes", "in tune")
    heads += ("of a wrong bottle", "of the other person")
    print(f"| {' | '.join(heads)} |")
    print("| --- " * len(heads) + "|")
    for fill, count in ((False, asked.rounds), (True, asked.fills)):
        start = "first fill" if fill else "a touch-up"
        for name, rig in rigs().items():
            for people in (1, 2):
                seeds = range(1, count + 1)
                results = [played(rig, seed, people, fill=fill) for seed in seeds]
                print(row(f"{name}, {start}", people, results), flush=True)


if __name__ == "__main__":
    main()
