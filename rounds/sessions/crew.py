"""The crew of a round: the instruction of each person, who was heard to strike, and who strikes first.

Between the session, which records, and the pure parts that lead one person. A round of one person takes
the same way with one pair of hands.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.guide import advice
from rounds.guide.instructions import idle, strike_again
from rounds.guide.letting_down import next_to_let_down
from rounds.guide.people import NOT_UNDERSTOOD
from rounds.guide.round import begin
from rounds.guide.situation import Situation
from rounds.instruction import Instruction
from rounds.notes import cents
from rounds.planning import bottles_of_each, side_by_side
from rounds.recognising.recognition import Recognised, Recognising, listening_for, recognise
from rounds.recognising.two_players import (
    REACTION_S,
    Station,
    alike,
    asked_to_strike,
    recognise_among,
    whose_turn,
)
from rounds.sessions.replanning import Replanner, asked_of
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.belief import Beliefs
    from rounds.events import Event, RoundOpened
    from rounds.guide.people import People
    from rounds.guide.round import RoundState
    from rounds.hearing.reading import Expectation, Reading
    from rounds.planning import RoundPlan
    from rounds.rig import Rig
    from rounds.sessions.day import Day, Moment

NEAR_CENTS = 150.0
"""Two people are not sent to bottles this near in pitch at once, where there are others."""
LATE_S = 20.0
"""Who was asked to strike first this long ago keeps the other waiting: they may be away."""


class Lead:
    """One person's instruction and plan."""

    def __init__(self, now_s: float) -> None:
        self.told: Instruction = idle("no round is open")
        self.told_s = self.asked_s = now_s
        self.replanner = Replanner()

    def copy(self) -> Lead:
        """A copy that later instructions do not change."""
        twin = Lead(self.told_s)
        twin.told, twin.asked_s, twin.replanner = self.told, self.asked_s, self.replanner.copy()
        return twin

    def tell(self, instruction: Instruction, now_s: float) -> None:
        """This is to be done now."""
        if (instruction.act, instruction.bottle) != (self.told.act, self.told.bottle):
            self.asked_s = now_s
        if instruction != self.told:
            self.told, self.told_s = instruction, now_s

    def sent_on(self, now_s: float) -> None:
        """After a strike that was not understood another bottle is asked for, which it says nothing of."""
        self.asked_s = math.nextafter(now_s, math.inf)

    @property
    def refused(self) -> bool:
        """Whether a refusal at the ceiling is being shown."""
        return self.told.act == "none" and self.told.bottle is not None

    def shown(self, rig: Rig, unclear_s: float | None) -> Instruction:
        """What is to be done. After a strike that was not understood, no air: only another strike."""
        unclear = unclear_s is not None and unclear_s >= self.asked_s
        if not unclear or not self.told.strokes or self.told.bottle is None:
            return self.told
        return strike_again(self.told, rig.bottle(self.told.bottle).note.name)


