"""From what the ear gives to a strike of a bottle: which one was struck, and what it shows was done.

Pure functions over beliefs and a situation; the session journals what comes out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.events import AirMoved, Connected, Disconnected, Event, Strike, Verdict
from rounds.guide.round import SAME_PITCH_CENTS
from rounds.hearing.reading import Expectation, Reading
from rounds.notes import cents, shifted_hz
from rounds.recognising.acts_shown import (
    UNLIKE_CENTS,
    assumed_acts,
    beyond,
    moved_unasked,
    pump_after,
    stories_of,
    unlike,
    wrong_way,
)
from rounds.recognising.odds import (
    ELSEWHERE,
    EMPTY_CENTS,
    FIRST_FILL_CENTS,
    FIRST_STORY,
    SELDOM_NEEDED,
    Other,
    Story,
    Target,
    chance_astray,
    insisted,
    times_refused,
    whose,
)
from rounds.wording.shown import MOVES_AIR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.belief import Beliefs
    from rounds.guide.round import RoundState
    from rounds.guide.situation import Situation
    from rounds.instruction import Instruction
    from rounds.rig import Rig

IN_REACH_CENTS = 25.0
"""A pitch so near a neighbour's may have been a strike of it. Our guess: a quarter of a semitone."""
SEMITONE_CENTS = 100.0
LIKELY_THERE = 0.5
"""A neighbour that nobody heard counts where it is this likely near its note."""
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
        found = Recognised(not_believed(now_s, sounded), (), sounded.advice)
        return _with_the_air(told, _with_the_head(situation, told, found))
    if bottle_id is None:
        return Recognised(of_any(situation.rig, situation.beliefs, now_s, sounded))
    found = _of_the_target(situation, told, sounded, bottle_id)
    if found.strike.bottle is None and situation.state.target not in (None, bottle_id):
        found = _of_the_next(situation, told, sounded) or found
    return _with_the_air(told, _with_the_head(situation, told, found))


def _with_the_air(told: Instruction, found: Recognised) -> Recognised:
    """The air that was asked for, where the strike does not show it: it may be in all the same."""
    asked_for_air = told.act in ("connect", "add") and told.strokes is not None and told.strokes > 0.0
    if not asked_for_air or any(isinstance(event, AirMoved) for event in found.assumed):
        return found
    strike = replace(found.strike, asked_strokes=told.strokes, asked_bottle=told.bottle)
    return replace(found, strike=strike)


def _with_the_head(situation: Situation, told: Instruction, found: Recognised) -> Recognised:
    """The head, where the strike does not show it.

    Where it was to come off and the bottle need not be struck, any strike shows that it is off. Where it was
    to go on, the last strike that is asked for shows that it is on: lest it be left there.
    """
    on, now_s = situation.state.pump_on, situation.now_s
    by_hand = told.act in ("connect", "release") and told.bottle is not None and on is None
    in_vain = told.act == "connect" or found.strike.bottle is None
    if by_hand and told.bottle is not None and in_vain and situation.state.nearly_tired:
        if any(isinstance(event, Connected) for event in found.assumed):
            return found
        pump = situation.rig.bottle(told.bottle).pump
        put_on = Connected(at_s=now_s, bottle=told.bottle, pump=pump, assumed=True)
        struck = replace(found.strike, pump_on=found.strike.bottle == told.bottle)
        return replace(found, strike=struck, assumed=(put_on, *found.assumed))
    if told.act != "disconnect" or told.then_strike or on is None or found.assumed:
        return found
    off = Disconnected(at_s=now_s, bottle=on, pump=situation.rig.bottle(on).pump, assumed=True)
    return replace(found, assumed=(off,))


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
    stories = stories_of(situation, bottle_id, told)
    contrary = wrong_way(stories)
    if unlike(situation, bottle_id):
        stories = (*stories, Story(state.heard[bottle_id].cents, UNLIKE_CENTS))
    target = Target(stories, state.rejected_cents, astray, () if contrary is None else (contrary,))
    known = others(rig, situation.beliefs, now_s, bottle_id)
    silent = never_heard(situation, bottle_id, astray)
    other = whose(off, target, [*known, *silent])
    if other is None and sounded.verdict == "clear":
        return _believed(situation, told, sounded, bottle_id, off)
    compared = bottle_id in state.compared
    unlikely = other is not None and other in {o.bottle for o in silent} - set(state.opened.needed)
    again = unlikely and times_refused(off, state.rejected_cents) > 0
    if again or insisted(off, state.rejected_cents, known, compared=compared):
        # What was believed, if anything was, is wrong by an amount nobody knows.
        moved = AirMoved(at_s=now_s, bottle=bottle_id, pump=None, strokes=None, assumed=True)
        lost = (moved,) if target.stories else ()
        on = state.pump_on == bottle_id
        struck = _strike(now_s, sounded, bottle_id, off, "clear", on=on)
        return Recognised(replace(struck, agreed=True), lost)
    words = f"{f'that sounded like {other}' if other else f'that was not {bottle_id}'}; strike {bottle_id}"
    if other and other == state.compare_for:
        words = (
            f"{bottle_id} and {other}: each sounds like the other's note. Maybe swapped: look before you pump"
        )
    elif not other and -EMPTY_CENTS <= off < -FIRST_FILL_CENTS:
        words = f"that is very low for {bottle_id}; if {bottle_id} is empty, strike it again"
    return Recognised(_strike(now_s, sounded, None, off, "other_bottle"), (), words)


