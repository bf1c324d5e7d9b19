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
