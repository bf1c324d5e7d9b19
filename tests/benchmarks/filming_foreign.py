"""Filming days in worlds B and C: `python -m tests.benchmarks.filming_foreign [--seeds N] [--world B]`.

A day is some hours of play; it is cut every two minutes, and at a cut a way of working may ask for a round,
for which play waits. Time in tune is the world's own, during play only. Beside ours, run at several due
limits: plain rules (bass always, others when over so many cents, every so many minutes) whose hands know what
every stroke does, and a clairvoyant who knows everything that will happen, doses exactly and visits as late
as it may. Numbers of docs/drift.md.
"""

from __future__ import annotations

import argparse
import copy
import dataclasses
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from rounds.journal import MemoryJournal
from rounds.sessions.session import Session
from tests.worlds import foreign_b, foreign_c
from tests.worlds.player import Hands, VirtualPlayer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.worlds.physics import World

CUT_S, LOOK_S = 120.0, 20.0
PIECE = "Most"
LIMITS = (1.0, 2.0, 4.0, 7.0)
PERIODS_MIN = (5.0, 7.5, 10.0)
OVER_CENTS = (5.0, 7.0, 9.0)
SHARES = (0.75, 0.85, 0.98)
"""Shares of time in tune that the clairvoyant is content with."""
LONGEST_ROUND_MIN = 40.0
DONE_CENTS = 4.0
"""A plain rule gives more, or lets out, when further off than this with the head on."""
AHEAD_S = 7200.0
EDGE_CENTS = 0.3


class Way(Protocol):
    """A way of working."""

    connections: int

    def wants_round(self, played_s: float, tuned_s: float) -> bool:
        """Asked at a cut."""

    def round(self) -> None:
        """Tune now."""


class Ours:
    """The tool, through its session."""

    def __init__(self, world: World, limit: float | None) -> None:
        if limit is not None:
            world.rig = dataclasses.replace(
                world.rig, habits=dataclasses.replace(world.rig.habits, due_limit=limit)
            )
        self.world = world
        self.session = Session(world.rig, MemoryJournal(), world.now_s)
        self.player = VirtualPlayer(world)
        self.connections = 0

    def wants_round(self, played_s: float, tuned_s: float) -> bool:
        """Whether the session says that a round is due."""
        due_s = self.session.due(self.world.now_s).due_s
        return due_s is not None and due_s <= self.world.now_s

    def round(self) -> None:
        """One round, as told."""
        self.connections += self.player.play(
            self.session, pieces=[PIECE], longest_min=LONGEST_ROUND_MIN
        ).connections


@dataclass(frozen=True)
class Rule:
    """Bass always, others when over so many cents, every so many minutes."""

    every_min: float
    over_cents: float

    @property
    def name(self) -> str:
        """For the table."""
        return f"bass always, others over {self.over_cents:g}, every {self.every_min:g} min"


class Plain:
    """A player who follows a plain rule and knows what each stroke does."""

    def __init__(self, world: World, rule: Rule, needed: Sequence[str]) -> None:
        self.world, self.rule, self.needed = world, rule, needed
        self.hands = Hands()
        self.connections = 0
        self._last_s = world.now_s

    def wants_round(self, played_s: float, tuned_s: float) -> bool:
        """By the clock alone."""
        return self.world.now_s - self._last_s >= 60.0 * self.rule.every_min

    def round(self) -> None:
        """Strike all in rail order, tune whom the rule names."""
        rig = self.world.rig
        for bottle in self.needed:
            level = self._read(bottle)
            always = rig.bottle(bottle).group == "bass"
            if level < 0.0 and (always or level < -self.rule.over_cents):
                self._raise(bottle, level)
            elif level > self.rule.over_cents:
                self._lower(bottle, level)
        self._last_s = self.world.now_s

    def _spend(self, seconds: float) -> None:
        self.world.advance(self.world.now_s + seconds)

    def _read(self, bottle: str) -> float:
        self._spend(self.hands.strike_s + 0.5)
        return self.world.cents(bottle) + float(self.world.rng.normal(0.0, self.world.ear.sd_cents))

    def _raise(self, bottle: str, level: float) -> None:
        world = self.world
        self._spend(self.hands.head_on_s)
        world.head_on(bottle)
        self.connections += 1
        level -= float(world.drawn.on_cents[_place(world, bottle)])
        for _ in range(3):
            strokes = -level / world.cents_per_kpa(bottle) / world.stroke_kpa(bottle)
            if strokes < 0.0:
                break
            self._spend(self.hands.stroke_s * max(0.5, strokes))
            world.pump(strokes)
            level = self._read(bottle)
            if level > -DONE_CENTS:
                break
        self._spend(self.hands.head_off_s)
        world.head_off()
        level = self._read(bottle)
        if level > self.rule.over_cents:
            self._lower(bottle, level)

    def _lower(self, bottle: str, level: float) -> None:
        self._spend(self.hands.pin_s)
        self.world.let_out(bottle, level / self.world.cents_per_kpa(bottle) / self.world.stroke_kpa(bottle))
        self._read(bottle)


