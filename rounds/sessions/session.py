"""A session: it has a record, and a crew that it leads through rounds by what the players do and strike.

Every act becomes an event that is in the journal before anything else changes (`rounds.sessions.record`). The
session reads no clock: each call brings `at_s`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.events import Event, Skipped, SteppedBack, Strike, ToldEmpty
from rounds.guide.instructions import idle, no_round
from rounds.instruction import Instruction
from rounds.recognising.recognition import checked, in_play
from rounds.sessions import acts, rails
from rounds.sessions.closing import closing
from rounds.sessions.crew import Crew, shared_out
from rounds.sessions.looking import Looking
from rounds.sessions.record import Record
from rounds.sessions.replanning import DueKeeper
from rounds.sessions.telling import Telling
from rounds.sessions.undoing import PlayerAct, Stood

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.belief import Beliefs
    from rounds.forecast.calling import Call
    from rounds.forecast.drift import Due
    from rounds.guide.round import RoundState
    from rounds.hearing.reading import Expectation, Reading
    from rounds.journal import Log
    from rounds.planning import RoundPlan
    from rounds.rig import Rig
    from rounds.sessions.day import Day
    from rounds.sessions.resuming import Progress

REFUSAL_HOLD_S = 10.0
"""A refusal at the ceiling is shown this long before the round goes on without a strike."""
CLOSE_AFTER_S = 60.0
"""A finished round without a downbeat closes by itself after this long without a strike."""
_MOST_STEPS = 64
NO_WAY = "no way forward was found, so tune it by hand"


class Session(Telling):
    """A session on one rig: one person's, or that of several who tune at once."""

    def __init__(
        self,
        rig: Rig,
        log: Log,
        at_s: float,
        *,
        place: str | None = None,
        unseen_s: float = 0.0,
        zero_s: float | None = None,
        progress: Progress = lambda _done, _all: None,
    ) -> None:
        """Take up a session, or begin one.

        Args:
            rig: the instrument.
            log: its journal.
            at_s: what the machine's clock shows. Where the journal is later, time goes on from `now_s`.
            place: where it is played; where a session that was killed goes on, that one's.
            unseen_s: what has passed since the journal's last event when the clock cannot tell and no
                round or take is open.
            zero_s: when its own clock shows 0, where lines bring the time.
            progress: told how many events of a long journal are worked through, and of how many.
        """
        self.record = Record(rig, log, at_s, place, unseen_s, progress, zero_s)
        self.crew = Crew(self.now_s)
        self._due = DueKeeper()
        self._looking = Looking()
        if self.day.round is not None:
            self._looking.look(rig, log, self.now_s, self.day.round.opened)
        self.hand = 0
        """The person who has the keys: 0 for the first, or the only one."""
        self.listen_in_play = False
        self.ear_words = ""
        self._settle()

    # What is recorded

    @property
    def rig(self) -> Rig:
        """The instrument."""
        return self.record.rig

    @property
    def beliefs(self) -> Beliefs:
        """What is believed of its bottles."""
        return self.record.beliefs

    @property
    def day(self) -> Day:
        """The state of the day."""
        return self.record.day

    @property
    def now_s(self) -> float:
        """The newest time of this session."""
        return self.record.now_s

    # Who is led, and what each is told

    @property
    def round(self) -> RoundState | None:
        """The open round, if any: all hands together."""
        return self.day.round

    @property
    def people(self) -> int:
        """How many tune in the open round; one when none is open."""
        return 1 if self.day.people is None else len(self.day.people.rounds)

    @property
    def instruction(self) -> Instruction:
        """The instruction of the person who has the keys."""
        return self.instructions[self._person]

    @property
    def instructions(self) -> tuple[Instruction, ...]:
        """What each is to do now. After a strike that was not clear, no air: only another strike."""
        return tuple(map(self._looking.said_with, self.crew.shown(self.rig, self.day, self.now_s)))

    @property
    def pump_on(self) -> str | None:
        """The bottle that the pump head is on of the person who has the keys."""
        return self._own_day.pump_on

    @property
    def turn(self) -> int | None:
        """Who strikes first, the others holding their strike; None when all strike as they like."""
        return self.crew.turn

    @property
    def _person(self) -> int:
        return self.hand if self.hand < self.people else 0

    def other_hand(self) -> None:
        """The keys are another person's from now on.

        Raises:
            BadInput: one person tunes alone.
        """
        if self.people < 2:
            raise BadInput("one person tunes alone; --people 2 leads two")
        self.hand = (self._person + 1) % self.people

    def plan(self) -> RoundPlan:
        """The plan of the open round as it is now, of all people together.

        Raises:
            BadInput: no round is open.
        """
        self._open_state()
        return self.crew.plan(self.record.moment)

    def plan_of(self, person: int) -> RoundPlan:
        """What one of several people has still to do."""
        return self.crew.plan_of(self.record.moment, person)

    def _open_state(self) -> RoundState:
        if self.day.round is None:
            raise BadInput("no round is open; open one first")
        return self.day.round

    def listening(self) -> Expectation:
        """What the ear should wait for now."""
        return self.crew.listening(self.record.moment)

    @property
    def _own_day(self) -> Day:
        """The day as the person sees it who has the keys."""
        return self.day.of(self._person)

    # What follows by itself

    def _settle(self) -> None:
        """Journal what follows by itself, until there is something for everybody to do."""
        self.crew.gather(self.people, self.now_s)
        for person in range(self.people):
            self._settle_one(person)
        self.crew.take_turns(self.record.moment)

    def _settle_one(self, person: int) -> None:
        lead = self.crew.leads[person]
        for _ in range(_MOST_STEPS):
            if self.day.round is None:
                lead.tell(no_round(self.day.heads), self.now_s)
                return
            step = self.crew.next_step(self.record.moment, person)
            if isinstance(step, Instruction):
                lead.tell(step, self.now_s)
                return
            self.record.write(step)
        self._pass_over(person)

    def _pass_over(self, person: int) -> None:
        """No end of going to and fro: leave the bottle out rather than leave the player without a word."""
        state = self.day.of(person).round
        target = None if state is None else state.target
        if target is not None:
            self.record.write(Skipped(at_s=self.now_s, bottle=target, reason=NO_WAY))
        told = idle(f"{target or 'the round'}: {NO_WAY}", "By hand")
        self.crew.leads[person].tell(told, self.now_s)

    # Rounds

    def open_round(
        self,
        at_s: float,
        *,
        downbeat_s: float | None = None,
        block_s: float | None = None,
        temp_c: float | None = None,
        pieces: Sequence[str] = (),
        people: int = 1,
        empty: bool | Sequence[str] = False,
    ) -> None:
        """Begin a round for some pieces (all bottles when none is named); those `empty` are filled first.

        Raises:
            BadInput: a round is open already, a piece or an empty bottle is not in the rig, the block is
                longer than a day, or the rig has fewer pumps than people.
        """
        now_s = self.record.at(at_s)
        opened = acts.round_opened(self.rig, self.day, now_s, downbeat_s, block_s, temp_c, pieces)
        opened = shared_out(self.rig, self.beliefs, opened, people)
        self._looking.look(self.rig, self.record.log, now_s)
        self._looking.expected = rails.expected_now(self.beliefs, now_s)
        before = [] if temp_c is None else [acts.temperature(temp_c, "hand", now_s)]
        named = acts.all_empty(self.rig, self.day, opened.needed, empty)
        after = [ToldEmpty(at_s=now_s, bottles=named)] if named else []
        self._do(*before, *acts.without_absent(self.day, opened), *after)

    def are_empty(self, at_s: float, bottles: bool | Sequence[str] = True) -> None:
        """Bottles of the open round hold no air: all unheard, or those named (BadInput: none could be)."""
        now_s, state = self.record.at(at_s), self._open_state()
        self._do(ToldEmpty(at_s=now_s, bottles=acts.found_empty(self.rig, state, bottles)))

    def close_round(self, at_s: float) -> None:
        """End the open round; nothing happens when none is open."""
        now_s = self.record.at(at_s)
        state = self.day.round
        if state is None:
            return
        self.record.write(closing(self.rig, self.beliefs, state, now_s))
        self._settle()

    def tick(self, at_s: float) -> None:
        """Time passed and nothing else: a refusal ends, a finished round closes, time may run short."""
        now_s = self.record.at(at_s)
        state = self.day.round
        if state is None:
            return
        leads = self.crew.leads
        refused = [lead for lead in leads if lead.refused]
        if any(now_s - lead.told_s >= REFUSAL_HOLD_S for lead in refused):
            self._leave_refused()
        elif any(lead.told.act == "wait" for lead in leads):
            self._settle()
        elif not refused and all(lead.told.act == "none" for lead in leads):
            self._close_when_over(state, now_s)

    def _close_when_over(self, state: RoundState, now_s: float) -> None:
        downbeat_s = state.opened.downbeat_s
        told_s = max(lead.told_s for lead in self.crew.leads)
        over_s = told_s + CLOSE_AFTER_S if downbeat_s is None else downbeat_s
        if now_s >= over_s:
            self.close_round(now_s)
        elif downbeat_s is not None or self.plan().listen or self.plan().visits:
            self._settle()

    def _leave_refused(self) -> None:
        for lead in self.crew.leads:
            if lead.refused and lead.told.bottle is not None:
                self.record.write(Skipped(at_s=self.now_s, bottle=lead.told.bottle, reason=lead.told.why))
        self._settle()

    # Takes

    def start_take(self, at_s: float, name: str | None = None) -> None:
        """A take runs from now on; nothing happens when one runs already."""
        now_s = self.record.at(at_s)
        if self.day.take is None:
            seen = self.record.worst(now_s, now_s + acts.TAKE_AHEAD_S)
            self.record.write(acts.take_started(name or f"take {self.day.takes + 1}", seen, now_s))

    def stop_take(self, at_s: float) -> None:
        """The cut; nothing happens when no take runs."""
        now_s, take = self.record.at(at_s), self.day.take
        if take is not None:
            self.record.write(acts.take_stopped(take.take, self.record.worst(take.at_s, now_s), now_s))

    @property
    def rail_words(self) -> str:
        """That the bottles of one rail read warmer than the others together; else nothing."""
        state = self.day.round
        if state is None or self.day.temp_c is None:
            return ""
        found = rails.warmer_rail(self.rig, self.beliefs, state, self._looking.expected)
        return "" if found is None else rails.in_words(*found)

    def due(self, at_s: float) -> Due:
        """When the next round should start, and why."""
        self.record.at(at_s)
        return self._due.due(self.record.moment, self.record.awaited)

    def call(self, at_s: float) -> Call:
        """Whether to call the players."""
        self.record.at(at_s)
        return self._due.call(self.record.moment, self.record.awaited)

    # Strikes

    def strike(self, at_s: float, sounded: Reading) -> Strike | None:
        """A strike was heard. Returns it as journalled; None when nobody was listening.

        Raises:
            BadInput: a pitch or uncertainty that cannot be.
        """
        checked(sounded)
        self.record.at(at_s)
        if self.day.round is None or self.day.take is not None:
            return self._strike_in_play(sounded)
        if any(lead.refused for lead in self.crew.leads):
            self._leave_refused()
        self._open_state()
        found = self.crew.recognise(self.record.moment, sounded)
        clear = found.strike.verdict == "clear"
        act = self._act(found.strike if clear or not found.assumed else found.assumed[0])
        self.ear_words = found.words
        self.record.write(*found.assumed, found.strike, act=act)
        weary = self.day.people is None or any(r.tired for r in self.day.people.rounds)
        if clear or found.assumed or weary:
            before = [lead.told.bottle for lead in self.crew.leads]
            self._settle()
            if not clear:
                self.crew.sent_on(before, self.now_s)
        else:
            self.crew.take_turns(self.record.moment)
        return found.strike

    def _strike_in_play(self, sounded: Reading) -> Strike | None:
        heard = in_play(self.rig, self.beliefs, self.now_s, sounded) if self.listen_in_play else None
        if heard is not None:
            self.record.write(heard)
        return heard

    # The player's acts

    def _do(self, *events: Event) -> None:
        self.record.write(*events, act=self._act(events[-1]) if events else None)
        self._settle()

    def _act(self, event: Event) -> PlayerAct:
        return PlayerAct(event, Stood(self.crew.copy(), self.ear_words))

    def undo(self, at_s: float) -> str:
        """Take back the last act of this round, or since the last one, and what came of it; what it was.

        Raises:
            BadInput: there is none, or a take runs.
        """
        self.record.at(at_s)
        act = self.record.take_back()
        self.crew, self.ear_words = act.stood.crew.resumed(self.now_s), act.stood.ear_words
        self._settle()
        owner = None if self.day.people is None else self.day.people.owner(act.bottle)
        return act.words if owner is None else f"{act.words} (person {owner + 1})"

    def _asked_for(self) -> str:
        return acts.asked_for(self._own_day, self.crew.leads[self._person].told)

    def pump(self, on: bool, at_s: float) -> None:
        """The pump head went onto the bottle asked for, or came off.

        Raises:
            BadInput: no bottle is asked for.
        """
        now_s = self.record.at(at_s)
        if on:
            self._do(*acts.head_on(self.rig, self._own_day, self._asked_for(), now_s))
        else:
            self._do(*acts.head_off(self.rig, self._own_day, now_s))

    def air(self, strokes: float, at_s: float) -> None:
        """Air went in (positive) or out (negative) of the bottle asked for.

        Raises:
            BadInput: not a sensible count, or no bottle is asked for.
        """
        told = self.crew.leads[self._person].told
        self._do(*acts.air_moved(self.rig, self._own_day, told, strokes, self.record.at(at_s)))

    def done(self, at_s: float) -> None:
        """What is asked for was done, by a key or a pedal: air that makes no tone, a head that came off.

        Raises:
            BadInput: a strike, a gauge or nothing is asked for.
        """
        now_s, told, day = self.record.at(at_s), self.instruction, self._own_day
        self._do(*acts.as_told(self.rig, day, told, now_s))

    def skip(self, at_s: float) -> None:
        """Leave the bottle asked for out of this round."""
        self._do(Skipped(at_s=self.record.at(at_s), bottle=self._asked_for()))

    def back(self, at_s: float) -> None:
        """Go back to the bottle before this one and hear it again."""
        self._do(acts.stepped_back(self.rig, self._own_day, self.record.at(at_s)))

    def repeat(self, at_s: float) -> None:
        """Hear the bottle asked for once more."""
        self._do(SteppedBack(at_s=self.record.at(at_s), bottle=self._asked_for()))
