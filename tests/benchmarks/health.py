"""Are leaks found, and only those? Days in the virtual world, in world B and in world C, with leaks put
into them.

    python -m tests.benchmarks.health [--worlds home,b] [--days N] [--rounds N] [--times FACTOR] [--in-all]

Each day one bottle of each group leaks: besides its own it loses `times` what is usual in its group (the
median of its bottles, by the truth of the world); with `--in-all` it loses that in all, its own in it.
Every other day begins with a fill. After the first round come as many as asked for, 20 minutes apart, each
of which finds the bottles as they went flat by themselves; health is looked at after each. A plain player
strikes every bottle and tunes who is out, past all bottles twice in a fill; one strike in 200 is another
bottle's and taken for this one's.

Printed: how many leaks were told within three of those rounds, and how many sound bottles were accused at
any look of the day. Baseline of the same run: the rule "more than two of its own standard deviations faster
than the mean of its group".
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from rounds.events import AirMoved, Connected, Disconnected, Strike, Temperature
from rounds.health import BottleHealth, Histories, assess
from rounds.notes import CENTS_PER_NEPER, shifted_hz
from rounds.rig import GROUPS
from rounds.rigs.rigfile import load_rig
from rounds.simulation.truth import EAR_CENTS
from rounds.simulation.world import World
from tests.worlds import foreign_b, foreign_c

if TYPE_CHECKING:
    from rounds.events import Event
    from rounds.rig import Bottle, Rig
    from tests.worlds.physics import World as ForeignWorld

PAUSE_S = 1200.0
SOON = 3
"""Rounds within which a leak is to be told."""
OUT_SHARE, AIM_SHARE = 0.6, 0.25
"""Of the tolerance: who is further off is tuned, and to there."""
WRONG_SHARE, WRONG_CENTS = 0.005, 60.0


class Place:
    """A world, home or foreign."""

    world: World | ForeignWorld

    def wait(self, seconds: float) -> float:
        """Let time pass; the time then."""
        self.world.advance(self.world.now_s + seconds)
        return self.world.now_s

    def temp_c(self) -> float:
        """The air."""
        return self.world.temp_c

    def cents(self, bottle: str) -> float:
        """The truth."""
        return self.world.cents(bottle)


class AtHome(Place):
    """The virtual rig."""

    def __init__(self, seed: int, times: float, *, in_all: bool) -> None:
        """Draw it, with its leaks."""
        self.is_fill = bool(seed % 2)
        self.rig = load_rig("configs/three_rails.toml")
        self.rng = np.random.default_rng(seed)
        self.world: World = World(self.rig, self.rng)
        self.ear_cents = EAR_CENTS
        truth = self.world.truth
        share = (truth.target_hz**2 - truth.stiffness_hz2) / truth.target_hz**2
        per_min = truth.leak_per_s * 30.0 * CENTS_PER_NEPER * share
        self.leaky = add_leaks(self.rig, per_min, truth.leak_per_s, self.rng, times, in_all=in_all)
        self.uncounted: set[str] = set()
        if self.is_fill:
            self.world.first_fill()

    def tune(self, bottle: str, aim_cents: float) -> float:
        """Move air once towards an aim; strokes."""
        i = [b.id for b in self.rig.bottles].index(bottle)
        change = np.expm1((aim_cents - self.world.cents(bottle)) / 0.5 / CENTS_PER_NEPER)
        kpa = change * self.world.truth.target_hz[i] ** 2 / self.world.truth.slope_hz2_per_kpa[i]
        each = 101.325 * self.rig.pump_of(bottle).barrel_ml / self.rig.bottle(bottle).volume_ml
        strokes = float(kpa / each * self.rng.normal(1.0, 0.07))
        if strokes > 0.0:
            self.world.connect(bottle)
            self.world.add(strokes)
            self.world.disconnect()
        else:
            self.world.release(bottle, -strokes, pin=True)
        return strokes


class Abroad(Place):
    """A foreign world."""

    def __init__(self, make: Any, seed: int, times: float, *, in_all: bool) -> None:
        """Draw it, with its leaks."""
        self.is_fill = bool(seed % 2)
        self.world: ForeignWorld = make(seed, start="low" if self.is_fill else "tuned")
        self.rig, self.rng = self.world.rig, self.world.rng
        self.ear_cents = self.world.ear.sd_cents
        drawn = self.world.drawn
        hz2 = np.array([self.rig.target_hz(b.id) for b in self.rig.bottles]) ** 2
        per_min = drawn.leak_per_min * 0.5 * CENTS_PER_NEPER * (1.0 - drawn.stiff / hz2)
        self.leaky = add_leaks(self.rig, per_min, drawn.leak_per_min, self.rng, times, in_all=in_all)
        of_the_world = np.isfinite(drawn.sudden_s) | (drawn.seats_s > 0.0)
        self.uncounted = {b.id for b, leaks in zip(self.rig.bottles, of_the_world, strict=True) if leaks}

    def tune(self, bottle: str, aim_cents: float) -> float:
        """Move air once towards an aim; strokes."""
        kpa = self.world.target_kpa(bottle, aim_cents) - self.world.target_kpa(bottle, self.cents(bottle))
        strokes = kpa / self.world.stroke_kpa(bottle)
        if strokes > 0.0:
            self.world.head_on(bottle)
            self.world.pump(strokes)
            self.world.head_off()
        else:
            self.world.let_out(bottle, -strokes)
        return float(strokes)


def add_leaks(
    rig: Rig, per_min: Any, shares: Any, rng: np.random.Generator, times: float, *, in_all: bool
) -> set[str]:
    """Make one bottle of each group leak, in place; their ids."""
    leaky = set()
    for group in GROUPS:
        of_group = [i for i, b in enumerate(rig.bottles) if b.group == group]
        if of_group:
            i = int(rng.choice(of_group))
            lost = times * float(np.median(per_min[of_group])) + (0.0 if in_all else float(per_min[i]))
            shares[i] *= lost / float(per_min[i])
            leaky.add(rig.bottles[i].id)
    return leaky


@dataclass
class Day:
    """What was written down of a day, a list of events a round, and who really leaks."""

    rig: Rig
    leaky: set[str]
    uncounted: set[str]
    """Bottles that leak for a time by a whim of the world: neither leaky nor sound."""
    rounds: list[list[Event]] = field(default_factory=list)


def day(stage: AtHome | Abroad, rounds: int) -> Day:
    """A first round, and as many more as asked for."""
    found = Day(stage.rig, stage.leaky, stage.uncounted - stage.leaky)
    for k in range(1 + rounds):
        events: list[Event] = [Temperature(at_s=stage.wait(1.0), temp_c=round(2.0 * stage.temp_c()) / 2.0)]
        for bottle in stage.rig.bottles * (2 if k == 0 and stage.is_fill else 1):
            _one(stage, bottle, events)
        found.rounds.append(events)
        stage.wait(PAUSE_S)
    return found


def _one(stage: AtHome | Abroad, bottle: Bottle, events: list[Event]) -> None:
    for _ in range(4):
        off = stage.cents(bottle.id) + float(stage.rng.normal(0.0, stage.ear_cents))
        if stage.rng.random() < WRONG_SHARE:
            off += float(stage.rng.normal(0.0, WRONG_CENTS))
        hz = shifted_hz(stage.rig.target_hz(bottle.id), off)
        at_s, u95 = stage.wait(3.0), 2.0 * stage.ear_cents
        events.append(Strike(at_s=at_s, bottle=bottle.id, verdict="clear", hz=hz, cents=off, u95_cents=u95))
        if abs(off) <= OUT_SHARE * bottle.tolerance_cents:
            return
        strokes = stage.tune(bottle.id, AIM_SHARE * bottle.tolerance_cents)
        pump = bottle.pump if strokes > 0.0 else None
        at_s = stage.wait(4.0 + abs(strokes))
        if pump:
            events.append(Connected(at_s=at_s, bottle=bottle.id, pump=pump))
        events.append(AirMoved(at_s=at_s, bottle=bottle.id, pump=pump, strokes=strokes))
        if pump:
            events.append(Disconnected(at_s=at_s, bottle=bottle.id, pump=pump))


def looks(found: Day) -> list[tuple[BottleHealth, ...]]:
    """Health after each round."""
    histories, seen = Histories(found.rig), []
    for events in found.rounds:
        for event in events:
            histories.apply(event)
        seen.append(assess(found.rig, histories, events[-1].at_s))
    return seen


def is_told(health: BottleHealth) -> bool:
    """Whether a leak is told of it."""
    return any(f.probability is not None for f in health.findings)


def two_sd(health: BottleHealth) -> bool:
    """The plain rule."""
    own = health.own_leak
    return own is not None and own.mean < health.group_leak.mean - 2.0 * own.sd


RULES = {"ours": is_told, "two sd": two_sd}
BINS = (0.0, 0.1, 0.3, 0.6, 0.9, 1.001)


@dataclass
class Tally:
    """Bottles counted, and by rule and kind how many were named; by chance told, how many really leak."""

    bottles: Counter[str] = field(default_factory=Counter)
    named: Counter[tuple[str, str]] = field(default_factory=Counter)
    chances: list[tuple[float, bool]] = field(default_factory=list)

    def count(self, found: Day) -> None:
        """Take in a day."""
        seen = looks(found)
        counted = [b for b in found.rig.bottles if b.id not in found.uncounted]
        kinds = {b.id: b.group if b.id in found.leaky else "sound" for b in counted}
        self.bottles.update(kinds.values())
        self.chances += [(h.p_leak, h.id in found.leaky) for h in seen[SOON] if h.id in kinds]
        for name, rule in RULES.items():
            ever = {h.id for look in seen for h in look if rule(h)}
            soon = {h.id for look in seen[: 1 + SOON] for h in look if rule(h)}
            for bottle, kind in kinds.items():
                self.named[name, kind] += bottle in (ever if kind == "sound" else soon)

    def print(self) -> None:
        """Say what was found."""
        for name in RULES:
            by_group = ", ".join(f"{g} {self.named[name, g]} of {self.bottles[g]}" for g in GROUPS)
            share = sum(self.named[name, g] for g in GROUPS) / sum(self.bottles[g] for g in GROUPS)
            accused = self.named[name, "sound"] / self.bottles["sound"]
            print(
                f"  {name}: told within {SOON} rounds {share:.2f} ({by_group}); sound accused {accused:.4f}"
            )
        for low, high in itertools.pairwise(BINS):
            real = [leaks for p, leaks in self.chances if low <= p < high]
            if real:
                print(
                    f"  chance {low:.1f}..{high:.1f}: {len(real)} bottles, {np.mean(real):.3f} of them leak"
                )


STAGES: dict[str, Any] = {
    "home": AtHome,
    "b": lambda *args, **kwargs: Abroad(foreign_b.make, *args, **kwargs),
    "c": lambda *args, **kwargs: Abroad(foreign_c.make, *args, **kwargs),
}


def main() -> None:
    """Play the days and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--worlds", default="home,b")
    parser.add_argument("--days", type=int, default=40)
    parser.add_argument("--rounds", type=int, default=6)
    parser.add_argument("--times", type=float, default=3.0)
    parser.add_argument("--in-all", action="store_true")
    args = parser.parse_args()
    for name in args.worlds.split(","):
        started, tally = time.perf_counter(), Tally()
        for seed in range(args.days):
            tally.count(day(STAGES[name](seed, args.times, in_all=args.in_all), args.rounds))
        kind = "in all" if args.in_all else "besides their own"
        print(f"world {name}, {args.days} days, leaks of {args.times:g} x the group {kind}")
        tally.print()
        print(f"  {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