class Crew:
    """The instructions of all. `turn` is who strikes first, None when all strike as they like."""

    def __init__(self, now_s: float) -> None:
        self.leads = [Lead(now_s)]
        self.turn: int | None = None
        self._turn_s = -math.inf
        self._since_s = now_s
        self._told_apart = False
        self._whole = Replanner()

    def copy(self) -> Crew:
        """As they are now, whatever comes later."""
        twin = Crew(0.0)
        twin.leads = [lead.copy() for lead in self.leads]
        twin._since_s, twin._told_apart = self._since_s, self._told_apart
        twin.turn, twin._turn_s, twin._whole = self.turn, self._turn_s, self._whole.copy()
        return twin

    def resumed(self, now_s: float) -> Crew:
        """The instructions from before the break are given again."""
        for lead in self.leads:
            lead.told_s = now_s
        self._since_s = now_s
        return self

    def gather(self, people: int, now_s: float) -> None:
        """So many people from now on."""
        del self.leads[people:]
        self.leads += [Lead(now_s) for _ in range(people - len(self.leads))]

    # Plans

    def situation(self, at: Moment, person: int) -> Situation:
        """Everything that one person's next step depends on."""
        state = _state(at, person)
        day, plan = at.day, self.plan_of(at, person)
        return Situation(
            at.rig,
            at.beliefs,
            state,
            plan,
            at.now_s,
            day.air,
            day.temp_c,
            frozenset(day.without_gauge),
            Recognising(),
        )

    def plan(self, at: Moment) -> RoundPlan:
        """What is left to do by all hands together."""
        plans = [self.plan_of(at, i) for i in range(len(self.leads))]
        return plans[0] if len(plans) == 1 else side_by_side(plans)

    def plan_of(self, at: Moment, person: int) -> RoundPlan:
        """What one person has still to do."""
        state = _state(at, person)
        plan = self.leads[person].replanner.plan(at.rig, at.beliefs, state, at.now_s, at.newest_id)
        people = at.day.people
        if people is None:
            return plan
        if at.rig.reference.floating and not state.shift_settled and at.day.round is not None:
            whole = self._whole.plan(at.rig, at.beliefs, at.day.round, at.now_s, at.newest_id)
            plan = replace(plan, shift_cents=whole.shift_cents, shift_saves=whole.shift_saves)
        targets = [r.target for i, r in enumerate(people.rounds) if i != person]
        return kept_apart(at.rig, plan, [t for t in targets if t is not None])

    def next_step(self, at: Moment, person: int) -> Event | Instruction:
        """One event to journal before asking again, or a person's instruction."""
        now = self.situation(at, person)
        if now.state.opened.let_down and now.state.closed is None:
            return next_to_let_down(now)
        if not now.plan.listen and self._must_agree(at):
            why = "we hear the rest, then set A4"
            return Instruction("wait", None, None, None, None, why, "Wait")
        return advice.next_step(now)

    def _must_agree(self, at: Moment) -> bool:
        """Whether a floating reference is yet to be settled, which waits until everybody is heard."""
        if at.day.people is None or not at.rig.reference.floating or at.day.people.rounds[0].shift_settled:
            return False
        return bool(self.plan(at).listen)

    # Strikes

    def stations(self, at: Moment) -> list[Station]:
        """Everybody's situation and instruction."""
        return [Station(i, self.situation(at, i), lead.told) for i, lead in enumerate(self.leads)]

    def sent_on(self, before: Sequence[str | None], now_s: float) -> None:
        """After a strike that was not understood: those who are asked for another bottle start afresh."""
        for lead, bottle in zip(self.leads, before, strict=True):
            if lead.told.bottle != bottle:
                lead.sent_on(now_s)

    def take_turns(self, at: Moment) -> None:
        """Settle who strikes first from now on."""
        people = at.day.people
        stations = [] if people is None else self.stations(at)
        turn = None if people is None else whose_turn(people, stations)
        asked = asked_to_strike(stations)
        self._told_apart = turn is not None and not alike(asked[0], asked[1])
        if turn != self.turn:
            # Who was heard just now strikes nothing at once; others may be about to.
            heard = people is not None and self.turn is not None and people.heard_last == self.turn
            self._turn_s = -math.inf if heard else at.now_s
            self._since_s = at.now_s
        self.turn = turn

    def recognise(self, at: Moment, sounded: Reading) -> Recognised:
        """Which bottle was struck, by whom, and what it shows was done."""
        if at.day.people is None:
            return recognise(self.situation(at, 0), self.leads[0].told, sounded)
        turn = self.turn if at.now_s - self._turn_s >= REACTION_S else None
        return recognise_among(self.stations(at), turn, sounded)

    def listening(self, at: Moment) -> Expectation:
        """What the ear should wait for: the bottles of all who are asked to strike."""
        if at.day.round is None:
            return listening_for(None, at.rig, self.leads[0].told)
        if at.day.people is None:
            return listening_for(self.situation(at, 0), at.rig, self.leads[0].told)
        asked = asked_to_strike(self.stations(at)) or self.stations(at)[:1]
        first, *others = (listening_for(s.now, at.rig, s.told) for s in asked)
        return replace(first, beside=others[0]) if others else first

    def shown(self, rig: Rig, day: Day, now_s: float) -> tuple[Instruction, ...]:
        """What each is to do: no air after a strike that was not understood, and no strike out of turn."""
        told = [lead.shown(rig, _unclear_s(day, i)) for i, lead in enumerate(self.leads)]
        if self.turn is not None:
            late = self._told_apart and now_s - max(self._since_s, self.leads[self.turn].asked_s) >= LATE_S
            idle = ("wait", "none")
            told = [
                t if i == self.turn or t.act in idle else held(t, self.turn, late=late)
                for i, t in enumerate(told)
            ]
        return tuple(told if day.people is None else _beside(told, day.people))


