"""Whole simulated filming days: `python -m tests.benchmarks.filming_day [--seeds N] [--rough]`.

A day is some hours of play on the virtual rig, under lights that warm, an evening that cools and
doors that open. Play is cut every two minutes; at a cut a way of working may ask for a round, and
play waits until it is over. Time in tune is asked of the world, during play only. Ours goes through
`rounds.sessions.session.Session`; it is run at several due limits, so that it can be compared with each other
way at the same share of time in tune. Strikes go through the quick ear. Numbers of docs/drift.md.
"""

from __future__ import annotations

import argparse
import dataclasses
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import play_round
from rounds.simulation.venue import filming_venue
from rounds.simulation.world import World
from tests.benchmarks.filming_others import HABITS, Habit, HabitPlayer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.rig import Rig

CONFIGS = Path(__file__).parent.parent.parent / "configs"
LIMITS = (0.7, 1.0, 2.0, 4.0, 7.0, 13.0)
"""Due limits that ours is run at, in bottles expected out."""
CUT_S = 120.0
LOOK_S = 20.0
PIECE = "Forty Damp Matches"
FLOAT_CENTS = 15.0
LONGEST_ROUND_MIN = 40.0


class Way(Protocol):
    """A way of working: asked at each cut whether it wants a round."""

    shift_cents: float

    def wants_round(self) -> bool:
        """Asked at a cut."""

    def round(self) -> None:
        """Tune now."""


class Ours:
    """The tool, through its session."""

    def __init__(self, world: World, player: Player, pieces: Sequence[str], limit: float) -> None:
        habits = dataclasses.replace(world.rig.habits, due_limit=limit)
        self.session = Session(dataclasses.replace(world.rig, habits=habits), MemoryJournal(), world.now_s)
        self.world = world
        self.player = player
        self.pieces = pieces
        self.shift_cents = 0.0

    def wants_round(self) -> bool:
        """Whether the session says that a round is due."""
        due_s = self.session.due(self.world.now_s).due_s
        return due_s is not None and due_s <= self.world.now_s

    def round(self) -> None:
        """One round, as told."""
        play_round(self.session, self.world, self.player, pieces=self.pieces, longest_min=LONGEST_ROUND_MIN)
        self.shift_cents = self.session.day.shift_cents


@dataclass(frozen=True)
class Score:
    """One day, counted per hour of play."""

    in_tune: float
    rounds: float
    connections: float
    minutes: float


def play_day(
    rig: Rig, seed: int, *, limit: float | None, habit: Habit | None, hours: float, roughness: float
) -> Score:
    """One day of one way of working; exactly one of limit and habit is given."""
    rng = np.random.default_rng(seed)
    venue = filming_venue(rng, hours=2.0 * hours)
    world = World(rig, rng, venue=venue, roughness=roughness)
    player = Player(world)
    pieces = [p for p in rig.pieces if p.name == PIECE]
    needed = list(rig.needed_for(tuple(pieces)))
    way: Way
    if habit is not None:
        way = HabitPlayer(habit, world, player, needed)
    else:
        assert limit is not None
        way = Ours(world, player, [p.name for p in pieces], limit)
    return _play(way, world, player, needed, 3600.0 * hours)


def _play(way: Way, world: World, player: Player, needed: Sequence[str], play_s: float) -> Score:
    places = [i for i, b in enumerate(world.rig.bottles) if b.id in set(needed)]
    tolerance = np.array([world.rig.bottles[i].tolerance_cents for i in places])
    played_s = tuned_s = work_s = 0.0
    rounds = 0
    way.round()
    player.connections = 0
    while played_s < play_s:
        for _ in range(round(CUT_S / LOOK_S)):
            world.advance(world.now_s + LOOK_S)
            played_s += LOOK_S
            off = np.abs(world.all_cents()[places] - way.shift_cents)
            tuned_s += LOOK_S * bool(np.all(off <= tolerance))
        if way.wants_round():
            started_s = world.now_s
            way.round()
            work_s += world.now_s - started_s
            rounds += 1
    hours = played_s / 3600.0
    return Score(tuned_s / played_s, rounds / hours, player.connections / hours, work_s / 60.0 / hours)


@dataclass(frozen=True)
class Task:
    """One day to be played, as sent to a worker."""

    name: str
    seed: int
    limit: float | None
    habit: Habit | None
    hours: float
    roughness: float
    floating: bool

    def run(self) -> tuple[str, Score]:
        """Play it."""
        rig = load_rig(CONFIGS / "three_rails.toml")
        if self.floating:
            reference = dataclasses.replace(
                rig.reference, floating=True, low_cents=-FLOAT_CENTS, high_cents=FLOAT_CENTS
            )
            rig = dataclasses.replace(rig, reference=reference)
        score = play_day(
            rig, self.seed, limit=self.limit, habit=self.habit, hours=self.hours, roughness=self.roughness
        )
        return self.name, score