class Clairvoyant:
    """Knows all that will happen, doses exactly, and visits as late as its share of time in tune allows."""

    def __init__(self, world: World, share: float, needed: Sequence[str]) -> None:
        self.world, self.share, self.needed = world, share, needed
        self.hands = Hands()
        self.connections = 0
        places = {b.id: i for i, b in enumerate(world.rig.bottles)}
        self._places = np.array([places[b] for b in needed])
        self._half = np.array([world.rig.bottle(b).tolerance_cents for b in needed])

    def wants_round(self, played_s: float, tuned_s: float) -> bool:
        """Whether somebody will be out before the next cut, and that would be once too often."""
        after = (tuned_s + 0.5 * CUT_S) / (played_s + CUT_S)
        return bool(after < self.share and self._leaves_within(CUT_S + LOOK_S).any())

    def _leaves_within(self, seconds: float) -> np.ndarray:
        future = copy.deepcopy(self.world)
        out = np.abs(future.all_cents()[self._places]) > self._half
        for _ in range(round(seconds / LOOK_S)):
            future.advance(future.now_s + LOOK_S)
            out |= np.abs(future.all_cents()[self._places]) > self._half
        return np.asarray(out)

    def round(self) -> None:
        """Visit who leaves before the next cut."""
        for k in np.flatnonzero(self._leaves_within(CUT_S + LOOK_S)):
            self._visit(self.needed[int(k)])

    def _visit(self, bottle: str) -> None:
        world = self.world
        aim = self._best_level(bottle)
        up = aim > world.cents(bottle)
        world.advance(world.now_s + (self.hands.head_on_s + self.hands.head_off_s if up else 2.0))
        self.connections += up
        _set_at_once(world, bottle, aim)

    def _best_level(self, bottle: str) -> float:
        """Where to leave it so that it stays in its band longest."""
        half = self.world.rig.bottle(bottle).tolerance_cents
        levels = np.linspace(-half + EDGE_CENTS, half - EDGE_CENTS, 13)
        return float(max(levels, key=lambda level: self._stays_s(bottle, float(level), half)))

    def _stays_s(self, bottle: str, level: float, half: float) -> float:
        future = copy.deepcopy(self.world)
        _set_at_once(future, bottle, level)
        end_s = future.now_s + AHEAD_S
        while future.now_s < end_s and abs(future.cents(bottle)) <= half:
            future.advance(future.now_s + 60.0)
        return future.now_s


def _set_at_once(world: World, bottle: str, cents: float) -> None:
    """Move a bottle's air so that it plays so many cents off now, its overshoot in it."""
    i = _place(world, bottle)
    at_once = 1.0 / (1.0 - float(world.drawn.settling[i]))
    for _ in range(3):
        kpa = (cents - world.cents(bottle)) / world.cents_per_kpa(bottle)
        world.change_kpa(bottle, kpa / at_once)


def _place(world: World, bottle: str) -> int:
    return next(i for i, b in enumerate(world.rig.bottles) if b.id == bottle)


@dataclass(frozen=True)
class Score:
    """One day, counted per hour of play; `idle` calls found none out, `soon` came within five minutes."""

    in_tune: float
    rounds: float
    connections: float
    minutes: float
    idle: float = 0.0
    soon: float = 0.0


