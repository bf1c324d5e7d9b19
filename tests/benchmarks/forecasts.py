"""How good forecasts are: `python -m tests.benchmarks.forecasts [--seeds N] [--hours H] [--world home,B,C]`.

Days on the virtual rig are written down as imported rows (time, bottle, cents, temperature, whether
air moved), one reading in fifty wrong by tens of cents. At several moments a forecast is made from
the rows so far and held against the truth of the world if nobody touches anything. Beside it: the
last reading carried on by the mean slope of the group. On worlds B and C (`tests.worlds`) forecasts are made
from the first round of a day on, and bottles with up to three readings are told apart. Numbers of
docs/drift.md; no real rig.
"""

from __future__ import annotations

import argparse
import copy
import dataclasses
import math
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from rounds.belief import Beliefs
from rounds.belief.state import from_bytes, to_bytes
from rounds.events import AirMoved, Event, Strike, Temperature
from rounds.forecast.drift import forecast
from rounds.rig import GROUPS, Rig
from rounds.rigs.rigfile import load_rig
from rounds.simulation.venue import filming_venue
from rounds.simulation.world import World
from tests.worlds import foreign_b, foreign_c
from tests.worlds.logs import ForeignLog, Row

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.worlds.physics import World as ForeignWorld

CONFIGS = Path(__file__).parent.parent.parent / "configs"
HORIZONS = (5.0, 10.0, 20.0, 40.0)
WRONG_SHARE, WRONG_CENTS = 0.02, 40.0
TOUCH_ABOVE_CENTS, AIM_CENTS, HAND_CENTS = 8.0, 2.0, 2.5
THERMOMETER_K = 0.1
Z90 = 1.645
JUDGED_AFTER = (1, 2, 3, 5, 8, 11)
"""Rounds of a day after which a forecast is made, in a foreign world."""
LAST_ROUND = 11
OUT_OF_STORAGE_CENTS = (-12.0, 25.0)
"""Where bottles stand, mean and sd, on every second day of a foreign world: most are tuned at once."""


@dataclass
class Errors:
    """Misses of one way of foretelling, by group: rows of horizons, and readings that each bottle had."""

    off: dict[str, list[list[float]]] = field(default_factory=lambda: {g: [] for g in GROUPS})
    sds: dict[str, list[list[float]]] = field(default_factory=lambda: {g: [] for g in GROUPS})
    readings: dict[str, list[int]] = field(default_factory=lambda: {g: [] for g in GROUPS})

    def mean(self, least: int = 0, most: int = 10**9) -> list[float]:
        """Mean absolute error at each horizon, all groups together, of bottles with so many readings."""
        rows = np.array([row for group in self.off.values() for row in group])
        counts = np.array([n for group in self.readings.values() for n in group])
        chosen = rows[(counts >= least) & (counts <= most)]
        return [float(v) for v in np.abs(chosen).mean(axis=0)] if len(chosen) else []

    def covered(self, group: str) -> list[float]:
        """Share of truths inside the 90 % interval at each horizon."""
        inside = np.abs(np.array(self.off[group])) < Z90 * np.array(self.sds[group])
        return [float(v) for v in inside.mean(axis=0)]


class Log:
    """A day of rounds, written down."""

    def __init__(self, world: World, rng: np.random.Generator, extra_noise_cents: float) -> None:
        self.world = world
        self.rng = rng
        self.noise = extra_noise_cents
        self.rows: list[Row] = []

    def play(self, minutes: float) -> None:
        """Rounds every 8 to 16 minutes: strike all, retune what is out and strike it again."""
        end_s = self.world.now_s + 60.0 * minutes
        while self.world.now_s < end_s:
            for bottle in self.world.rig.bottles:
                self.world.advance(self.world.now_s + 4.0)
                if abs(self._read(bottle.id, touched=False)) > TOUCH_ABOVE_CENTS:
                    self._tune(bottle.id)
            self.world.advance(self.world.now_s + 60.0 * float(self.rng.uniform(8.0, 16.0)))

    def _tune(self, bottle_id: str) -> None:
        for _ in range(3):
            self.world.advance(self.world.now_s + 12.0)
            wanted = float(self.rng.normal(AIM_CENTS, HAND_CENTS))
            self._move(bottle_id, wanted - self.world.cents(bottle_id))
            if abs(self._read(bottle_id, touched=True)) <= TOUCH_ABOVE_CENTS:
                return

    def _move(self, bottle_id: str, cents: float) -> None:
        """Move the pitch by cents at once, by strokes of the bottle's own pump."""
        world, pump = self.world, self.world.rig.pump_of(bottle_id)
        world.connect(bottle_id, pump.id)
        before = world.cents(bottle_id)
        world.add(0.01)
        per_stroke = (world.cents(bottle_id) - before) / 0.01
        strokes = (cents - world.cents(bottle_id) + before) / per_stroke
        if strokes >= 0.0:
            world.add(strokes)
        else:
            world.release(bottle_id, -strokes, pin=False)
        world.disconnect()

    def _read(self, bottle_id: str, *, touched: bool) -> float:
        heard = self.world.heard(bottle_id)
        while heard.hz is None:
            heard = self.world.heard(bottle_id)
        cents = 1200.0 * math.log2(heard.hz / self.world.rig.target_hz(bottle_id))
        cents += float(self.rng.normal(0.0, self.noise))
        wrong = self.rng.random() < WRONG_SHARE
        told = cents + (float(self.rng.normal(0.0, WRONG_CENTS)) if wrong else 0.0)
        temp_c = round(self.world.temp_c + float(self.rng.normal(0.0, THERMOMETER_K)), 1)
        self.rows.append(Row(self.world.now_s, bottle_id, told, temp_c, touched))
        return cents


