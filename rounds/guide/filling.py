"""The short way of a fill: bottles far from their notes, brought there with few strikes. Pure.

One strike, most of the counted strokes, one strike with the head on, which gives this bottle's gain; then
the rest and what is expected to settle back, and the head comes off unheard. A walk at the end hears them
all, and only what is out is visited again. What settles is learned early: the first bottles of each group
are heard again as soon as they have settled. Bass bottles, which hold shortest, come last.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rounds.air import STIFFNESS_SHARE
from rounds.belief.air_log import NOTHING_KNOWN
from rounds.planning.dose import room_strokes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.gauss import Gauss
    from rounds.guide.situation import Situation
    from rounds.planning.dose import Dose
    from rounds.rig import Bottle

FAR_CENTS = 100.0
"""A bottle flat by more than this is filled: what settles after so large a change is worth foreseeing."""
FAR_IN_A_FILL_CENTS = 60.0
"""The same in a round that is a fill."""
IS_A_FILL = 3
"""So many far bottles make a round a fill, whose bass comes last. Our guess."""
SURE_SHARE = 1.0
"""The head comes off unheard where the sd of where it leads is at most this share of the tolerance."""
FIRST_SHARE = 0.7
"""Of the air that an empty bottle is expected to need, so much goes in before it is struck. Our guess."""
WALK_AFTER_MIN = 10.0
"""A filled bottle is heard again about this long after. Our guess, from fills of 36 bottles."""
SETTLED_S = 75.0
"""From so long after the head came off, a strike tells what has settled: time constants are 40 to 125 s."""
SETTLING_OVER_S = 240.0
"""So long after, hardly anything settles any more."""
SAMPLES = 2
"""Bottles of each group heard again early, so that the others are aimed better."""
STAYS_SHARE = 0.65
"""A filled bottle within this share of its tolerance is not visited again. Common practice, no source."""
SURELY_IN = 0.9
"""So likely in tune, a corrected bottle need not be struck once more when the head is off."""
HIGH_SHARE = 0.2
"""Filled bottles are aimed this share of the tolerance high: what is sharp goes out by the pin, what is flat
needs the pump again."""


def is_far(now: Situation, bottle_id: str) -> bool:
    """Whether a bottle is so flat that it is filled rather than touched up."""
    return now.beliefs.level(bottle_id, now.now_s).mean - now.aim_of(bottle_id) < -_far_cents(now)


def _far_cents(now: Situation) -> float:
    return FAR_IN_A_FILL_CENTS if is_a_fill(now) else FAR_CENTS


def came_from_far(now: Situation, bottle_id: str) -> bool:
    """Whether the present visit found the bottle far down."""
    start = now.state.visit_from_cents
    if start is None:
        return bottle_id in now.state.far
    return start - now.aim_of(bottle_id) < -_far_cents(now)


def first_strokes(now: Situation, bottle: Bottle) -> float:
    """Strokes into an empty bottle after which it can sound, well under its note and its limit.

    From what is known of this bottle's strokes, or its group's, or the laws; and never more than keeps it
    under its limit if the volume in the rig file is wrong by half. In half strokes.
    """
    target_hz2 = now.rig.target_hz(bottle.id) ** 2
    pump = now.rig.pump_of(bottle.id)
    wanted = FIRST_SHARE * (1.0 - STIFFNESS_SHARE) * target_hz2
    by_gain = wanted / max(1e-9, now.beliefs.gain(bottle.id, pump.id).mean)
    room = room_strokes(now.rig, bottle.id, now.air.get(bottle.id, NOTHING_KNOWN).emptied(), now.temp_c)
    return max(0.5, math.floor(2.0 * min(by_gain, room)) / 2.0)


def is_a_fill(now: Situation) -> bool:
    """Whether the round is a fill: several of its bottles were found far down, or are said to be empty."""
    state = now.state
    found = sum(h.cents - state.shift_cents < -FAR_CENTS for h in state.heard.values())
    return len(state.far) >= IS_A_FILL or found >= IS_A_FILL


def bass_last(now: Situation, bottles: Sequence[str]) -> list[str]:
    """The same order; in a fill bass bottles come last: they hold shortest. The pump in hand comes first."""
    if not is_a_fill(now):
        return list(bottles)
    in_hand = now.state.mounted
    return sorted(
        bottles, key=lambda b: (now.rig.bottle(b).group == "bass", now.rig.bottle(b).pump != in_hand)
    )


def walk_before(now: Situation, bottle_id: str) -> str | None:
    """The filled bottle to be heard before another pump is taken in hand for a bottle."""
    in_hand = now.state.mounted
    if not is_a_fill(now) or in_hand in (None, now.rig.bottle(bottle_id).pump):
        return None
    return next((b for b in _settled(now) if now.rig.bottle(b).pump == in_hand), None)


def filled_aim(now: Situation, bottle: Bottle, level: Gauss) -> float:
    """Where to leave a filled bottle, pump off, so that it stands well once it has settled.

    Cents off the nominal target: the middle of its band, what the air moved so far and the air still to go
    in will give back, and what leaks until it is heard again.
    """
    corrected = bottle.id in now.state.left_at_s
    high = 0.0 if corrected else HIGH_SHARE
    settled_at = now.state.shift_cents + high * bottle.tolerance_cents
    heard_after_min = SETTLING_OVER_S / 60.0 if corrected else WALK_AFTER_MIN
    means, _ = now.beliefs.path(bottle.id, now.now_s, (heard_after_min,))
    falls = now.beliefs.level(bottle.id, now.now_s).mean - float(means[0])
    still_to_go = max(0.0, settled_at + falls - level.mean)
    gives_back = -now.beliefs.settling(bottle.id, still_to_go).mean
    return settled_at + falls + gives_back


def may_go_unheard(bottle: Bottle, wanted: Dose, aim_cents: float) -> bool:
    """Whether the head may come off after a dose without another strike: it leads to the aim, and surely."""
    allowed_cents = SURE_SHARE * bottle.tolerance_cents
    return wanted.after.sd <= allowed_cents and abs(wanted.after.mean - aim_cents) <= allowed_cents


def left_unheard(now: Situation) -> list[str]:
    """Bottles filled in this round and not heard since the head came off, longest ago first."""
    state = now.state
    left = [b for b in state.left_at_s if b in state.aired and b in state.needed and b not in state.aside]
    return sorted(left, key=lambda b: state.left_at_s[b])


def _once_settled(now: Situation, bottle_id: str) -> Gauss:
    """Where a bottle will be when what its air still does by itself is over."""
    return now.beliefs.level(bottle_id, now.now_s + SETTLING_OVER_S)


def may_stay(now: Situation, bottle_id: str) -> bool:
    """Whether a filled bottle that was heard will stand well enough, though not where it was aimed."""
    off = _once_settled(now, bottle_id).mean - now.state.shift_cents
    return abs(off) <= STAYS_SHARE * now.rig.bottle(bottle_id).tolerance_cents


def stands_off(now: Situation, bottle_id: str) -> bool:
    """Whether a bottle whose air was moved is out of its band for good: two strikes alike, or it settled."""
    heard = now.state.heard.get(bottle_id)
    if heard is None or bottle_id in now.state.moved or bottle_id not in now.state.visited:
        return False
    beyond = abs(heard.cents - now.state.shift_cents) - now.rig.bottle(bottle_id).tolerance_cents
    left_s = now.state.left_at_s.get(bottle_id)
    settled = left_s is not None and heard.at_s - left_s >= SETTLED_S and not may_stay(now, bottle_id)
    return (beyond > 0.0 and settled) or (beyond > heard.u95_cents and heard.times > 1)


def is_surely_in(now: Situation, bottle_id: str) -> bool:
    """Whether a filled bottle, corrected and heard with the head on, is in tune without another strike."""
    level = _once_settled(now, bottle_id)
    return 1.0 - level.outside(now.rig.bottle(bottle_id).tolerance_cents, now.state.shift_cents) >= SURELY_IN


def has_settled(now: Situation, bottle_id: str) -> bool:
    """Whether a filled bottle was left long enough ago for a strike to tell where it stands."""
    return now.now_s - now.state.left_at_s.get(bottle_id, now.now_s) >= SETTLED_S


def early_sample(now: Situation) -> str | None:
    """A settled bottle whose strike teaches how much its group settles, while others wait to be filled."""
    heard: dict[str, int] = {}
    for bottle_id in now.state.left_at_s:
        if bottle_id not in now.state.aired:
            group = now.rig.bottle(bottle_id).group
            heard[group] = heard.get(group, 0) + 1
    for bottle_id in left_unheard(now):
        if has_settled(now, bottle_id) and heard.get(now.rig.bottle(bottle_id).group, 0) < SAMPLES:
            return bottle_id
    return None


def next_of_the_walk(now: Situation) -> str | None:
    """The filled bottle to be heard next, on one walk past all that have settled."""
    return next(iter(bass_last(now, _settled(now))), None)


def _settled(now: Situation) -> list[str]:
    """The filled bottles that wait to be heard and have settled, longest ago first."""
    return [b for b in left_unheard(now) if has_settled(now, b)]