def _run(task: Task) -> tuple[str, Score]:
    return task.run()


def tasks(
    seeds: range,
    hours: float,
    roughness: float,
    limits: Sequence[float],
    habits: Sequence[Habit],
    *,
    floating: bool,
) -> list[Task]:
    """Every way of working on every seed."""
    ways: list[tuple[str, float | None, Habit | None, bool]] = [(h.name, None, h, False) for h in habits]
    ways += [(f"ours, due limit {limit:g}", limit, None, False) for limit in limits]
    if floating:
        ways += [(f"ours floating, due limit {limit:g}", limit, None, True) for limit in limits]
    return [
        Task(name, seed, limit, habit, hours, roughness, floats)
        for seed in seeds
        for name, limit, habit, floats in ways
    ]


def _mean(scores: list[Score]) -> Score:
    rows = np.array([dataclasses.astuple(s) for s in scores])
    return Score(*(float(v) for v in rows.mean(axis=0)))


def at_equal_time(ours: list[Score], other: Score) -> Score | None:
    """Ours at another's share of time in tune, between its due limits; None where it was not run so far."""
    ranked = sorted(ours, key=lambda s: s.in_tune)
    shares = [s.in_tune for s in ranked]
    if not shares[0] <= other.in_tune <= shares[-1]:
        return None

    def between(values: list[float]) -> float:
        return float(np.interp(other.in_tune, shares, values))

    return Score(
        other.in_tune,
        between([s.rounds for s in ranked]),
        between([s.connections for s in ranked]),
        between([s.minutes for s in ranked]),
    )


def report(found: dict[str, Score]) -> None:
    """Print the table and the ratios."""
    print("| way of working | all in tune | rounds/h | connections/h | tuning min/h |")
    print("| --- | --- | --- | --- | --- |")
    for name, s in found.items():
        print(
            f"| {name} | {100 * s.in_tune:.0f} % | {s.rounds:.1f} | {s.connections:.1f} | {s.minutes:.1f} |"
        )
    for kind in ("ours, ", "ours floating, "):
        ours = [s for name, s in found.items() if name.startswith(kind)]
        if not ours:
            continue
        print(f"\n{kind.strip(', ')} at the same share of time in tune needs fewer:")
        for habit in (h for h in HABITS if h.name in found):
            other = found[habit.name]
            same = at_equal_time(ours, other)
            if same is None:
                low, high = min(s.in_tune for s in ours), max(s.in_tune for s in ours)
                print(
                    f"- {habit.name}: not compared, ours was run from {100 * low:.0f} to {100 * high:.0f} %"
                )
            else:
                print(
                    f"- {habit.name} ({100 * other.in_tune:.0f} %): connections "
                    f"{other.connections / max(same.connections, 1e-9):.2f}x, "
                    f"minutes {other.minutes / max(same.minutes, 1e-9):.2f}x"
                )


def main() -> None:
    """Run the days and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=24)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--hours", type=float, default=4.0)
    parser.add_argument("--rough", action="store_true", help="leaks x 2, walk x 1.6, noise x 1.4")
    parser.add_argument("--no-floating", action="store_true", help="leave out the floating reference")
    parser.add_argument("--limits", default=",".join(f"{x:g}" for x in LIMITS), help="due limits of ours")
    parser.add_argument("--habits", default="", help="only other ways with this in their name")
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    started = time.monotonic()
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    limits = [float(x) for x in args.limits.split(",")]
    habits = [h for h in HABITS if args.habits in h.name]
    roughness = 2.0 if args.rough else 1.0
    todo = tasks(seeds, args.hours, roughness, limits, habits, floating=not args.no_floating)
    scores: dict[str, list[Score]] = {}
    with ProcessPoolExecutor(args.workers) as pool:
        for name, score in pool.map(_run, todo):
            scores.setdefault(name, []).append(score)
    world = "rougher world" if args.rough else "ordinary world"
    print(f"{args.seeds} days of {args.hours:g} h of play, piece {PIECE!r}, {world}\n")
    report({name: _mean(s) for name, s in scores.items()})
    print(f"\n{time.monotonic() - started:.0f} s of computing with {args.workers} processes")


if __name__ == "__main__":
    main()
