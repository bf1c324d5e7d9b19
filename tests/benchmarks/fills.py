"""From empty or far down to in tune: `python -m tests.benchmarks.fills [--fills N]`.

Whole fills by one person on the virtual rig and on world B, through the real session, each beside a plain way
by ear on the same rig: strike, pump what the group's gain says, strike until near, head off, strike, and go
round again. What is in tune is asked of the world. Gauge readings are counted apart. The numbers stand in
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
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import play_round
from rounds.simulation.world import World as VirtualRig
from tests.worlds import foreign_b
from tests.worlds.player import Gauges, Played, VirtualPlayer

if TYPE_CHECKING:
    from collections.abc import Callable

CONFIG = Path(__file__).parents[2] / "configs" / "three_rails.toml"
START_S = 1.7e9
NEAR_CENTS, CLOSE_SHARE = 5.0, 0.6
MOST_TRIES = 6


@dataclass(frozen=True)
class Fill:
    """What one fill cost."""

    minutes: float
    connections: int
    strikes: int
    strokes: float
    gauges: int
    gauge_s: float
    in_tune: int
    needed: int
    foreseen_min: float


def of_world_b(seed: int, start: str, *, minutes: float | None = None, bottles: int = 36) -> Fill:
    """One fill of world B through the session."""
    world = foreign_b.make(seed, bottles, "low" if start == "60" else start)  # type: ignore[arg-type]
    if start == "60":
        world.fill_to(0.6, 0.6)
    session = Session(world.rig, MemoryJournal(), world.now_s)
    downbeat_s = None if minutes is None else world.now_s + 60.0 * minutes
    empty = start == "empty"
    session.open_round(world.now_s, downbeat_s=downbeat_s, temp_c=round(world.temp_c), empty=empty)
    foreseen_s = session.plan().work_s
    played = VirtualPlayer(world, gauges=Gauges("right")).play(session, downbeat_s=downbeat_s)
    return _fill(played, foreseen_s)


def _fill(played: Played, foreseen_s: float) -> Fill:
    return Fill(
        played.minutes,
        played.connections,
        played.strikes,
        played.strokes,
        played.gauges,
        played.seconds.get("gauge", 0.0),
        played.in_tune,
        played.needed,
        foreseen_s / 60.0,
    )


def of_the_virtual_rig(seed: int, start: str) -> Fill:
    """One fill of the virtual rig through the session and the quick ear."""
    rig = load_rig(CONFIG)
    world = VirtualRig(rig, np.random.default_rng(seed), start_s=START_S)
    world.first_fill(*((0.0, 0.0) if start == "empty" else (0.4, 0.8)))
    session, player = Session(rig, MemoryJournal(), world.now_s), Player(world)
    session.open_round(world.now_s, temp_c=round(world.temp_c), empty=start == "empty")
    foreseen_s = session.plan().work_s
    strokes: list[float] = []
    found = play_round(session, world, player, watch=lambda step: strokes.append(abs(step.action.strokes)))
    return Fill(
        found.minutes,
        found.connections,
        found.strikes,
        sum(strokes),
        player.gauges,
        player.gauges * player.hands.gauge_s,
        found.in_tune,
        found.needed,
        foreseen_s / 60.0,
    )


class ByEar(VirtualPlayer):
    """A plain way, by ear only: each bottle by itself until near, then all round again."""

    def fill(self, most_rounds: int = 3) -> Played:
        """Tune every bottle; the world tells what came of it."""
        world, started_s = self.world, self.world.now_s
        self.played = Played()
        for k in range(most_rounds):
            for bottle in [b.id for b in world.rig.bottles]:
                self._walk(bottle)
                off = self._off(bottle)
                limit = world.rig.bottle(bottle).tolerance_cents * CLOSE_SHARE
                if abs(off) > limit:
                    self._tune(bottle, off, limit, rough=k == 0)
        self._judge(None, [b.id for b in world.rig.bottles], 0.0)
        self.played.minutes = (world.now_s - started_s) / 60.0
        return self.played

    def _off(self, bottle: str) -> float:
        """A strike, again until it can be read."""
        for _ in range(MOST_TRIES):
            self._spend("strike", self.hands.strike_s + 0.6)
            self.played.strikes += 1
            heard = self.world.strike(bottle)
            if heard.hz is not None:
                return float(1200.0 * np.log2(heard.hz / self.world.rig.target_hz(bottle)))
        return 0.0

    def _tune(self, bottle: str, off: float, limit: float, *, rough: bool) -> None:
        cents_each = 20.0
        for _ in range(MOST_TRIES):
            if off > limit:
                self._quietly_out(bottle, off / cents_each)
            else:
                self._quietly_in(bottle, min(-off / cents_each, 12.0) * (0.8 if rough else 1.0))
            now = self._off(bottle)
            moved = abs(now - off) / max(0.25, abs(off) / cents_each)
            cents_each = min(120.0, max(4.0, moved))
            off = now
            if abs(off) <= limit:
                break
        if self.world.head is not None:
            self._spend("head_off", self.hands.head_off_s)
            self.world.head_off()

    def _quietly_in(self, bottle: str, strokes: float) -> None:
        if self.world.head != bottle:
            self._spend("head_on", self.hands.head_on_s)
            self.world.head_on(bottle)
            self.played.connections += 1
        self._spend("stroke", self.hands.stroke_s * max(0.5, strokes))
        self.world.pump(strokes)
        self.played.strokes += strokes

    def _quietly_out(self, bottle: str, strokes: float) -> None:
        if self.world.head is not None:
            self._spend("head_off", self.hands.head_off_s)
            self.world.head_off()
        self._spend("pin", self.hands.pin_s)
        self.world.let_out(bottle, strokes)


def by_ear(seed: int, start: str, bottles: int = 36) -> Fill:
    """The plain way on world B."""
    world = foreign_b.make(seed, bottles, "empty" if start == "empty" else "low")
    return _fill(ByEar(world).fill(), 0.0)


def row(name: str, fills: list[Fill]) -> str:
    """One line of the table."""

    def mean(field: str) -> float:
        return statistics.fmean(getattr(f, field) for f in fills)

    share = sum(f.in_tune for f in fills) / sum(f.needed for f in fills)
    wrong = statistics.median(abs(f.foreseen_min / f.minutes - 1.0) for f in fills)
    foreseen = f"{mean('foreseen_min'):.1f} ({wrong:.0%})" if mean("foreseen_min") else ""
    return (
        f"| {name} | {mean('minutes'):.1f} | {mean('connections'):.1f} | {mean('strikes'):.0f} "
        f"| {mean('strokes') / 60.0:.1f} | {mean('gauges'):.1f}, {mean('gauge_s'):.0f} s "
        f"| {share:.1%} | {foreseen} |"
    )


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--fills", type=int, default=6)
    parser.add_argument("--only", default="", help="rows whose name begins so")
    args = parser.parse_args()
    seeds = range(args.fills)
    print("| fill | minutes | connections | strikes | minutes of strokes | gauge | in tune | foreseen min |")
    print("| --- " * 8 + "|")
    rows: dict[str, Callable[[int], Fill]] = {
        "virtual rig, 40-80 %": lambda s: of_the_virtual_rig(s, "low"),
        "world B, 40-80 %": lambda s: of_world_b(s, "low"),
        "world B, 40-80 %, plain, by ear": lambda s: by_ear(s, "low"),
        "virtual rig, from empty": lambda s: of_the_virtual_rig(s, "empty"),
        "world B, from empty": lambda s: of_world_b(s, "empty"),
        "world B, from empty, plain, by ear": lambda s: by_ear(s, "empty"),
        "world B, 44 bottles at 60 %, 20 min": lambda s: of_world_b(s, "60", minutes=20.0, bottles=44),
    }
    for name, play in rows.items():
        if name.startswith(args.only):
            print(row(name, [play(s) for s in seeds]), flush=True)


if __name__ == "__main__":
    main()