def events_of(rows: list[Row]) -> list[Event]:
    """Rows as an import makes events of them."""
    events: list[Event] = []
    for row in rows:
        events.append(Temperature(at_s=row.at_s, temp_c=row.temp_c))
        if row.touched:
            events.append(AirMoved(at_s=row.at_s, bottle=row.bottle, pump=None, strokes=None))
        events.append(
            Strike(
                at_s=row.at_s, bottle=row.bottle, verdict="clear", hz=None, cents=row.cents, u95_cents=None
            )
        )
    return events


def mean_slopes(rig: Rig, rows: list[Row]) -> dict[str, float]:
    """Cents per minute of each group between rows with no air moved."""
    change, minutes = dict.fromkeys(GROUPS, 0.0), dict.fromkeys(GROUPS, 1e-9)
    last: dict[str, Row] = {}
    for row in rows:
        group = rig.bottle(row.bottle).group
        before = last.get(row.bottle)
        if before is not None and not row.touched and row.at_s - before.at_s > 240.0:
            change[group] += row.cents - before.cents
            minutes[group] += (row.at_s - before.at_s) / 60.0
        last[row.bottle] = row
    return {g: change[g] / minutes[g] for g in GROUPS}


def judge(world: World | ForeignWorld, rows: list[Row], ours: Errors, plain: Errors) -> None:
    """Forecast from the rows and hold it against the world left alone."""
    rig, now_s = world.rig, world.now_s
    found = forecast(rig, Beliefs.fold(rig, events_of(rows)), now_s, HORIZONS)
    slopes = mean_slopes(rig, rows)
    last = {row.bottle: row for row in rows}
    counts = Counter(row.bottle for row in rows)
    future = copy.deepcopy(world)
    truths = []
    for minutes in HORIZONS:
        future.advance(now_s + 60.0 * minutes)
        truths.append(future.all_cents())
    for i, bottle in enumerate(found.bottles):
        if bottle.id not in last:
            continue
        row, slope = last[bottle.id], slopes[bottle.group]
        truth = [float(t[i]) for t in truths]
        ages = [(now_s - row.at_s) / 60.0 + m for m in HORIZONS]
        ours.off[bottle.group].append([t - a.cents for t, a in zip(truth, bottle.at, strict=True)])
        ours.sds[bottle.group].append([a.sd_cents for a in bottle.at])
        for errors in (ours, plain):
            errors.readings[bottle.group].append(counts[bottle.id])
        plain.off[bottle.group].append(
            [t - row.cents - slope * age for t, age in zip(truth, ages, strict=True)]
        )


def measure(rig: Rig, seeds: range, hours: float, roughness: float, noise: float) -> tuple[Errors, Errors]:
    """Days on a rig, three forecasts each."""
    ours, plain = Errors(), Errors()
    for seed in seeds:
        rng = np.random.default_rng(seed)
        venue = filming_venue(rng, hours=hours + 1.0)
        world = World(rig, rng, roughness=roughness, venue=venue)
        log = Log(world, rng, noise)
        log.play(60.0)
        for _ in range(3):
            log.play(20.0 * (hours - 1.0) + float(rng.uniform(-10.0, 10.0)))
            judge(world, log.rows, ours, plain)
    return ours, plain


