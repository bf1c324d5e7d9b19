"""The plan of a round: which bottles to visit, in which order, aimed where, and why.

Cheap enough to be made anew after every reading. Times in UTC seconds, cents off the nominal
target; aims include the shift of the reference.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rounds.air import STIFFNESS_SHARE
from rounds.planning.floating import Shift, best_shift
from rounds.planning.ordering import Visit, VisitProblem
from rounds.planning.problem_of import job, solved, work_of
from rounds.planning.prospect import after_visit, look_ahead, span
from rounds.planning.walking import walking_order
from rounds.planning.whom import (
    Outlook,
    outlook,
    points_until_next_round,
    reason_alone,
    reason_for,
    with_short_hold,
)
from rounds.rig import due_limit_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rounds.planning.beliefs_protocol import BeliefsProtocol
    from rounds.planning.problem_of import Solved
    from rounds.planning.prospect import Paths
    from rounds.planning.whom import Flags
    from rounds.rig import Piece, Rig

VAGUE_SHARE = 0.6
"""A bottle is struck first when the sd of its level passes this share of its tolerance."""
EMPTY_CENTS = -600.0 * math.log2(STIFFNESS_SHARE)
"""How far down an empty bottle is: what its shell alone sounds like."""
SURE_SDS = 2.0
"""Unless it is visited anyway, and surely on one side of its aim by this many sds."""


@dataclass(frozen=True)
class PlannedVisit:
    """One bottle to visit. `pump` None: let air out by the pin, no connection."""

    bottle: str
    pump: str | None
    aim_cents: float
    why: str
    work_s: float
    hold_s: float = math.inf
    """From its end until the bottle is likelier out than in."""
    saves: float = math.inf
    """Bottles out in expectation, without it and with it."""


@dataclass(frozen=True)
class RoundPlan:
    """What to do in a round, and what it costs."""

    visits: tuple[PlannedVisit, ...]
    left_alone: Mapping[str, str]
    """Bottle to the reason, one short phrase."""
    sacrificed: tuple[str, ...]
    """Bottles that will be out for want of time, least weight."""
    listen: tuple[str, ...]
    """Needed bottles to be struck before anything can be decided, in walking order."""
    shift_cents: float
    shift_saves: int
    work_s: float
    finish_before_downbeat_s: float | None
    """How early the work ends when it starts now (negative: too late); None without a downbeat."""
    connections: int
    pump_changes: int
    short_lived: tuple[str, ...] = ()
    """Bottles that will be in tune at the downbeat, but hold for less than the block: plan a break."""
    shift_refused: str | None = None
    """What fixes the pitch of the pieces, so that the reference may not float."""
    pumps: tuple[str, ...] = ()
    """Pumps of this plan."""
    order: tuple[str, ...] = ()
    """The bottles of the visits in order, before any is put off because somebody else stands near it."""
    proved: bool = True
    """Whether the order is proved to be the best; with four pumps and more it may be a good one only."""


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What a round is planned for."""

    now_s: float
    downbeat_s: float | None
    block_s: float
    needed: Mapping[str, float]
    mounted: str | None = None
    head_on: str | None = None
    """The bottle that the pump head is on."""
    at_bottle: str | None = None
    skipped: frozenset[str] = frozenset()
    done: frozenset[str] = frozenset()
    shift_cents: float | None = None
    """The shift that was settled; None: choose one where the reference floats."""
    pieces: tuple[Piece, ...] = ()
    temp_c: float | None = None
    """Air temperature now, where it is known better than the beliefs know it."""
    unheard_cents: float | None = None
    """How far down a bottle that was never heard is expected, from those found in this round."""
    empty: frozenset[str] = frozenset()
    """Bottles said to hold no air."""

    def open_bottles(self, rig: Rig) -> tuple[str, ...]:
        """Needed bottles that are neither skipped nor done, in file order."""
        closed = self.skipped | self.done
        return tuple(b.id for b in rig.bottles if b.id in self.needed and b.id not in closed)


def plan_round(rig: Rig, beliefs: BeliefsProtocol, asked: Asked, previous: Sequence[str] = ()) -> RoundPlan:
    """Plan the rest of a round from what is believed now.

    Args:
        previous: the bottles in the order of the plan before this one, kept where it is as good.
    """
    paths = _paths(rig, beliefs, asked)
    heard = _heard(beliefs, paths)
    shift = _shift(rig, beliefs, asked) if asked.shift_cents is None else Shift(asked.shift_cents)
    paths = _until_next_round(rig, asked, paths, heard, shift.cents)
    after = after_visit(paths)
    draft = _Draft(rig, beliefs, asked, outlook(paths, shift.cents, after), heard)
    return draft.plan(shift, previous)


def _until_next_round(rig: Rig, asked: Asked, paths: Paths, heard: Flags, shift_cents: float) -> Paths:
    """Where no downbeat is told, look no further than to the next chance to retune, or as the rig says."""
    if asked.downbeat_s is not None or rig.habits.visit == "all" or not heard.any():
        return paths
    if rig.habits.visit == "out":
        return paths.with_block(1)
    limit = rig.habits.due_limit or due_limit_for(len(asked.needed))
    share = len(paths.bottles) / max(1, len(asked.needed))
    return paths.with_block(points_until_next_round(outlook(paths, shift_cents), heard, share * limit))


def _shift(rig: Rig, beliefs: BeliefsProtocol, asked: Asked) -> Shift:
    """Choose a shift; bottles that are done already count with their present pitch.

    Where no piece is named any piece of the rig may be played, so one of fixed pitch among them holds A4.
    """
    everyone = _paths(rig, beliefs, replace(asked, done=frozenset()))
    known = everyone.only(_heard(beliefs, everyone))
    free = np.array([b not in asked.done for b in known.bottles], dtype=bool)
    return best_shift(known, free, rig.reference, asked.pieces or rig.pieces)