def play_day(world: World, way: Way, needed: Sequence[str], play_s: float) -> Score:
    """Play a day, the way of working asked at every cut."""
    ids = [b.id for b in world.rig.bottles]
    places = [ids.index(b) for b in needed]
    half = np.array([world.rig.bottle(b).tolerance_cents for b in needed])
    played_s = tuned_s = work_s = 0.0
    rounds = idle = soon = 0
    way.round()
    all_in_s = world.now_s if _all_in(world, places, half) else -np.inf
    way.connections = 0
    while played_s < play_s:
        for _ in range(round(CUT_S / LOOK_S)):
            world.advance(world.now_s + LOOK_S)
            played_s += LOOK_S
            tuned_s += LOOK_S * _all_in(world, places, half)
        if way.wants_round(played_s, tuned_s):
            idle += _all_in(world, places, half)
            soon += world.now_s - all_in_s < 300.0
            started_s = world.now_s
            way.round()
            all_in_s = world.now_s if _all_in(world, places, half) else -np.inf
            work_s += world.now_s - started_s
            rounds += 1
    hours = played_s / 3600.0
    calls = max(1, rounds)
    return Score(
        tuned_s / played_s, rounds / hours, way.connections / hours, work_s / 60.0 / hours, idle / calls, soon
    )


def _all_in(world: World, places: Sequence[int], half: np.ndarray) -> bool:
    return bool(np.all(np.abs(world.all_cents()[places]) <= half))


def one_day(name: str, seed: int, hours: float, way: float | Rule | str) -> Score:
    """One day of one way: a due limit of ours, a rule, or `share 0.75` of the clairvoyant."""
    world = {"B": foreign_b, "C": foreign_c}[name].make(seed)
    needed = list(world.rig.needed_for(tuple(p for p in world.rig.pieces if p.name == PIECE)))
    led: Way
    if isinstance(way, Rule):
        led = Plain(world, way, needed)
    elif isinstance(way, str):
        led = Clairvoyant(world, float(way.split()[1]), needed)
    else:
        led = Ours(world, way or None)
    return play_day(world, led, needed, 3600.0 * hours)


def mean(scores: Sequence[Score]) -> Score:
    """Of several days."""
    rows = np.array([dataclasses.astuple(s) for s in scores])
    return Score(*(float(v) for v in rows.mean(axis=0)))


def at_share(scores: Sequence[Score], share: float) -> float | None:
    """Fewest connections an hour at a share of time in tune, between settings that reach more and less."""
    best: float | None = None
    for low in scores:
        for high in scores:
            if low.in_tune <= share <= high.in_tune and high.in_tune > low.in_tune:
                part = (share - low.in_tune) / (high.in_tune - low.in_tune)
                found = low.connections + part * (high.connections - low.connections)
                best = found if best is None else min(best, found)
    return best


def line(name: str, s: Score) -> str:
    """A row of the table."""
    return (
        f"| {name} | {s.in_tune:.3f} | {s.rounds:.1f} | {s.connections:.1f} | {s.minutes:.1f} "
        f"| {100 * s.idle:.0f} % | {s.soon:.1f} |"
    )


def main() -> None:
    """Run the days and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=6)
    parser.add_argument("--first-seed", type=int, default=4000)
    parser.add_argument("--hours", type=float, default=3.0)
    parser.add_argument("--world", default="B", choices=("B", "C"))
    parser.add_argument("--limits", default=",".join(f"{x:g}" for x in LIMITS), help="0 is the default limit")
    parser.add_argument("--only-ours", action="store_true")
    args = parser.parse_args()
    started = time.process_time()
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    print(f"world {args.world}, {args.seeds} days of {args.hours:g} h of play\n")
    print("| way | all in tune | rounds/h | connections/h | min/h | calls with none out | soon |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    ways: dict[str, list[float | Rule | str]] = {"ours": [float(x) for x in args.limits.split(",") if x]}
    if not args.only_ours:
        ways["plain"] = [Rule(p, o) for p in PERIODS_MIN for o in OVER_CENTS]
        ways["clairvoyant"] = [f"share {s:g}" for s in SHARES]
    found: dict[str, list[Score]] = {}
    for kind, settings in ways.items():
        for way in settings:
            score = mean([one_day(args.world, seed, args.hours, way) for seed in seeds])
            found.setdefault(kind, []).append(score)
            name = way.name if isinstance(way, Rule) else f"{kind}, {way}"
            print(line(name, score), flush=True)
    for share in (0.70, 0.75, 0.80, 0.85, 0.90):
        cells = {kind: at_share(scores, share) for kind, scores in found.items()}
        print(f"at {share:.2f}: " + ", ".join(f"{k} {v:.1f}" if v else f"{k} -" for k, v in cells.items()))
    print(f"{time.process_time() - started:.0f} s of processor time")


if __name__ == "__main__":
    main()