def measure_foreign(make: Callable[[int], ForeignWorld], seeds: range) -> tuple[Errors, Errors]:
    """Days on a foreign world; a forecast after each of some rounds, from the first on."""
    ours, plain = Errors(), Errors()
    for seed in seeds:
        world = make(seed)
        if seed % 2:
            world.put_all(world.rng.normal(*OUT_OF_STORAGE_CENTS, len(world.rig.bottles)))
        log = ForeignLog(world)
        for done in range(1, LAST_ROUND + 1):
            log.round()
            log.pause(float(world.rng.uniform(0.0, 12.0)))
            if done in JUDGED_AFTER:
                judge(world, log.rows, ours, plain)
            log.pause(float(world.rng.uniform(4.0, 12.0)))
    return ours, plain


def report_foreign(name: str, seeds: range) -> None:
    """Print accuracy and coverage in a foreign world."""
    ours, plain = measure_foreign(foreign_b.make if name == "B" else foreign_c.make, seeds)
    print(f"\n| world {name} | error at {' / '.join(f'{h:.0f}' for h in HORIZONS)} min |")
    print("| --- | --- |")
    for told, cells in (
        ("ours", ours.mean()),
        ("ours, up to 3 readings", ours.mean(most=3)),
        ("ours, more", ours.mean(least=4)),
        ("mean slope", plain.mean()),
        ("mean slope, up to 3 readings", plain.mean(most=3)),
    ):
        print(f"| {told} | {' / '.join(f'{v:.2f}' for v in cells)} |")
    for group in GROUPS:
        cells = ours.covered(group)
        print(f"| {group}, percent covered | {' / '.join(f'{100 * v:.0f}' for v in cells)} |", flush=True)


def report(rig: Rig, seeds: range, hours: float) -> None:
    """Print accuracy and coverage in four worlds."""
    minutes = " / ".join(f"{h:.0f}" for h in HORIZONS)
    groups = [g for g in GROUPS if any(b.group == g for b in rig.bottles)]
    print(f"| world | error at {minutes} min | mean slope | " + " | ".join(groups) + " |")
    print("| --- |" + " --- |" * (2 + len(groups)))
    worlds = (
        ("ordinary", 1.0, 0.0),
        ("rougher", 2.0, 0.0),
        ("ordinary, dull ear", 1.0, 3.5),
        ("rougher, dull ear", 2.0, 5.0),
    )
    for name, roughness, noise in worlds:
        ours, plain = measure(rig, seeds, hours, roughness, noise)
        cells = [" / ".join(f"{v:.1f}" for v in e.mean()) for e in (ours, plain)]
        cells += [" / ".join(f"{100 * v:.0f}" for v in ours.covered(g)) for g in groups]
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


def speed(rig: Rig, count: int) -> None:
    """Print what processor time a long journal takes to fold, whole and from a checkpoint."""
    rng = np.random.default_rng(0)
    world = World(rig, rng, venue=filming_venue(rng, hours=6.0))
    log = Log(world, rng, 0.0)
    log.play(300.0)
    day = events_of(log.rows)
    events = [e for k in range(1 + count // len(day)) for e in _shifted(day, 86400.0 * k)][:count]
    started = time.process_time()
    beliefs = Beliefs.fold(rig, events)
    whole_s = time.process_time() - started
    kept = to_bytes(Beliefs.fold(rig, events[: count - 500]))
    started = time.process_time()
    again = from_bytes(rig, kept)
    assert again is not None
    for event in events[count - 500 :]:
        again.apply(event)
    resumed_s = time.process_time() - started
    same = to_bytes(again) == to_bytes(beliefs)
    print(f"\n{count} events: whole fold {whole_s:.1f} s; ", end="")
    print(f"checkpoint and 500 more {1e3 * resumed_s:.0f} ms, equal: {same}")


def _shifted(events: list[Event], by_s: float) -> list[Event]:
    return [dataclasses.replace(e, at_s=e.at_s + by_s) for e in events]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=24)
    parser.add_argument("--hours", type=float, default=4.0)
    parser.add_argument("--rig", default="three_rails")
    parser.add_argument(
        "--speed",
        action="store_true",
        help="measure how long 100,000 events take, with --seeds 0 nothing else",
    )
    parser.add_argument("--world", default="home,B,C", help="home, B and C, separated by commas")
    args = parser.parse_args()
    rig = load_rig(CONFIGS / f"{args.rig}.toml")
    if args.seeds and "home" in args.world:
        told = "90 % interval: percent covered, by group"
        print(f"{args.seeds} days of {args.hours:g} h, rig {rig.name!r}; {told}\n")
        report(rig, range(2000, 2000 + args.seeds), args.hours)
    for name in "BC":
        if args.seeds and name in args.world:
            report_foreign(name, range(2000, 2000 + args.seeds))
    if args.speed:
        speed(rig, 100_000)


if __name__ == "__main__":
    main()
