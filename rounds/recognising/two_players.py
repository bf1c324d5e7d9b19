"""Which of several people at one microphone struck? A reading is believed only where that is clear.

A strike is somebody's when the bottle asked of them explains its pitch far better than the bottles asked
of the others: as it was, with the air that was asked for, or with a part of it. Else it is nobody's, and
they strike one after the other. Where two bottles could not be told apart, they do so from the start.
Whoever is asked to hold their strike may do so late, so nothing is taken for granted in the first moment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from rounds.notes import cents
from rounds.recognising.acts_shown import stories_of
from rounds.recognising.odds import FIRST_STORY, Story, Target, chance_astray, explains, times_refused
from rounds.recognising.recognition import Recognised, asked_for, not_believed, recognise
from rounds.wording.shown import MOVES_AIR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.guide.people import People
    from rounds.guide.situation import Situation
    from rounds.hearing.reading import Reading
    from rounds.instruction import Instruction

SURELY = 20.0
"""One bottle must explain a pitch this many times better than any other."""
OUT_OF_TURN = 0.02
"""How often somebody strikes while asked to hold. Our guess."""
REACTION_S = 1.2
"""From a strike until all have read what came of it, and hold where they are asked to."""
ROOM_SD_CENTS = 5.0
"""What the room adds to where a bottle is heard. Common practice, no source."""
ASTRAY_TO_MIND = 0.2
"""From this chance on that bottles never heard are far off, they may be anywhere near."""
NOT_YET_FILLED_CENTS = -300.0
"""Where a bottle is, for example, at a first fill."""


@dataclass(frozen=True)
class Station:
    """One of several people: their situation and their instruction."""

    person: int
    now: Situation
    told: Instruction

    @property
    def bottle(self) -> str | None:
        """The bottle they are asked to strike, or to work on and strike."""
        if self.told.act in ("wait", "none"):
            return None
        return asked_for(self.now.state, self.told)

    @cached_property
    def target(self) -> Target:
        """Where their bottle may sound, a part of the air included."""
        assert self.bottle is not None
        known = [
            Story(s.mean_cents, math.hypot(s.sd_cents, ROOM_SD_CENTS))
            for s in stories_of(self.now, self.bottle, self.told)
        ]
        if len(known) == 2:
            way = known[1].mean_cents - known[0].mean_cents
            known.append(Story(known[0].mean_cents + 0.5 * way, max(ROOM_SD_CENTS, 0.3 * abs(way))))
        astray = chance_astray(h.cents for h in self.now.state.heard.values())
        return Target(tuple(known), (), astray)

    def explains(self, hz: float) -> float:
        """How well their bottle explains a pitch."""
        return explains(self.off(hz), self.target)

    def off(self, hz: float) -> float:
        """A pitch in cents off their bottle's note."""
        assert self.bottle is not None
        return cents(hz, self.now.rig.target_hz(self.bottle))


def asked_to_strike(stations: Sequence[Station]) -> list[Station]:
    """The people who were asked to strike."""
    return [s for s in stations if s.bottle is not None]


def whose_turn(people: People, stations: Sequence[Station]) -> int | None:
    """Who strikes first; None where both may strike as they like."""
    asked = asked_to_strike(stations)
    if len(asked) < 2:
        return None
    if people.turns:
        return next((i for i in people.turns if any(s.person == i for s in asked)), None)
    if not alike(asked[0], asked[1]):
        return None
    return min(asked, key=lambda s: (s.told.act in MOVES_AIR, s.person == people.heard_last)).person


def alike(one: Station, other: Station) -> bool:
    """Whether a strike of one of their bottles might be taken for the other's."""
    return _mistakable(one, other) or _mistakable(other, one)


def _mistakable(one: Station, other: Station) -> bool:
    assert one.bottle is not None
    base_hz = one.now.rig.target_hz(one.bottle)
    for off in _likely(one.target):
        hz = base_hz * 2.0 ** (off / 1200.0)
        if one.explains(hz) <= SURELY * other.explains(hz):
            return True
    return False


def _likely(target: Target) -> list[float]:
    stories = target.stories or (FIRST_STORY,)
    far = [NOT_YET_FILLED_CENTS] if not target.stories and target.astray >= ASTRAY_TO_MIND else []
    return far + [s.mean_cents + k * s.sd_cents for s in stories for k in (-2.0, 0.0, 2.0)]


def recognise_among(stations: Sequence[Station], turn: int | None, sounded: Reading) -> Recognised:
    """A strike in a round of several: somebody's, another bottle's, or nobody's.

    Args:
        stations: everybody.
        turn: who strikes alone, the others having had the time to read so.
        sounded: what was heard.
    """
    asked = asked_to_strike(stations)
    if not asked:
        return recognise(stations[0].now, stations[0].told, sounded)
    if len(asked) == 1:
        return _theirs(asked[0], sounded)
    sure = _surely(asked, turn, sounded.hz)
    if sure is not None:
        return _theirs(sure, sounded)
    striker = next((s for s in asked if s.person == turn), None)
    if sounded.hz is None or sounded.verdict not in ("clear", "other_bottle"):
        return _nobodys(stations, striker, sounded, sounded.advice)
    names = [str(s.bottle) for s in asked]
    if all(_theirs(s, sounded).strike.verdict != "clear" for s in asked):
        words = f"neither {' nor '.join(names)}: strike one at a time"
        return _nobodys(stations, striker, replace(sounded, verdict="other_bottle"), words)
    if striker is None:
        words = f"that may have been {' or '.join(names)}: strike one at a time"
        return _nobodys(stations, None, replace(sounded, verdict="unclear"), words)
    other = next(str(s.bottle) for s in asked if s is not striker)
    words = f"that may have been {other}; strike {striker.bottle} again"
    return _nobodys(stations, striker, replace(sounded, verdict="other_bottle"), words)


def _theirs(station: Station, sounded: Reading) -> Recognised:
    found = recognise(station.now, station.told, sounded)
    if found.strike.verdict == "clear":
        return found
    return replace(found, strike=replace(found.strike, person=station.person))


def _nobodys(
    stations: Sequence[Station], striker: Station | None, sounded: Reading, words: str
) -> Recognised:
    strike = not_believed(stations[0].now.now_s, sounded)
    if striker is None or striker.bottle is None:
        return Recognised(strike, (), words)
    off = striker.off(sounded.hz) if strike.verdict == "other_bottle" and sounded.hz is not None else None
    return Recognised(replace(strike, cents=off, person=striker.person), (), words)


def _surely(asked: Sequence[Station], turn: int | None, hz: float | None) -> Station | None:
    """The person with the bottle that explains a pitch far better than the others' do.

    Those who should hold are unlikely to have struck, and the more so the more often the same pitch came.
    """
    if hz is None:
        return None
    unlikely = OUT_OF_TURN
    for s in asked:
        if s.person == turn:
            unlikely **= 1 + times_refused(s.off(hz), s.now.state.rejected_cents)
    odds = sorted(
        ((s.explains(hz) * (1.0 if turn in (None, s.person) else unlikely), s.person, s) for s in asked),
        key=lambda o: o[:2],
        reverse=True,
    )
    return odds[0][2] if odds[0][0] > SURELY * odds[1][0] else None
