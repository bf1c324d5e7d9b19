"""What happens if a guess of ours is wrong by half: `python -m tests.benchmarks.sensitivity [--days N]`.

Each number below is halved, then taken half as much again, and the same days are played on world B, which
is not ours: 16 bottles a few cents off are tuned, left alone for 35 minutes, and touched up with a downbeat
ten minutes later. Beside the numbers as they are: connections and minutes of both rounds, bottles in tune at
their ends, the share of 90 % forecasts (20 minutes on) that held the truth, and the highest true pressure
that was advised as a share of the ceiling. With few days a difference below that of "by chance" says nothing.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import importlib
import statistics
import sys
from dataclasses import astuple, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rounds.forecast.drift import forecast
from rounds.gauss import Gauss
from rounds.journal import MemoryJournal
from rounds.sessions.session import Session
from tests.worlds import foreign_b
from tests.worlds.player import Gauges, VirtualPlayer

if TYPE_CHECKING:
    from collections.abc import Iterator

BOTTLES, APART_S, DOWNBEAT_S, AHEAD_MIN, Z90 = 16, 2100.0, 600.0, 20.0, 1.645
GUESSES = {
    "rounds.belief.priors": (
        "_LEAK_PER_MIN",
        "SETTLING",
        "CREEP",
        "GAIN_DOUBT",
        "LET_OUT_DOUBT",
        "HEAD_DOUBT",
    ),
    "rounds.belief.scales": ("WALK_GUESS", "WRONG_SHARE", "WRONG_SD", "FIRST_LANDED_VAR", "LEAST_LANDED_VAR"),
    "rounds.belief.handling": ("STROKE_DOUBT", "OVERRULED_CENTS", "OVERRULED_SHARE"),
    "rounds.belief.track": ("LEAK_WANDER", "WILD_SHARE", "SURMISE_SHARE"),
    "rounds.belief.pooling": ("PRIOR_BOTTLES",),
    "rounds.guide.enough": ("ACCEPT_SHARE", "REVISIT_SHARE", "SECOND_WORTH"),
    "rounds.guide.hearing_again": ("DOUBT", "WORTH_ASKING"),
    "rounds.planning.plan": ("VAGUE_SHARE", "SURE_SDS"),
    "rounds.planning.prospect": ("EDGE_SHARE", "PASSING_SHARE", "HOLD_SHARE", "SURE_AT_DOWNBEAT"),
    "rounds.planning.whom": ("CONNECTION_WORTH", "PIN_WORTH", "HELPED"),
    "rounds.planning.problem_of": ("PUMP_STRIKES", "PIN_STRIKES", "WALK_S"),
    "rounds.planning.dose": ("LAST", "HOPELESS", "LET_OUT_SHARE"),
    "rounds.recognising.odds": ("SURPRISE", "KNOWN_CENTS"),
    "rounds.recognising.acts_shown": ("MOVED_SHARE", "UNLIKE_CENTS"),
}


@dataclass(frozen=True)
class Day:
    """What a day came to."""

    connections: float
    minutes: float
    in_tune: float
    """Share of needed bottles at the two ends of rounds."""
    covered: float
    highest: float


def day(seed: int) -> Day:
    """Tune, wait, touch up."""
    world = foreign_b.make(seed, BOTTLES, needed=BOTTLES)
    world.put_all(world.rng.normal(-12.0, 12.0, BOTTLES))
    session = Session(world.rig, MemoryJournal(), world.now_s)
    player = VirtualPlayer(world, gauges=Gauges("right"))
    first = replace(player.play(session, longest_min=60.0))
    session.close_round(world.now_s)
    world.advance(world.now_s + APART_S)
    second = player.play(session, downbeat_s=world.now_s + DOWNBEAT_S, longest_min=30.0)
    rounds_ = (first, second)
    return Day(
        sum(r.connections for r in rounds_),
        sum(r.minutes for r in rounds_),
        sum(r.in_tune for r in rounds_) / sum(r.needed for r in rounds_),
        covered(session, world),
        max(r.highest_advised_share for r in rounds_),
    )


def covered(session: Session, world: Any) -> float:
    """Share of bottles that are, some minutes on, where nine in ten were forecast to be."""
    ahead = forecast(session.rig, session.beliefs, world.now_s, (AHEAD_MIN,), world.temp_c)
    world.advance(world.now_s + 60.0 * AHEAD_MIN)
    inside = [abs(world.cents(f.id) - f.at[0].cents) <= Z90 * f.at[0].sd_cents for f in ahead.bottles]
    return float(np.mean(inside))


def scaled(value: Any, by: float) -> Any:
    """A number, the mean of a distribution, or those of each group, times a factor."""
    if isinstance(value, dict):
        return {key: scaled(one, by) for key, one in value.items()}
    return Gauss(value.mean * by, value.sd) if isinstance(value, Gauss) else value * by


@contextlib.contextmanager
def wrong(module: str, name: str, by: float) -> Iterator[Any]:
    """The number is wrong by a factor wherever it is used; gives what it is else."""
    usual = getattr(importlib.import_module(module), name)
    users = [m for key, m in sys.modules.items() if key.startswith("rounds.") and vars(m).get(name) is usual]
    try:
        for user in users:
            setattr(user, name, scaled(usual, by))
        yield usual
    finally:
        for user in users:
            setattr(user, name, usual)


@functools.cache
def usual(days: int) -> list[Day]:
    """The days with the numbers as they are."""
    return [day(seed) for seed in range(days)]


def value_of(value: Any) -> str:
    """A number as the table shows it."""
    if isinstance(value, dict):
        return " / ".join(value_of(one) for one in value.values())
    return f"{value.mean:g} ± {value.sd:g}" if isinstance(value, Gauss) else f"{value:g}"


def line(label: str, days: list[Day]) -> str:
    """A row of the table: means."""
    means = [statistics.mean(column) for column in zip(*map(astuple, days), strict=True)]
    connections, minutes, in_tune, inside, _ = means
    highest = max(d.highest for d in days)
    return f"| {label} | {connections:.1f} | {minutes:.1f} | {in_tune:.3f} | {inside:.2f} | {highest:.2f} |"


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--days", type=int, default=4)
    parser.add_argument("--only", default="", help="only names that hold this")
    args = parser.parse_args()
    print("| number | connections | minutes | in tune | covered | highest |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    print(line("as it is", usual(args.days)), flush=True)
    print(line("by chance: other days", [day(1000 + seed) for seed in range(args.days)]), flush=True)
    for module, names in GUESSES.items():
        for name in (n for n in names if args.only in n):
            for by in (0.5, 1.5):
                with wrong(module, name, by) as usual_value:
                    label = f"`{module.removeprefix('rounds.')}.{name}` {value_of(usual_value)} x {by}"
                    print(line(label, [day(seed) for seed in range(args.days)]), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
