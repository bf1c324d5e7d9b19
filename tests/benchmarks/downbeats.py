"""In tune at the downbeat and through the block: `python -m tests.benchmarks.downbeats [--minutes M]`.

Evenings on the big virtual rig, four rounds each with a downbeat some minutes ahead, through the real
session and the quick ear, hands that follow every instruction until the playing starts. What is in
tune is asked of the world, at the downbeat and at seven moments of the block. The numbers stand in
docs/planning.md.
"""

from __future__ import annotations

import argparse
import statistics
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from rounds.journal import MemoryJournal
from rounds.planning import whom
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.ears import QuickEar
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import one_step
from rounds.simulation.world import World

if TYPE_CHECKING:
    from rounds.simulation.rehearsal import Step

RIG = Path(__file__).parent.parent.parent / "configs" / "three_rails.toml"
ROUNDS = 4
MOMENTS = 7
AT_THE_DOWNBEAT_S = 5.0
"""Nothing is begun so shortly before the downbeat."""


@dataclass
class Evening:
    """What one round came to; shares of bottles in tune, minutes with nothing to do."""

    downbeat: float
    block: float
    connections: int
    in_band: int
    """Connections to a bottle last heard within its tolerance."""
    again: int
    """Those of them to a bottle whose air had been moved in this round."""
    rest_min: float


class Count:
    """Watches the steps of a round."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.heard: dict[str, float] = {}
        self.touched: set[str] = set()
        self.connections = self.in_band = self.again = 0
        self.rest_s = 0.0

    def take(self, step: Step) -> None:
        """One step of the player."""
        told, bottle = step.instruction, step.instruction.bottle
        if told.act in ("wait", "none"):
            self.rest_s += step.action.duration_s
        if told.act == "connect" and bottle is not None and step.action.strokes > 0.0:
            self.connections += 1
            inside = abs(self.heard.get(bottle, 1e3)) <= self.world.rig.bottle(bottle).tolerance_cents
            self.in_band += inside
            self.again += inside and bottle in self.touched
        if told.act in ("connect", "add", "release") and bottle is not None:
            self.touched.add(bottle)
        if step.bottle is not None and step.cents is not None:
            self.heard[step.bottle] = step.cents


def one_round(session: Session, world: World, player: Player, ahead_s: float, block_s: float) -> Evening:
    """Follow every instruction until the downbeat, then let the block pass."""
    downbeat_s = world.now_s + ahead_s
    session.open_round(world.now_s, downbeat_s=downbeat_s, block_s=block_s, temp_c=world.temp_c)
    count, ear, again = Count(world), QuickEar(world), False
    while session.round is not None and world.now_s < downbeat_s - AT_THE_DOWNBEAT_S:
        step = one_step(session, world, player, ear, again=again)
        count.take(step)
        again = step.action.struck is not None and step.verdict != "clear"
    shares = []
    for moment in np.linspace(0.0, block_s, MOMENTS):
        world.advance(downbeat_s + float(moment))
        shares.append(_in_tune(world))
        session.close_round(world.now_s)
    return Evening(
        shares[0],
        statistics.fmean(shares),
        count.connections,
        count.in_band,
        count.again,
        count.rest_s / 60.0,
    )


def _in_tune(world: World) -> float:
    tolerance = np.array([b.tolerance_cents for b in world.rig.bottles])
    return float(np.mean(np.abs(world.all_cents()) <= tolerance))


def evening(seed: int, ahead_s: float, block_s: float) -> list[Evening]:
    """One rig, some rounds one after the other."""
    rig = load_rig(RIG)
    world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
    world.tuned(15.0)
    session, player = Session(rig, MemoryJournal(), world.now_s), Player(world)
    return [one_round(session, world, player, ahead_s, block_s) for _ in range(ROUNDS)]


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--minutes", type=float, default=20.0, help="from opening the round to the downbeat")
    parser.add_argument("--block", type=float, default=30.0, help="minutes of play")
    parser.add_argument("--worth", type=float, default=whom.CONNECTION_WORTH, help="price of a connection")
    args = parser.parse_args()
    whom.CONNECTION_WORTH = args.worth
    days = [evening(seed, 60.0 * args.minutes, 60.0 * args.block) for seed in range(args.seeds)]
    print(f"{args.seeds} rigs, {args.minutes:g} min to the downbeat, block of {args.block:g} min\n")
    print("| round | in tune at the downbeat | through the block | connections | in band | again | rest |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, rounds in [(str(k + 1), [d[k] for d in days]) for k in range(ROUNDS)] + [
        ("all", [r for d in days for r in d])
    ]:
        print(row(name, rounds))


def row(name: str, rounds: list[Evening]) -> str:
    """Means of some rounds."""
    mean = {f: statistics.fmean(getattr(r, f) for r in rounds) for f in vars(rounds[0])}
    return (
        f"| {name} | {mean['downbeat']:.1%} | {mean['block']:.1%} | {mean['connections']:.1f} "
        f"| {mean['in_band']:.1f} | {mean['again']:.1f} | {mean['rest_min']:.1f} min |"
    )


if __name__ == "__main__":
    main()
