"""The plan of a round: whom to visit, in which order, aimed where, and why.

Cheap enough to be made anew after every reading. Times in UTC seconds, cents off the nominal
target; aims include the shift of the reference.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.planning.order import solve
from rounds.planning.problem import Visit, VisitProblem
from rounds.planning.prospect import Outlook, outlook, span

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rounds.planning.knows import Knows
    from rounds.rig import Bottle, Piece, Rig

WORTH_A_VISIT = 0.25
"""A visit must lower the chance to be out by this much."""
VAGUE_SHARE = 0.6
"""A bottle is struck first when the sd of its level passes this share of its tolerance."""
TYPICAL_STROKES = 4.0
"""Strokes of a visit to a bottle that was never heard."""
CAUTIOUS_HOLD = 0.75
"""Holds are shortened to this share when bottles are ordered."""


@dataclass(frozen=True)
class PlannedVisit:
    """One bottle to visit. `pump` None: let air out by the pin, no connection."""

    bottle: str
    pump: str | None
    aim_cents: float
    why: str
    work_s: float


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


def plan_round(
    rig: Rig,
    beliefs: Knows,
    *,
    now_s: float,
    downbeat_s: float | None,
    block_s: float,
    needed: Mapping[str, float],
    mounted: str | None = None,
    at_bottle: str | None = None,
    skipped: frozenset[str] = frozenset(),
    done: frozenset[str] = frozenset(),
    shift_cents: float | None = None,
    pieces: tuple[Piece, ...] = (),
    previous: RoundPlan | None = None,
) -> RoundPlan:
    """Plan the rest of a round from what is believed now."""
    shift = shift_cents or 0.0
    open_ids = [b.id for b in rig.bottles if b.id in needed and b.id not in skipped and b.id not in done]
    known = [b for b in open_ids if beliefs.heard(b)]
    when = span(now_s, downbeat_s, block_s, rig.habits.quarantine_s)
    ahead = outlook(rig, beliefs, known, now_s, when, shift)
    vague = {b for b in open_ids if b not in set(known) or beliefs.changed_since_reading(b)}
    vague |= {
        b
        for b, sd in zip(known, ahead.now_sd, strict=True)
        if sd > VAGUE_SHARE * rig.bottle(b).tolerance_cents
    }
    chosen = {b: i for i, b in enumerate(known) if ahead.worth[i] > WORTH_A_VISIT}
    visits = {b: _visit(rig, beliefs, ahead, i) for b, i in chosen.items()}
    unheard = [_typical(rig, rig.bottle(b)) for b in open_ids if b not in set(known)]
    to_solve = [_as_job(rig, v, ahead.hold_s[chosen[v.bottle]], block_s, needed) for v in visits.values()]
    to_solve += [_as_job(rig, v, block_s, 0.0, needed) for v in unheard]
    listening_s = len(vague) * rig.habits.strike_s
    available = None if downbeat_s is None else max(0.0, downbeat_s - now_s - listening_s)
    found = solve(
        VisitProblem(
            visits=tuple(to_solve),
            setup_s={p.id: p.setup_s for p in rig.pumps},
            mounted=mounted,
            available_s=available,
            quarantine_s=rig.habits.quarantine_s if downbeat_s is not None else 0.0,
        )
    )
    ordered = tuple(visits[b] for b in found.order if b in visits)
    work_s = found.work_s + listening_s
    return RoundPlan(
        visits=ordered,
        left_alone={b: _alone(ahead, i) for i, b in enumerate(known) if b not in chosen},
        sacrificed=found.left_out,
        listen=_walk(rig, vague, at_bottle),
        shift_cents=shift,
        shift_saves=0,
        work_s=work_s,
        finish_before_downbeat_s=None if downbeat_s is None else downbeat_s - now_s - work_s,
        connections=sum(v.pump is not None for v in ordered),
        pump_changes=found.pump_changes,
    )


def _visit(rig: Rig, beliefs: Knows, ahead: Outlook, i: int) -> PlannedVisit:
    bottle = rig.bottle(ahead.bottles[i])
    change = float(ahead.change_cents[i])
    strokes = (
        abs(change)
        * 2.0
        * rig.target_hz(bottle.id) ** 2
        / 1731.2
        / abs(beliefs.gain(bottle.id, bottle.pump).mean)
    )
    habits = rig.habits
    work_s = 2.0 * habits.strike_s + strokes * habits.stroke_s
    if change > 0.0:
        work_s += habits.connect_s + habits.strike_s
    return PlannedVisit(
        bottle=bottle.id,
        pump=bottle.pump if change > 0.0 else None,
        aim_cents=float(ahead.aim_cents[i]),
        why=_why(ahead, i, bottle.tolerance_cents),
        work_s=work_s,
    )


def _typical(rig: Rig, bottle: Bottle) -> PlannedVisit:
    habits = rig.habits
    work_s = 3.0 * habits.strike_s + habits.connect_s + TYPICAL_STROKES * habits.stroke_s
    return PlannedVisit(bottle.id, bottle.pump, 0.0, "not heard yet", work_s)


def _as_job(
    rig: Rig, visit: PlannedVisit, hold_s: float, block_s: float, needed: Mapping[str, float]
) -> Visit:
    bottle = rig.bottle(visit.bottle)
    return Visit(
        id=bottle.id,
        pump=visit.pump,
        work_s=visit.work_s,
        hold_s=hold_s,
        keep_s=min(block_s, max(0.0, CAUTIOUS_HOLD * hold_s - 600.0)),
        rail=bottle.rail,
        position_m=bottle.position_cm / 100.0,
        weight=needed[bottle.id],
    )


def _why(ahead: Outlook, i: int, tolerance_cents: float) -> str:
    cents, shift = ahead.now_cents[i], 0.0
    side = "sharp" if cents > shift else "flat"
    if abs(cents - shift) > tolerance_cents:
        return f"{abs(cents - shift):.0f} cents {side} now"
    return f"likely out while playing ({100.0 * ahead.stay_worst[i]:.0f} %)"


def _alone(ahead: Outlook, i: int) -> str:
    if ahead.stay_worst[i] < 0.5:
        return f"stays in tune ({100.0 * (1.0 - ahead.stay_worst[i]):.0f} %)"
    return "a visit would not help it"


def _walk(rig: Rig, bottles: Iterable[str], at_bottle: str | None) -> tuple[str, ...]:
    """Rails in turn, there and back, from the end that is nearer."""
    places = [rig.bottle(b) for b in bottles]
    here = rig.bottle(at_bottle) if at_bottle is not None and rig.has_bottle(at_bottle) else None
    rails = sorted({b.rail for b in places}, key=lambda r: (abs(r - here.rail) if here else 0, r))
    order: list[str] = []
    at_cm = here.position_cm if here else 0.0
    for rail in rails:
        row = sorted((b for b in places if b.rail == rail), key=lambda b: (b.position_cm, b.id))
        if abs(row[-1].position_cm - at_cm) < abs(row[0].position_cm - at_cm):
            row.reverse()
        order += [b.id for b in row]
        at_cm = row[-1].position_cm
    return tuple(order)
