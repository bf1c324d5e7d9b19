"""Hands are full, so what the player did is concluded from the strikes.

A strike of the bottle asked for shows whether the advised air was moved (the pitch went most of the
way) and that the pump came off when that was asked. What is assumed is journalled as assumed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.air import hz_after
from rounds.events import AirMoved, Connected, Disconnected, Event
from rounds.notes import cents, shifted_hz
from rounds.recognising.odds import Story

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rounds.gauss import Gauss
    from rounds.guide.situation import Situation
    from rounds.instruction import Instruction

MOVED_SHARE = 0.35
"""A strike shows that the advised air was moved when the pitch went at least this share of the way."""
SOME_CENTS = 2.0
"""When it went less, but this much and twice its doubt before, some air went in: fewer strokes than advised,
or all of them into a stiff bottle."""
WRONG_WAY = 0.05
"""How often air goes in that was to come out, or the other way round. Our guess."""
WRONG_WAY_SD_CENTS = 30.0
"""How far from the same amount, the other way, that may be."""
UNLIKE_CENTS = 15.0
"""A reading this far from what is believed after it is not gone by before a second one."""
BEYOND_SDS = 4.0
"""Or so many sd of the account, if that is more: a pitch further out than this shows no act at all."""
UNLIKE_U95 = 1.5
"""Or so many times its own uncertainty, if that is more."""
MOST_UNASKED = 500.0
"""Strokes; a pitch that shows more than this is no bottle's."""


def stories_of(now: Situation, bottle_id: str, advised: Instruction | None) -> tuple[Story, ...]:
    """Where a bottle's pitch may be: left as it was, or with the advised air moved. Empty if never heard."""
    if not now.beliefs.heard(bottle_id):
        return ()
    still = now.sounding(bottle_id, now.beliefs.level(bottle_id, now.now_s))
    stories = [Story(still.mean, still.sd)]
    strokes = advised.strokes if advised is not None and advised.bottle == bottle_id else None
    if strokes:
        stories.append(_after_strokes(now, bottle_id, still, strokes))
    return tuple(stories)


def wrong_way(stories: tuple[Story, ...]) -> Story | None:
    """Where a bottle is when as much air was moved as advised, but the other way; None when none was."""
    if len(stories) < 2:
        return None
    still, moved = stories[0], stories[1]
    spread = max(WRONG_WAY_SD_CENTS, abs(moved.mean_cents - still.mean_cents))
    return Story(2.0 * still.mean_cents - moved.mean_cents, spread, WRONG_WAY)


def unlike(now: Situation, bottle_id: str) -> float:
    """Cents from what is believed of a bottle to its newest reading; 0 where they agree well enough.

    Positive where the reading is the sharper one.
    """
    heard = now.state.heard.get(bottle_id)
    if heard is None or bottle_id in now.state.moved:
        return 0.0
    level = now.beliefs.level(bottle_id, heard.at_s)
    off = heard.cents - (now.sounding(bottle_id, level).mean if heard.pump_on else level.mean)
    return off if abs(off) > max(UNLIKE_CENTS, UNLIKE_U95 * heard.u95_cents) else 0.0


def beyond(cents_heard: float, stories: tuple[Story, ...]) -> bool:
    """Whether a pitch lies outside all accounts: as it was, with the air asked for, or with a part of it."""
    if not stories:
        return False
    low, high = min(stories, key=_mean), max(stories, key=_mean)
    below = low.mean_cents - max(UNLIKE_CENTS, BEYOND_SDS * low.sd_cents)
    above = high.mean_cents + max(UNLIKE_CENTS, BEYOND_SDS * high.sd_cents)
    return not below <= cents_heard <= above


def _mean(story: Story) -> float:
    return story.mean_cents


def moved_unasked(now: Situation, bottle_id: str, cents_heard: float) -> tuple[Event, ...]:
    """The strokes that a pitch shows where air was to come out and went in; else nothing.

    A pitch that is elsewhere for another reason, a leak or a strike misheard before, shows no strokes.
    """
    still = now.sounding(bottle_id, now.beliefs.level(bottle_id, now.now_s))
    to_come_out = now.state.purpose == "visit" and still.mean > now.aim_of(bottle_id)
    if not to_come_out or cents_heard <= still.mean:
        return ()
    pump = now.rig.bottle(bottle_id).pump
    target_hz = now.rig.target_hz(bottle_id)
    hz, heard_hz = shifted_hz(target_hz, still.mean), shifted_hz(target_hz, cents_heard)
    strokes = (heard_hz**2 - hz**2) / max(1e-9, now.beliefs.gain(bottle_id, pump).mean)
    on = Connected(at_s=now.now_s, bottle=bottle_id, pump=pump, assumed=True)
    strokes = min(strokes, MOST_UNASKED)
    moved = AirMoved(at_s=now.now_s, bottle=bottle_id, pump=pump, strokes=strokes, assumed=True)
    return (moved,) if now.state.pump_on == bottle_id else (on, moved)


