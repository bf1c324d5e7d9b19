"""From what the ear gives to a strike of a bottle: which one was struck, and what it shows was done.

Pure functions over beliefs and a situation; the session journals what comes out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.events import AirMoved, Event, Strike, Verdict
from rounds.hearing.reading import Expectation, Reading
from rounds.notes import cents, shifted_hz
from rounds.recognising.acts_shown import assumed_acts, pump_after, stories_of
from rounds.recognising.odds import (
    EMPTY_CENTS,
    FIRST_FILL_CENTS,
    FIRST_STORY,
    Other,
    Story,
    Target,
    chance_astray,
    insisted,
    whose,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.belief import Beliefs
    from rounds.guide.round import RoundState
    from rounds.guide.situation import Situation
    from rounds.instruction import Instruction
    from rounds.rig import Rig

LEAST_HZ, MOST_HZ = 20.0, 20_000.0
MOST_U95_CENTS = 1200.0
FITS = 1e-4
"""A pitch fits a bottle when its density there is at least this (per cent)."""
ALONE = 0.05
"""Of two bottles that fit, the second must be this much less likely for the first to be believed."""


@dataclass(frozen=True)
class Recognised:
    """A strike ready for the journal, the acts it shows were done before it, and what to say of it."""

    strike: Strike
    assumed: Sequence[Event] = ()
    words: str = ""


def checked(sounded: Reading) -> Reading:
    """The same strike, if its numbers can be one.

    Raises:
        BadInput: a pitch or an uncertainty that cannot be.
    """
    hz, u95 = sounded.hz, sounded.u95_cents
    if hz is not None and not LEAST_HZ <= hz <= MOST_HZ:
        raise BadInput(f"a strike at {hz} Hz cannot be a bottle; give {LEAST_HZ:.0f} to {MOST_HZ:.0f} Hz")
    if u95 is not None and not 0.0 <= u95 <= MOST_U95_CENTS:
        raise BadInput(f"an uncertainty of {u95:g} cents cannot be; give 0 to {MOST_U95_CENTS:g}")
    return sounded


def capped(reading: Reading) -> Reading:
    """A reading of the ear's as a session takes it: beyond this an uncertainty says nothing more."""
    u95 = reading.u95_cents
    return reading if u95 is None else replace(reading, u95_cents=min(u95, MOST_U95_CENTS))


def recognise(situation: Situation, told: Instruction, sounded: Reading) -> Recognised:
    """A strike in a round: the bottle asked for, another one, or not clear enough to say."""
    now_s, bottle_id = situation.now_s, asked_for(situation.state, told)
    heard_pitch = sounded.hz is not None and sounded.verdict in ("clear", "other_bottle")
    if not heard_pitch or (bottle_id is None and sounded.verdict != "clear"):
        return Recognised(not_believed(now_s, sounded), (), sounded.advice)
    if bottle_id is None:
        return Recognised(of_any(situation.rig, situation.beliefs, now_s, sounded))
    found = _of_the_target(situation, told, sounded, bottle_id)
    if found.strike.bottle is None and situation.state.target not in (None, bottle_id):
        return _of_the_next(situation, told, sounded) or found
    return found


def not_believed(now_s: float, sounded: Reading) -> Strike:
    """A strike of no known bottle."""
    return _strike(now_s, sounded, None, None, sounded.verdict)


def asked_for(state: RoundState, told: Instruction) -> str | None:
    """The bottle whose strike is waited for: the target, or another one that the head is to come off."""
    return told.bottle if told.act == "disconnect" else state.target


def _of_the_next(situation: Situation, told: Instruction, sounded: Reading) -> Recognised | None:
    """The head was to come off one bottle, and it is the next one that was struck: both were done."""
    assert situation.state.target is not None
    found = _of_the_target(situation, told, replace(sounded, verdict="clear"), situation.state.target)
    return found if found.strike.bottle is not None else None


