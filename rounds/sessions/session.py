"""A session: a record, its round, and the player's acts.

Every act becomes an event that is in the journal before anything else changes (`rounds.sessions.record`). The
session reads no clock: each call brings `at_s`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.events import Event, NoteWritten, Part, Replaced, Skipped, SteppedBack, Strike
from rounds.guide.instructions import idle, no_round
from rounds.instruction import Instruction
from rounds.recognising.recognition import checked, in_play
from rounds.sessions import acts
from rounds.sessions.closing import closing
from rounds.sessions.crew import shared_out
from rounds.sessions.led import Led
from rounds.sessions.undoing import Act, Stood

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.guide.round import RoundState
    from rounds.hearing.reading import Reading
    from rounds.journal import Log
    from rounds.rig import Rig
    from rounds.sessions.resuming import Progress

REFUSAL_HOLD_S = 10.0
"""A refusal at the ceiling is shown this long before the round goes on without a strike."""
CLOSE_AFTER_S = 60.0
"""A finished round without a downbeat closes by itself after this long without a strike."""
_MOST_STEPS = 64
NO_WAY = "no way forward was found, so tune it by hand"


class Session(Led):
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
        super().__init__(rig, log, at_s, place, unseen_s, progress, zero_s)
        self.listen_in_play = False
        self.ear_words = ""
        self._settle()

    # What follows by itself

    def _settle(self) -> None:
        """Journal what follows by itself, until there is something for everybody to do."""
        self._hands.gather(self.people, self._now_s)
        for person in range(self.people):
            self._settle_one(person)
        self._hands.take_turns(self._moment)

    def _settle_one(self, person: int) -> None:
        lead = self._hands.leads[person]
        for _ in range(_MOST_STEPS):
            if self.day.round is None:
                lead.tell(no_round(self.day.heads), self._now_s)
                return
            step = self._hands.next_step(self._moment, person)
            if isinstance(step, Instruction):
                lead.tell(step, self._now_s)
                return
            self._record(step)
        self._pass_over(person)

    def _pass_over(self, person: int) -> None:
        """No end of going to and fro: leave the bottle out rather than leave the player without a word."""
        state = self.day.of(person).round
        target = None if state is None else state.target
        if target is not None:
            self._record(Skipped(at_s=self._now_s, bottle=target, reason=NO_WAY))
        told = idle(f"{target or 'the round'}: {NO_WAY}", "By hand")
        self._hands.leads[person].tell(told, self._now_s)

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
    ) -> None:
        """Begin a round for some pieces (all bottles when none is named).

        Raises:
            BadInput: a round is open already, a piece is not in the rig, the block is longer than a day, or
                the rig has fewer pumps than people.
        """
        now_s = self._at(at_s)
        opened = acts.round_opened(self.rig, self.day, now_s, downbeat_s, block_s, temp_c, pieces)
        opened = shared_out(self.rig, self.beliefs, opened, people)
        before = [] if temp_c is None else [acts.temperature(temp_c, "hand", now_s)]
        self._do(*before, opened)

    def close_round(self, at_s: float) -> None:
        """End the open round; nothing happens when none is open."""
        now_s = self._at(at_s)
        state = self.day.round
        if state is None:
            return
        self._record(closing(self.rig, self.beliefs, state, now_s))
        self._settle()

    def tick(self, at_s: float) -> None:
        """Time passed and nothing else: a refusal ends, a finished round closes, time may run short."""
        now_s = self._at(at_s)
        state = self.day.round
        if state is None:
            return
        leads = self._hands.leads
        refused = [lead for lead in leads if lead.refused]
        if any(now_s - lead.told_s >= REFUSAL_HOLD_S for lead in refused):
            self._leave_refused()
        elif any(lead.told.act == "wait" for lead in leads):
            self._settle()
        elif not refused and all(lead.told.act == "none" for lead in leads):
            self._close_when_over(state, now_s)

    def _close_when_over(self, state: RoundState, now_s: float) -> None:
        downbeat_s = state.opened.downbeat_s
        told_s = max(lead.told_s for lead in self._hands.leads)
        over_s = told_s + CLOSE_AFTER_S if downbeat_s is None else downbeat_s
        if now_s >= over_s:
            self.close_round(now_s)
        elif downbeat_s is not None or self.plan().listen or self.plan().visits:
            self._settle()

    def _leave_refused(self) -> None:
        for lead in self._hands.leads:
            if lead.refused and lead.told.bottle is not None:
                self._record(Skipped(at_s=self._now_s, bottle=lead.told.bottle, reason=lead.told.why))
        self._settle()

    # Strikes

    def strike(self, at_s: float, sounded: Reading) -> Strike | None:
        """A strike was heard. Returns it as journalled; None when nobody was listening.

        Raises:
            BadInput: a pitch or uncertainty that cannot be.
        """
        checked(sounded)
        self._at(at_s)
        if self.day.round is None or self.day.take is not None:
            return self._strike_in_play(sounded)
        if any(lead.refused for lead in self._hands.leads):
            self._leave_refused()
        self._open_state()
        found = self._hands.recognise(self._moment, sounded)
        act = self._act(found.strike)
        self.ear_words = found.words
        self._record(*found.assumed, found.strike, act=act)
        if found.strike.verdict == "clear":
            self._settle()
        else:
            self._hands.take_turns(self._moment)
        return found.strike

    def _strike_in_play(self, sounded: Reading) -> Strike | None:
        heard = in_play(self.rig, self.beliefs, self._now_s, sounded) if self.listen_in_play else None
        if heard is not None:
            self._record(heard)
        return heard

    # The player's acts

    def _do(self, *events: Event) -> None:
        self._record(*events, act=self._act(events[-1]) if events else None)
        self._settle()

    def _act(self, event: Event) -> Act:
        return Act(event, Stood(self._hands.copy(), self.ear_words))

    def undo(self, at_s: float) -> str:
        """Take back the last act of this round, or since the last one, and what came of it; what it was.

        Raises:
            BadInput: there is none, or a take runs.
        """
        self._at(at_s)
        act = self._take_back()
        self._hands, self.ear_words = act.stood.hands.resumed(self._now_s), act.stood.ear_words
        self._settle()
        owner = None if self.day.people is None else self.day.people.owner(act.bottle)
        return act.words if owner is None else f"{act.words} (person {owner + 1})"

    def _asked_for(self) -> str:
        return acts.asked_for(self._own_day, self._told)

    def pump(self, on: bool, at_s: float) -> None:
        """The pump head went onto the bottle asked for, or came off.

        Raises:
            BadInput: no bottle is asked for.
        """
        now_s = self._at(at_s)
        if on:
            self._do(*acts.head_on(self.rig, self._own_day, self._asked_for(), now_s))
        else:
            self._do(*acts.head_off(self.rig, self._own_day, now_s))

    def air(self, strokes: float, at_s: float) -> None:
        """Air went in (positive) or out (negative) of the bottle asked for.

        Raises:
            BadInput: not a sensible count, or no bottle is asked for.
        """
        self._do(*acts.air_moved(self.rig, self._own_day, self._told, strokes, self._at(at_s)))

    def temperature(self, temp_c: float, at_s: float, source: str = "hand") -> None:
        """The air temperature.

        Raises:
            BadInput: outside -30 to 60 degrees Celsius.
        """
        self._do(acts.temperature(temp_c, source, self._at(at_s)))

    def gauge(self, psi: float, at_s: float, bottle: str | None = None) -> None:
        """A pressure gauge was read on a bottle (the one asked for, unless another is named).

        Raises:
            BadInput: no such bottle, or not a pressure.
        """
        bottle_id = acts.known(self.rig, bottle or self._asked_for())
        self._do(acts.gauge(bottle_id, psi, self._at(at_s)))

    def gauge_typed(self, text: str, at_s: float, bottle: str | None = None) -> None:
        """What was typed of a gauge: a pressure in any of its units, or that there is none.

        Raises:
            BadInput: no such bottle, or not a pressure.
        """
        bottle_id = acts.known(self.rig, bottle or self._asked_for())
        self._do(acts.gauge_typed(self.rig, bottle_id, text, self._at(at_s)))

    def skip(self, at_s: float) -> None:
        """Leave the bottle asked for out of this round."""
        self._do(Skipped(at_s=self._at(at_s), bottle=self._asked_for()))

    def back(self, at_s: float) -> None:
        """Go back to the bottle before this one and hear it again."""
        self._do(acts.stepped_back(self.rig, self._own_day, self._at(at_s)))

    def repeat(self, at_s: float) -> None:
        """Hear the bottle asked for once more."""
        self._do(SteppedBack(at_s=self._at(at_s), bottle=self._asked_for()))

    def note(self, text: str, at_s: float, bottle: str | None = None) -> None:
        """Write something down."""
        self._record(note := NoteWritten(at_s=self._at(at_s), text=text, bottle=bottle), act=self._act(note))

    def replaced(self, bottle_id: str, part: Part, at_s: float) -> None:
        """A cap or a bottle was replaced: a new history begins.

        Raises:
            BadInput: the rig has no such bottle.
        """
        self._do(Replaced(at_s=self._at(at_s), bottle=acts.known(self.rig, bottle_id), part=part))