def _beside(told: list[Instruction], people: People) -> list[Instruction]:
    """A person with nothing more to do stands by as long as others have work."""
    over = [t.act == "none" and t.bottle is None for t in told]
    if all(over):
        return told
    left = [0 if o else len(r.open_bottles) for o, r in zip(over, people.rounds, strict=True)]
    return [stand_by(t, r, left) if o else t for t, o, r in zip(told, over, people.rounds, strict=True)]


def _state(at: Moment, person: int) -> RoundState:
    state = at.day.of(person).round
    assert state is not None
    return state


def _unclear_s(day: Day, person: int) -> float | None:
    """When a strike was not understood that may have been a person's."""
    if day.people is not None:
        return day.people.unclear_s[person]
    heard = day.reading
    understood = heard is None or heard.verdict not in NOT_UNDERSTOOD
    newest_s = day.doubted_s if heard is None or understood else max(heard.at_s, day.doubted_s)
    return newest_s if math.isfinite(newest_s) else None


def shared_out(rig: Rig, beliefs: Beliefs, opened: RoundOpened, people: int) -> RoundOpened:
    """A round that begins, its bottles shared out among people as a plan of now would.

    Raises:
        BadInput: the rig has fewer pumps than people.
    """
    asked = asked_of(rig, begin(opened), opened.at_s)
    return replace(opened, shares=bottles_of_each(rig, beliefs, asked, people))


def held(told: Instruction, first: int, *, late: bool = False) -> Instruction:
    """The same work, but the strike waits for somebody else's; not for ever when that one is late."""
    if not told.then_strike:
        return told
    why = f"person {first + 1} goes first{'. No strike? Go when it is quiet' if late else ''}"
    if told.act == "strike":
        return replace(told, act="wait", why=why, headline="Wait")
    return replace(told, why=f"{why}, then you; {told.why}" if told.why else why)


def stand_by(told: Instruction, mine: RoundState, left: Sequence[int]) -> Instruction:
    """Nothing more for this person, while others (by number, with what is left to each) work on.

    Args:
        told: that there is nothing to do.
        mine: their own round.
        left: bottles left to each person.
    """
    why = told.why
    if not mine.opened.needed:
        why = "nothing for you this round"
    elif not mine.open_bottles:
        skipped = in_words(list(mine.skipped))
        why = f"your others hold; left out: {skipped}" if mine.skipped else "yours hold"
    others = ", ".join(f"{n} left with person {i}" for i, n in enumerate(left, 1) if n)
    return replace(told, why=f"{why}. {others}", headline="Wait")


def kept_apart(rig: Rig, plan: RoundPlan, elsewhere: Sequence[str]) -> RoundPlan:
    """The same plan, with bottles near in pitch to those others work on put last where nothing hurries."""

    def near(bottle_id: str) -> bool:
        hz = rig.target_hz(bottle_id)
        return any(abs(cents(hz, rig.target_hz(other))) < NEAR_CENTS for other in elsewhere)

    listen = tuple(sorted(plan.listen, key=near))
    hurry = plan.finish_before_downbeat_s is not None
    visits = plan.visits if hurry else tuple(sorted(plan.visits, key=lambda v: near(v.bottle)))
    return replace(plan, listen=listen, visits=visits)