def _after_strokes(now: Situation, bottle_id: str, still: Gauss, strokes: float) -> Story:
    target_hz = now.rig.target_hz(bottle_id)
    hz = shifted_hz(target_hz, still.mean)
    gain = now.beliefs.gain(bottle_id, now.rig.bottle(bottle_id).pump)
    mean = cents(max(hz_after(hz, strokes, gain.mean), 0.25 * target_hz), target_hz)
    change = abs(mean - still.mean)
    relative = gain.sd / gain.mean if gain.mean > 0 else 1.0
    # Strokes are counted, not measured: a fifth either way, beside what is not known of the gain.
    return Story(mean, (still.sd**2 + (change * relative) ** 2 + (0.2 * change) ** 2) ** 0.5)


def assumed_acts(now: Situation, advised: Instruction | None, cents_heard: float) -> Sequence[Event]:
    """The advised acts that a strike of the target shows were done, oldest first."""
    if advised is None or advised.bottle is None:
        return ()
    if advised.bottle != now.state.target and advised.act != "disconnect":
        return ()
    makers: dict[str, Callable[[Situation, Instruction, float], Sequence[Event]]] = {
        "disconnect": _assume_off,
        "connect": _assume_air,
        "add": _assume_air,
        "release": _assume_air,
    }
    maker = makers.get(advised.act)
    return () if maker is None else maker(now, advised, cents_heard)


def pump_after(pump_on: str | None, assumed: Sequence[Event]) -> str | None:
    """The bottle that the pump head is on after some acts."""
    for event in assumed:
        if isinstance(event, Connected):
            pump_on = event.bottle
        elif isinstance(event, Disconnected):
            pump_on = None
    return pump_on


def _assume_off(now: Situation, advised: Instruction, cents_heard: float) -> Sequence[Event]:
    del cents_heard
    if now.state.pump_on is None or advised.bottle is None:
        return ()
    pump = now.rig.bottle(now.state.pump_on).pump
    return (Disconnected(at_s=now.now_s, bottle=now.state.pump_on, pump=pump, assumed=True),)


def _assume_air(now: Situation, advised: Instruction, cents_heard: float) -> Sequence[Event]:
    bottle_id, strokes = advised.bottle, advised.strokes
    if bottle_id is None or not strokes:
        return ()
    at_most = None
    if not _went(now, bottle_id, advised, cents_heard):
        share = _some(now, bottle_id, advised, cents_heard) if strokes > 0.0 else None
        if share is None:
            return ()
        at_most, strokes = strokes, share * strokes
    by_pump = advised.act != "release" or advised.pump is not None
    pump = now.rig.bottle(bottle_id).pump if by_pump else None
    moved = AirMoved(
        at_s=now.now_s, bottle=bottle_id, pump=pump, strokes=strokes, assumed=True, at_most=at_most
    )
    if advised.act == "connect" and now.state.pump_on != bottle_id and pump is not None:
        return (Connected(at_s=now.now_s, bottle=bottle_id, pump=pump, assumed=True), moved)
    return (moved,)


def _some(now: Situation, bottle_id: str, advised: Instruction, cents_heard: float) -> float | None:
    """The share of the advised way that the pitch went, if that shows some air, or the head was on for it."""
    still, moved = stories_of(now, bottle_id, advised)
    gone, way = cents_heard - still.mean_cents, moved.mean_cents - still.mean_cents
    shows = gone > max(SOME_CENTS, 2.0 * still.sd_cents) or advised.act == "add"
    return max(0.0, gone / way) if shows else None


def _went(now: Situation, bottle_id: str, advised: Instruction, cents_heard: float) -> bool:
    """Whether the pitch went far enough the advised way to show that the air was moved."""
    stories = stories_of(now, bottle_id, advised)
    if len(stories) < 2:
        return True
    still, moved = stories[0].mean_cents, stories[1].mean_cents
    if abs(moved - still) < 2.0:
        return True
    return (cents_heard - still) / (moved - still) > MOVED_SHARE