def _of_the_target(situation: Situation, told: Instruction, sounded: Reading, bottle_id: str) -> Recognised:
    """A pitch while a bottle is asked for: its own, or refused as another's."""
    state, rig, now_s = situation.state, situation.rig, situation.now_s
    assert sounded.hz is not None
    off = cents(sounded.hz, rig.target_hz(bottle_id))
    astray = chance_astray(heard.cents for heard in state.heard.values())
    target = Target(stories_of(situation, bottle_id, told), state.rejected_cents, astray)
    known = others(rig, situation.beliefs, now_s, bottle_id)
    other = whose(off, target, [*known, *never_heard(rig, situation.beliefs, bottle_id, astray)])
    if other is None and sounded.verdict == "clear":
        assumed = assumed_acts(situation, told, off)
        on = pump_after(state.pump_on, assumed) == bottle_id
        return Recognised(_strike(now_s, sounded, bottle_id, off, "clear", on=on), assumed, sounded.advice)
    if insisted(off, state.rejected_cents, known):
        # What was believed, if anything was, is wrong by an amount nobody knows.
        moved = AirMoved(at_s=now_s, bottle=bottle_id, pump=None, strokes=None, assumed=True)
        lost = (moved,) if target.stories else ()
        on = state.pump_on == bottle_id
        return Recognised(_strike(now_s, sounded, bottle_id, off, "clear", on=on), lost)
    words = f"{f'that sounded like {other}' if other else f'that was not {bottle_id}'}; strike {bottle_id}"
    if not other and -EMPTY_CENTS <= off < -FIRST_FILL_CENTS:
        words = f"that was {-off:.0f} cents under {bottle_id}; if it is {bottle_id}, empty, strike it again"
    return Recognised(_strike(now_s, sounded, None, off, "other_bottle"), (), words)


def of_any(rig: Rig, beliefs: Beliefs, now_s: float, sounded: Reading) -> Strike:
    """No bottle was asked for: the known bottle whose pitch fits, if it fits well and alone."""
    assert sounded.hz is not None
    off = cents(sounded.hz, rig.reference.a4_hz)
    ranked = sorted(
        ((o.story.density(off), o.bottle) for o in others(rig, beliefs, now_s, None)), reverse=True
    )
    rival = ranked[1][0] if len(ranked) > 1 else 0.0
    if not ranked or ranked[0][0] < FITS or rival > ALONE * ranked[0][0]:
        return _strike(now_s, sounded, None, None, "unclear")
    bottle = ranked[0][1]
    return _strike(now_s, sounded, bottle, cents(sounded.hz, rig.target_hz(bottle)), "clear")


def in_play(rig: Rig, beliefs: Beliefs, now_s: float, sounded: Reading) -> Strike | None:
    """A strike heard while playing: it counts only where one bottle is clear."""
    if sounded.verdict != "clear" or sounded.hz is None:
        return None
    heard = of_any(rig, beliefs, now_s, sounded)
    return replace(heard, playing=True) if heard.verdict == "clear" else None


def others(rig: Rig, beliefs: Beliefs, now_s: float, target: str | None) -> list[Other]:
    """Every other bottle ever heard, its pitch in cents off the target's nominal one (off A4 for none)."""
    base_hz = rig.reference.a4_hz if target is None else rig.target_hz(target)
    found = []
    for bottle in rig.bottles:
        if bottle.id != target and beliefs.heard(bottle.id):
            level = beliefs.level(bottle.id, now_s)
            apart = cents(rig.target_hz(bottle.id), base_hz)
            found.append(Other(bottle.id, Story(apart + level.mean, level.sd)))
    return found


def never_heard(rig: Rig, beliefs: Beliefs, target: str, astray: float) -> list[Other]:
    """Every other bottle not heard so far: near its note, if the rig was tuned before."""
    base_hz = rig.target_hz(target)
    return [
        Other(b.id, Story(cents(rig.target_hz(b.id), base_hz), FIRST_STORY.sd_cents), 1.0 - astray)
        for b in rig.bottles
        if b.id != target and not beliefs.heard(b.id)
    ]


def listening_for(situation: Situation | None, rig: Rig, told: Instruction) -> Expectation:
    """What the ear should wait for in a situation; any bottle when none is asked for."""
    bottle_id = None if situation is None else asked_for(situation.state, told)
    if situation is None or bottle_id is None:
        every = tuple(rig.target_hz(b.id) for b in rig.bottles)
        return Expectation(None, FIRST_FILL_CENTS, every)
    target = Target(stories_of(situation, bottle_id, told))
    base_hz = rig.target_hz(bottle_id)
    known = others(rig, situation.beliefs, situation.now_s, bottle_id)
    others_hz = tuple(shifted_hz(base_hz, o.story.mean_cents) for o in known)
    return Expectation(shifted_hz(base_hz, target.centre_cents), target.half_width_cents, others_hz)


def _strike(
    now_s: float,
    sounded: Reading,
    bottle: str | None,
    off: float | None,
    verdict: Verdict,
    *,
    on: bool = False,
) -> Strike:
    return Strike(
        at_s=now_s,
        bottle=bottle,
        verdict=verdict,
        hz=sounded.hz,
        cents=off,
        u95_cents=sounded.u95_cents,
        pump_on=on,
        ring_s=sounded.ring_s,
        peak_dbfs=sounded.peak_dbfs,
        clipped=sounded.clipped,
    )
