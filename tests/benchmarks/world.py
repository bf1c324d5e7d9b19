"""What the virtual rig does by itself, and how long rounds on it take: `python -m tests.benchmarks.world`.

Prints the numbers of docs/world.md. Nothing here is measured on a real rig.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from rounds.air import kpa_to_psi
from rounds.journal import MemoryJournal
from rounds.rig import GROUPS, Rig
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import RoundResult, play_round
from rounds.simulation.venue import STEADY, filming_venue
from rounds.simulation.world import World

CONFIGS = Path(__file__).parent.parent.parent / "configs"
LONGEST_MIN = 120


def holds(rig: Rig, seeds: range, *, filming: bool, roughness: float) -> np.ndarray:
    """Minutes until each bottle, tuned to within a few cents, leaves its tolerance; one row a seed."""
    tolerance = np.array([b.tolerance_cents for b in rig.bottles])
    rows = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        venue = filming_venue(rng) if filming else STEADY
        world = World(rig, rng, venue=venue, roughness=roughness, start_s=0.0)
        world.advance(600.0)
        world.tuned(2.0)
        held = np.full(len(rig.bottles), float(LONGEST_MIN))
        for minute in range(1, LONGEST_MIN + 1):
            world.advance(600.0 + minute * 60.0)
            held[(np.abs(world.all_cents()) > tolerance) & (held == LONGEST_MIN)] = minute
        rows.append(held)
    return np.array(rows)


def print_holds(rig: Rig, seeds: range) -> None:
    """Hold times by group in three weathers."""
    print("| weather | " + " | ".join(f"{g}: median (10 %, 90 %) min" for g in GROUPS) + " |")
    print("| --- |" + " --- |" * len(GROUPS))
    for name, filming, roughness in (
        ("steady", False, 1.0),
        ("filming", True, 1.0),
        ("filming, rough", True, 2.0),
    ):
        held = holds(rig, seeds, filming=filming, roughness=roughness)
        cells = []
        for group in GROUPS:
            places = [i for i, b in enumerate(rig.bottles) if b.group == group]
            low, mid, high = np.percentile(held[:, places], [10, 50, 90])
            cells.append(f"{mid:.0f} ({low:.0f}, {high:.0f})")
        print(f"| {name} | " + " | ".join(cells) + " |")


def print_strokes(rig: Rig, seeds: range, bottles: tuple[str, ...]) -> None:
    """What one stroke and one connection do."""
    print("\n| bottle | pressure psi | one stroke, cents | on and off, cents | cents per kelvin |")
    print("| --- | --- | --- | --- | --- |")
    for bottle in bottles:
        rows = []
        for seed in seeds:
            world = World(rig, np.random.default_rng(seed))
            world.put(bottle, 0.0)
            psi = kpa_to_psi(world.gauge_kpa(bottle))
            world.connect(bottle)
            on = world.cents(bottle)
            world.add(1.0)
            stroke = world.cents(bottle) - on
            world.put(bottle, 0.0)
            world.forget_head()
            world.connect(bottle)
            world.disconnect()
            rows.append((psi, stroke, world.cents(bottle), per_kelvin(rig, seed, bottle)))
        psi, stroke, loss, kelvin = np.median(rows, axis=0)
        print(f"| {bottle} | {psi:.0f} | {stroke:+.0f} | {loss:+.1f} | {kelvin:+.1f} |")


def per_kelvin(rig: Rig, seed: int, bottle: str) -> float:
    """Cents that one kelvin adds once the bottle has followed."""
    from rounds.simulation.venue import Door, Venue

    world = World(rig, np.random.default_rng(seed), venue=Venue(doors=(Door(1.0, -1.0, 1e12),)))
    world.put(bottle, 0.0)
    world.truth.leak_per_s[:] = 0.0
    world.truth.walk_cents[:] = 0.0
    world.advance(3600.0)
    return world.cents(bottle)


def rehearse(rig: Rig, seed: int, *, fill: bool, sound: bool) -> RoundResult:
    """One round on a rig that is out, or just put together."""
    world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
    if fill:
        world.first_fill()
    else:
        world.advance(world.now_s + 1500.0)
    session = Session(rig, MemoryJournal(), world.now_s)
    return play_round(session, world, Player(world), sound=sound)


def print_rounds(rig: Rig, seeds: range, *, sound: bool) -> None:
    """Whole rounds through the session, with no key pressed."""
    print(
        f"\n{rig.name}, {'sound through the real hearing' if sound else 'quick ear'}, {len(seeds)} worlds\n"
    )
    print("| round | minutes | connections | strikes | in tune | highest pressure / ceiling |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name, fill in (("touch-up, 25 min after tuning", False), ("from scratch", True)):
        results = [rehearse(rig, seed, fill=fill, sound=sound) for seed in seeds]
        minutes, connections, strikes = (
            np.median([getattr(r, k) for r in results]) for k in ("minutes", "connections", "strikes")
        )
        tuned = sum(r.in_tune for r in results) / sum(r.needed for r in results)
        highest = max(r.highest_share for r in results)
        print(f"| {name} | {minutes:.1f} | {connections:.0f} | {strikes:.0f} | {tuned:.1%} | {highest:.2f} |")


def main() -> None:
    """Print every table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=12)
    parser.add_argument("--sound", action="store_true", help="rounds through sound too (slower)")
    args = parser.parse_args()
    seeds = range(args.worlds)
    big = load_rig(CONFIGS / "three_rails.toml")
    print_holds(big, seeds)
    print_strokes(big, seeds, ("C3", "G3", "C4", "C5", "E6", "G6"))
    for name in ("three_rails", "one_rail"):
        print_rounds(load_rig(CONFIGS / f"{name}.toml"), seeds, sound=False)
    if args.sound:
        print_rounds(big, seeds, sound=True)


if __name__ == "__main__":
    main()
