"""A small world for random rounds: bottles that leak, change places, are dead or misheard; hands slip.

No physics of the product's own: each stroke adds a fixed amount to the squared frequency (Fung, Sechler &
Kaplan 1957). `play` counts, from outside, how often a bottle is asked for without anything new.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rounds.events import AirMoved, Strike
from rounds.hearing.reading import Reading
from rounds.journal import MemoryJournal
from rounds.notes import Note
from rounds.rig import Bottle, Pump, Rig, group_of
from rounds.sessions.session import Session

if TYPE_CHECKING:
    from rounds.instruction import Instruction

START_S = 1.7e9
NIGHT_S = 12 * 3600.0
MOST_STEPS = 600
NEWS_CENTS = 3.0


@dataclass
class Outcome:
    """What a round came to, seen from outside."""

    ended: bool = False
    head_on: bool = False
    longest_row: int = 0
    """Most strikes in a row asked of one bottle without anything new."""
    most_asked: int = 0
    """Most strikes asked of one bottle in the round while its air did not move."""
    strikes: int = 0
    disagreed: int = 0
    """Orders that move air and name another direction than the reading of their bottle just before."""
    story: list[str] = field(default_factory=list)


class SmallWorld:
    """Some bottles, one pump head, a session that leads, hands that follow or slip."""

    def __init__(self, seed: int) -> None:
        self.rng = rng = np.random.default_rng(seed)
        low = int(rng.choice([48, 55, 60, 67, 79]))
        steps = [0, *np.cumsum(rng.integers(1, 3, int(rng.integers(2, 6)))).tolist()]
        notes = [Note(low + int(s)) for s in steps]
        volume = {"bass": 2000.0, "middle": 1250.0, "top": 600.0}
        bottles = tuple(
            Bottle(n.name, n, volume[group_of(n)], 1, 12.0 * i, "floor", group=group_of(n))
            for i, n in enumerate(notes)
        )
        self.rig = Rig("small", bottles, (Pump("floor", 160.0, max_gauge_kpa=1e3),))
        self.log = MemoryJournal()
        self.slips = float(rng.choice([0.0, 0.05, 0.15]))
        self.misheard = float(rng.choice([0.0, 0.1, 0.4]))
        self.typed = bool(rng.random() < 0.3)
        off = {b.id: float(rng.normal(0.0, 8.0)) for b in bottles}
        if rng.random() < 0.7:
            for b in bottles:
                self._known(b.id, off[b.id])
        for b in bottles:
            if rng.random() < 0.25:
                off[b.id] -= float(rng.uniform(0.0, 900.0))
        self.hz = {b: self.rig.target_hz(b) * 2.0 ** (c / 1200.0) for b, c in off.items()}
        self.place = {b.id: b.id for b in bottles}
        if rng.random() < 0.25:
            one, other = sorted(rng.choice(len(bottles), 2, replace=False).tolist())
            ids = [b.id for b in bottles]
            self.place[ids[one]], self.place[ids[other]] = ids[other], ids[one]
        self.dead = {b.id for b in bottles if rng.random() < 0.08}
        self.deaf = {b for b in self.dead if rng.random() < 0.5}
        self.session = Session(self.rig, self.log, START_S)
        self.gain = {
            b.id: float(rng.uniform(0.6, 1.6)) * self.session.beliefs.gain(b.id, "floor").mean
            for b in bottles
        }
        self.head: str | None = None
        self.now_s = START_S

    def _known(self, bottle: str, cents: float) -> None:
        hz = self.rig.target_hz(bottle) * 2.0 ** (cents / 1200.0)
        for k in range(3):
            at_s = START_S - NIGHT_S + 600.0 * k
            heard = Strike(at_s=at_s, bottle=bottle, verdict="clear", hz=hz, cents=cents, u95_cents=2.0)
            self.log.append_many([heard])

    def follow(self, told: Instruction) -> bool:
        """Do what is asked, or slip; whether air or the head moved."""
        assert told.bottle is not None
        strokes, moved = told.strokes or 0.0, False
        if told.act in ("connect", "add"):
            moved = self._put_on(told.bottle)
        elif told.act == "disconnect" or (told.act == "release" and told.pump is None):
            moved = self._take_off()
        if strokes and self.rng.random() > self.slips:
            if self.rng.random() < self.slips:
                strokes = -strokes
                if strokes > 0.0:
                    self._put_on(told.bottle)
            self._air(told.bottle, strokes * float(self.rng.normal(1.0, 0.07)))
            moved = True
        return moved

    def _air(self, bottle: str, strokes: float) -> None:
        b = self.place[bottle]
        if self.typed:
            self.session.air(round(8.0 * strokes) / 8.0, self.now_s)
        if b not in self.dead:
            least = self.rig.target_hz(b) * 0.55
            self.hz[b] = math.sqrt(max(least**2, self.hz[b] ** 2 + strokes * self.gain[b]))

    def _put_on(self, bottle: str) -> bool:
        if self.head == bottle:
            return False
        self._take_off()
        self.head = bottle
        if self.typed:
            self.session.pump(True, self.now_s)
        return True

    def _take_off(self) -> bool:
        if self.head is None:
            return False
        b = self.place[self.head]
        self.hz[b] *= 2.0 ** (-float(self.rng.uniform(0.5, 4.0)) / 1200.0)
        self.head = None
        if self.typed:
            self.session.pump(False, self.now_s)
        return True

    def sound(self, bottle: str) -> Reading:
        """What the ear makes of a strike."""
        rng = self.rng
        struck = bottle
        if rng.random() < self.slips:
            struck = str(rng.choice([b.id for b in self.rig.bottles]))
        b = self.place[struck]
        if b in self.deaf or rng.random() < 0.04:
            return Reading(None, None, str(rng.choice(["quiet", "unclear", "two_ringing"])))  # type: ignore[arg-type]
        hz = self.hz[b] * 2.0 ** (rng.normal(0.0, 1.0) / 1200.0)
        if rng.random() < self.misheard:
            hz *= 2.0 ** (
                float(rng.choice([-1200.0, 1200.0, 702.0, -702.0, rng.normal(0.0, 150.0)])) / 1200.0
            )
        return Reading(float(np.clip(hz, 25.0, 1.5e4)), 2.5)


def play(seed: int, *, tell: bool = False) -> Outcome:
    """One random round."""
    world, out = SmallWorld(seed), Outcome()
    session = world.session
    session.open_round(world.now_s)
    row: tuple[str | None, int] = (None, 0)
    asked: dict[str, int] = {}
    believed: dict[str, float] = {}
    for _ in range(MOST_STEPS):
        session.tick(world.now_s)
        told = session.instruction
        if session.round is None or (told.act == "none" and told.bottle is None):
            out.ended = True
            break
        if told.bottle is None or told.act in ("wait", "none"):
            world.now_s += 11.0
            continue
        world.now_s += 4.0
        bottle = told.bottle
        moved = world.follow(told)
        asks = session.instruction if world.typed and moved else told
        if told.act == "gauge":
            session.gauge_typed("none", world.now_s)
            continue
        if not told.then_strike:
            if not (world.typed and moved):
                session.done(world.now_s)
            continue
        if asks.bottle != bottle or (asks is not told and asks.act != "strike"):
            continue
        newest = world.log.last_id
        heard = session.strike(world.now_s, world.sound(bottle))
        out.strikes += 1
        air = [e for i, e in world.log.events() if i > newest and isinstance(e, AirMoved)]
        new = moved
        if (
            heard is not None
            and heard.verdict == "clear"
            and heard.bottle == bottle
            and heard.cents is not None
        ):
            new = new or abs(heard.cents - believed.get(bottle, 1e9)) > NEWS_CENTS
            believed[bottle] = heard.cents
        row = (bottle, row[1] + 1 if row[0] == bottle and not new else 1)
        changed = moved or any(e.bottle == bottle for e in air)
        asked[bottle] = 1 if changed else asked.get(bottle, 0) + 1
        out.longest_row = max(out.longest_row, row[1])
        out.most_asked = max(out.most_asked, asked[bottle])
        out.disagreed += _disagrees(session.instruction, heard)
        if tell:
            state = session.round
            level = session.beliefs.level(bottle, world.now_s)
            vain = None if state is None else (state.in_vain, dict(state.asked), state.purpose)
            out.story.append(
                f"{told.act} {bottle} {told.strokes} '{told.why}' -> "
                f"{None if heard is None else (heard.bottle, heard.cents, heard.verdict, heard.agreed)} "
                f"bel {level.mean:.0f} row {row} asked {asked[bottle]} {vain} {session.ear_words}"
            )
    out.head_on = world.head is not None or session.pump_on is not None
    if tell:
        out.story.append(f"{session.instruction}; head {world.head} {session.pump_on}")
    return out


def _disagrees(told: Instruction, heard: Strike | None) -> bool:
    """Whether air is asked for that contradicts the reading it stands beside by more than 15 cents."""
    if heard is None or heard.bottle != told.bottle or heard.cents is None or not told.strokes:
        return False
    aim = told.aim_cents or 0.0
    return (told.strokes > 0.0) == (heard.cents - aim > 0.0) and abs(heard.cents - aim) > 15.0