def _heard(beliefs: BeliefsProtocol, paths: Paths) -> Flags:
    return np.array([beliefs.heard(b) for b in paths.bottles], dtype=bool)


def _paths(rig: Rig, beliefs: BeliefsProtocol, asked: Asked) -> Paths:
    when = span(asked.now_s, asked.downbeat_s, asked.block_s, rig.habits.quarantine_s)
    return look_ahead(rig, beliefs, asked.open_bottles(rig), asked.now_s, when, asked.temp_c)


@dataclass(frozen=True)
class _Draft:
    """A plan in the making. Places are those of the bottles in the outlook."""

    rig: Rig
    beliefs: BeliefsProtocol
    asked: Asked
    ahead: Outlook
    heard: Flags

    def plan(self, shift: Shift, previous: Sequence[str]) -> RoundPlan:
        """Order the visits and put everything together."""
        bottles = self.ahead.paths.bottles
        chosen = (self.ahead.chosen | self._begun) & self.heard
        listen = [b for i, b in enumerate(bottles) if self._must_listen(i, bool(chosen[i]))]
        listening_s = len(listen) * self.rig.habits.strike_s
        places = [i for i in range(len(bottles)) if chosen[i] or not self.heard[i]]
        jobs = {bottles[i]: self._job(i) for i in places}
        answer = solved(self._problem(tuple(jobs.values()), listening_s), self.asked.block_s, previous)
        visits = self._visits(answer, jobs)
        work_s = answer.order.work_s + listening_s
        spare = None if self.asked.downbeat_s is None else self.asked.downbeat_s - self.asked.now_s - work_s
        alone = {b: reason_alone(self.ahead, i) for i, b in enumerate(bottles) if i not in set(places)}
        return RoundPlan(
            visits=visits,
            left_alone=alone,
            sacrificed=self._sacrificed(answer),
            listen=walking_order(self.rig, listen, self.asked.at_bottle),
            shift_cents=shift.cents,
            shift_saves=shift.saves,
            work_s=work_s,
            finish_before_downbeat_s=spare,
            connections=sum(v.pump is not None for v in visits),
            pump_changes=answer.order.pump_changes,
            short_lived=answer.short_lived,
            shift_refused=shift.refused,
            pumps=tuple(p.id for p in self.rig.pumps),
            order=tuple(v.bottle for v in visits),
            proved=answer.order.proved,
        )

    @property
    def _begun(self) -> Flags:
        """The bottle that the pump head is on, until it stands where it is aimed: its connection is made."""
        on = np.array([b == self.asked.head_on for b in self.ahead.paths.bottles], dtype=bool)
        flags: Flags = on & self.ahead.needs_air
        return flags

    def _must_listen(self, i: int, chosen: bool) -> bool:
        """Never heard, air moved since, or so vague that a strike may change what is decided."""
        bottle, paths = self.ahead.paths.bottles[i], self.ahead.paths
        if not self.heard[i] or self.beliefs.changed_since_reading(bottle):
            return True
        if paths.sds[i, 0] <= VAGUE_SHARE * paths.half[i]:
            return False
        sure = abs(self.ahead.change_cents[i]) > SURE_SDS * paths.sds[i, 0]
        return not (chosen and sure)

    def _job(self, i: int) -> Visit:
        bottle = self.ahead.paths.bottles[i]
        change = float(self.ahead.change_cents[i]) if self.heard[i] else self.asked.unheard_cents
        change = EMPTY_CENTS if bottle in self.asked.empty else change
        pump = self.rig.bottle(bottle).pump if change is None or change > 0.0 else None
        work_s = work_of(self.rig, self.beliefs, bottle, change)
        hold_s = float(self.ahead.after.hold_s[i])
        return job(self.rig, bottle, pump, work_s, hold_s, self.asked.needed[bottle])

    def _problem(self, jobs: tuple[Visit, ...], listening_s: float) -> VisitProblem:
        told = self.asked.downbeat_s is not None
        left_s = (self.asked.downbeat_s or 0.0) - self.asked.now_s - listening_s
        return VisitProblem(
            visits=jobs,
            setup_s={p.id: p.setup_s for p in self.rig.pumps},
            mounted=self.asked.mounted,
            available_s=max(0.0, round(left_s, 1)) if told else None,
            quarantine_s=self.rig.habits.quarantine_s if told else 0.0,
        )

    def _visits(self, answer: Solved, jobs: Mapping[str, Visit]) -> tuple[PlannedVisit, ...]:
        place = {b: i for i, b in enumerate(self.ahead.paths.bottles)}
        found = []
        for bottle in answer.order.order:
            i = place[bottle]
            if not self.heard[i]:
                continue
            why = reason_for(self.ahead, i)
            if bottle in answer.short_lived:
                why = with_short_hold(why, float(self.ahead.after.hold_s[i]))
            aim_cents, visit = float(self.ahead.aim_cents[i]), jobs[bottle]
            saves = float(self.ahead.saves[i])
            found.append(PlannedVisit(bottle, visit.pump, aim_cents, why, visit.work_s, visit.hold_s, saves))
        return tuple(found)

    def _sacrificed(self, answer: Solved) -> tuple[str, ...]:
        """Left out, least weight first."""
        weight = self.asked.needed
        return tuple(sorted(answer.order.left_out, key=lambda b: (weight[b], b)))