def _believed(
    situation: Situation, told: Instruction, sounded: Reading, bottle_id: str, off: float
) -> Recognised:
    """A clear strike of the bottle asked for, with the acts that it shows.

    Where the strike before lay far from what is believed, this one was asked for to agree with it.
    """
    state = situation.state
    before = unlike(situation, bottle_id)
    still = situation.sounding(bottle_id, situation.beliefs.level(bottle_id, situation.now_s))
    struck = _strike(situation.now_s, sounded, bottle_id, off, "clear", on=state.pump_on == bottle_id)
    if before and abs(off - still.mean) > UNLIKE_CENTS:
        air = moved_unasked(situation, bottle_id, off)
        on = pump_after(state.pump_on, air) == bottle_id
        return Recognised(replace(struck, pump_on=on, agreed=True), air, sounded.advice)
    if told.act in MOVES_AIR and beyond(off, stories_of(situation, bottle_id, told)):
        by_pump = (off > still.mean or told.act == "connect") and state.pump_on != bottle_id
        pump = situation.rig.bottle(bottle_id).pump
        on_it = Connected(at_s=situation.now_s, bottle=bottle_id, pump=pump, assumed=True)
        struck = replace(struck, pump_on=by_pump or state.pump_on == bottle_id)
        return Recognised(struck, (on_it,) if by_pump else (), sounded.advice)
    assumed = assumed_acts(situation, told, off)
    on = pump_after(state.pump_on, assumed) == bottle_id
    agrees = told.act == "strike" and _agrees(situation, bottle_id, off)
    return Recognised(replace(struck, pump_on=on, agreed=agrees), assumed, sounded.advice)


def _agrees(situation: Situation, bottle_id: str, off_cents: float) -> bool:
    """Whether a second strike that was asked for, to be sure, has the pitch of the first."""
    heard = situation.state.heard.get(bottle_id)
    if heard is None or bottle_id in situation.state.moved or heard.times > 1:
        return False
    return abs(off_cents - heard.cents) <= SAME_PITCH_CENTS


def likely_owner(situation: Situation, bottle_id: str) -> str | None:
    """The bottle that two strikes alike, refused as not the asked one's, most likely were of, if any."""
    rejected = situation.state.rejected_cents
    if len(rejected) < 2 or times_refused(rejected[-1], rejected) < 2:
        return None
    astray = chance_astray(heard.cents for heard in situation.state.heard.values())
    known = others(situation.rig, situation.beliefs, situation.now_s, bottle_id)
    all_others = [*known, *never_heard(situation, bottle_id, astray)]
    if situation.state.opened.shares:
        all_others = [o for o in all_others if o.bottle in situation.state.opened.needed]
    best = max(all_others, key=lambda o: o.density(rejected[-1]), default=None)
    return None if best is None or best.density(rejected[-1]) < ELSEWHERE else best.bottle


def sounds_like(situation: Situation, bottle_id: str) -> str | None:
    """The bottle a semitone away whose pitch one strike had; None where that strike is not in doubt.

    Only until the bottle's air is moved: two bottles may have changed places, or the hand slipped.
    """
    state, rig = situation.state, situation.rig
    heard = state.heard.get(bottle_id)
    if heard is None or heard.times > 1 or abs(heard.cents) < IN_REACH_CENTS or bottle_id in state.visited:
        return None
    astray = chance_astray(h.cents for h in state.heard.values())
    known = others(rig, situation.beliefs, situation.now_s, bottle_id)
    for other in (*known, *never_heard(situation, bottle_id, astray)):
        apart = abs(cents(rig.target_hz(other.bottle), rig.target_hz(bottle_id)))
        near = abs(other.story.mean_cents - heard.cents) < IN_REACH_CENTS
        if near and apart < SEMITONE_CENTS + IN_REACH_CENTS and other.share >= LIKELY_THERE:
            return other.bottle
    return None


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


def never_heard(situation: Situation, target: str, astray: float) -> list[Other]:
    """Every other bottle not heard so far: near its note, if the rig was tuned before."""
    rig, needed = situation.rig, situation.state.opened.needed
    base_hz = rig.target_hz(target)
    return [
        Other(
            b.id,
            Story(cents(rig.target_hz(b.id), base_hz), FIRST_STORY.sd_cents),
            (1.0 - astray) * (1.0 if b.id in needed else SELDOM_NEEDED),
        )
        for b in rig.bottles
        if b.id != target and not situation.beliefs.heard(b.id)
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


class Recognising:
    """Answers what a round asks of its strikes (`rounds.guide.situation.Recognised`)."""

    def unlike(self, now: Situation, bottle_id: str) -> float:
        """Cents from what is believed of a bottle to its newest reading; 0 where they agree well enough."""
        return unlike(now, bottle_id)

    def likely_owner(self, now: Situation, bottle_id: str) -> str | None:
        """The bottle that two strikes alike, refused as not the asked one's, most likely were of."""
        return likely_owner(now, bottle_id)

    def sounds_like(self, now: Situation, bottle_id: str) -> str | None:
        """The bottle a semitone away whose pitch one strike had."""
        return sounds_like(now, bottle_id)
