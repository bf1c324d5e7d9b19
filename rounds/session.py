"""A session: a record, its round, and the player's acts.

Every act becomes an event that is in the journal before anything else changes (`rounds.record`). The
session reads no clock: each call brings `at_s`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds import acts, advice
from rounds.closing import closing, pressures_told
from rounds.drift import Due, Worst, due, worst_in
from rounds.errors import BadInput
from rounds.events import Event, NoteWritten, Part, Replaced, Skipped, SteppedBack, Strike
from rounds.instructions import idle, strike_again
from rounds.recognition import Listening, Sounded, checked, in_play, listening_for, recognise
from rounds.record import Record
from rounds.replanning import REPLAN_S, Replanner
from rounds.situation import Situation
from rounds.undoing import Act, Stood
from rounds.view import Instruction

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.journal import Log
    from rounds.planning import RoundPlan
    from rounds.resuming import Progress
    from rounds.rig import Rig
    from rounds.round import RoundState

REFUSAL_HOLD_S = 10.0
"""A refusal at the ceiling is shown this long before the round goes on without a strike."""
CLOSE_AFTER_S = 60.0
"""A finished round without a downbeat closes by itself after this long without a strike."""
TAKE_AHEAD_S = 60.0
"""What is foreseen at the start of a take, whose length nobody knows yet."""
_MOST_STEPS = 64
NOT_UNDERSTOOD = frozenset({"quiet", "two_ringing", "unclear", "other_bottle"})
"""Verdicts after which it is not known whether the air that was asked for has gone in."""
NO_WAY = "no way forward was found, so tune it by hand"


class Session(Record):
    """One player's session on one rig."""

    def __init__(
        self,
        rig: Rig,
        log: Log,
        at_s: float,
        *,
        place: str | None = None,
        unseen_s: float = 0.0,
        progress: Progress = lambda _done, _all: None,
    ) -> None:
        """Take up a session, or begin one.

        Args:
            rig: the instrument.
            log: its journal.
            at_s: what the machine's clock shows. Where the journal is later, time goes on from `now_s`.
            place: where it is played.
            unseen_s: what has passed since the journal's last event when the clock cannot tell and no
                round or take is open.
            progress: told how many events of a long journal are worked through, and of how many.
        """
        super().__init__(rig, log, at_s, place, unseen_s, progress)
        self.listen_in_play = False
        self.ear_words = ""
        self._replanner = Replanner()
        self._told: Instruction = idle("no round is open")
        self._told_s = self._asked_s = self._now_s
        self._due_key: tuple[int, int] | None = None
        self._due: Due | None = None
        self._settle()

    # Plan and instruction

    @property
    def round(self) -> RoundState | None:
        """The open round, if any."""
        return self.day.round

    @property
    def instruction(self) -> Instruction:
        """What the player is to do now. After a strike that was not clear, no air: only another strike."""
        heard = self.day.reading
        unclear = heard is not None and heard.verdict in NOT_UNDERSTOOD and heard.at_s >= self._asked_s
        if not unclear or not self._told.strokes or self._told.bottle is None:
            return self._told
        return strike_again(self._told, self.rig.bottle(self._told.bottle).note.name)

    def plan(self) -> RoundPlan:
        """The plan of the open round as it stands now.

        Raises:
            BadInput: no round is open.
        """
        state = self._open_state()
        return self._replanner.plan(self.rig, self.beliefs, state, self._now_s, self.newest_id)

    def _situation(self, state: RoundState) -> Situation:
        told = pressures_told(self.rig, self.day, self._now_s)
        return Situation(self.rig, self.beliefs, state, self.plan(), self._now_s, told)

    def _open_state(self) -> RoundState:
        if self.day.round is None:
            raise BadInput("no round is open; open one first")
        return self.day.round

    def _settle(self) -> None:
        """Journal what follows by itself, until there is something for the player to do."""
        for _ in range(_MOST_STEPS):
            if self.day.round is None:
                self._tell(idle("no round is open"))
                return
            step = advice.next_step(self._situation(self.day.round))
            if isinstance(step, Instruction):
                self._tell(step)
                return
            self._record(step)
        self._pass_over()

    def _pass_over(self) -> None:
        """No end of going to and fro: leave the bottle out rather than leave the player without a word."""
        state = self._open_state()
        if state.target is not None:
            self._record(Skipped(at_s=self._now_s, bottle=state.target, reason=NO_WAY))
        self._tell(idle(f"{state.target or 'the round'}: {NO_WAY}", "By hand"))

    def _tell(self, instruction: Instruction) -> None:
        if (instruction.act, instruction.bottle) != (self._told.act, self._told.bottle):
            self._asked_s = self._now_s
        if instruction != self._told:
            self._told, self._told_s = instruction, self._now_s

    # Rounds

    def open_round(
        self,
        at_s: float,
        *,
        downbeat_s: float | None = None,
        block_s: float | None = None,
        temp_c: float | None = None,
        pieces: Sequence[str] = (),
    ) -> None:
        """Begin a round for some pieces (all bottles when none is named).

        Raises:
            BadInput: a round is open already, a piece is not in the rig, or the block is longer than a day.
        """
        now_s = self._at(at_s)
        opened = acts.round_opened(self.rig, self.day, now_s, downbeat_s, block_s, temp_c, pieces)
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
        if self._refused() and now_s - self._told_s >= REFUSAL_HOLD_S:
            self._leave_refused()
        elif self._told.act == "wait":
            self._settle()
        elif self._told.act == "none":
            self._close_when_over(state, now_s)

    def _close_when_over(self, state: RoundState, now_s: float) -> None:
        downbeat_s = state.opened.downbeat_s
        over_s = self._told_s + CLOSE_AFTER_S if downbeat_s is None else downbeat_s
        if now_s >= over_s:
            self.close_round(now_s)
        elif self.plan().listen or self.plan().visits:
            self._settle()

    def _refused(self) -> bool:
        return self._told.act == "none" and self._told.bottle is not None

    def _leave_refused(self) -> None:
        assert self._told.bottle is not None
        self._record(Skipped(at_s=self._now_s, bottle=self._told.bottle, reason=self._told.why))
        self._settle()

    # Strikes

    def strike(self, at_s: float, sounded: Sounded) -> Strike | None:
        """A strike was heard. Returns it as journalled; None when nobody was listening.

        Raises:
            BadInput: a pitch or uncertainty that cannot be.
        """
        checked(sounded)
        self._at(at_s)
        if self.day.round is None or self.day.take is not None:
            return self._strike_in_play(sounded)
        if self._refused():
            self._leave_refused()
        found = recognise(self._situation(self._open_state()), self._told, sounded)
        act = self._act(found.strike)
        self.ear_words = found.words
        self._record(*found.assumed, found.strike, act=act)
        if found.strike.verdict == "clear":
            self._settle()
        return found.strike

    def _strike_in_play(self, sounded: Sounded) -> Strike | None:
        heard = in_play(self.rig, self.beliefs, self._now_s, sounded) if self.listen_in_play else None
        if heard is not None:
            self._record(heard)
        return heard

    def listening(self) -> Listening:
        """What the ear should wait for now."""
        state = self.day.round
        situation = None if state is None else self._situation(state)
        return listening_for(situation, self.rig, self._told)

    # The player's acts

    def _do(self, *events: Event) -> None:
        self._record(*events, act=self._act(events[-1]) if events else None)
        self._settle()

    def _act(self, event: Event) -> Act:
        return Act(event, Stood(self._told, self._asked_s, self.ear_words, self._replanner.copy()))

    def undo(self, at_s: float) -> str:
        """Take back the last act of this round, or since the last one, and what came of it; what it was.

        Raises:
            BadInput: there is none, or a take runs.
        """
        self._at(at_s)
        act = self._take_back()
        self._told, self._asked_s, self._told_s = act.stood.told, act.stood.asked_s, self._now_s
        self.ear_words, self._replanner = act.stood.ear_words, act.stood.replanner
        self._settle()
        return act.words

    def _asked_for(self) -> str:
        return acts.asked_for(self.day, self._told)

    def pump(self, on: bool, at_s: float) -> None:
        """The pump head went onto the bottle asked for, or came off.

        Raises:
            BadInput: no bottle is asked for.
        """
        now_s = self._at(at_s)
        if on:
            self._do(*acts.head_on(self.rig, self.day, self._asked_for(), now_s))
        else:
            self._do(*acts.head_off(self.rig, self.day, now_s))

    def air(self, strokes: float, at_s: float) -> None:
        """Air went in (positive) or out (negative) of the bottle asked for.

        Raises:
            BadInput: not a sensible count, or no bottle is asked for.
        """
        self._do(*acts.air_moved(self.rig, self.day, self._told, strokes, self._at(at_s)))

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

    def skip(self, at_s: float) -> None:
        """Leave the bottle asked for out of this round."""
        self._do(Skipped(at_s=self._at(at_s), bottle=self._asked_for()))

    def back(self, at_s: float) -> None:
        """Go back to the bottle before this one and hear it again."""
        self._do(acts.stepped_back(self.rig, self.day, self._at(at_s)))

    def repeat(self, at_s: float) -> None:
        """Hear the bottle asked for once more."""
        self._do(SteppedBack(at_s=self._at(at_s), bottle=self._asked_for()))

    def note(self, text: str, at_s: float, bottle: str | None = None) -> None:
        """Write something down."""
        self._record(note := NoteWritten(at_s=self._at(at_s), text=text, bottle=bottle), act=self._act(note))

    def start_take(self, at_s: float, name: str | None = None) -> None:
        """A take runs from now on; nothing happens when one runs already."""
        now_s = self._at(at_s)
        if self.day.take is None:
            seen = self._worst(now_s, now_s + TAKE_AHEAD_S)
            self._record(acts.take_started(name or f"take {self.day.takes + 1}", seen, now_s))

    def stop_take(self, at_s: float) -> None:
        """The cut; nothing happens when no take runs."""
        now_s, take = self._at(at_s), self.day.take
        if take is not None:
            self._record(acts.take_stopped(take.take, self._worst(take.at_s, now_s), now_s))

    def _worst(self, start_s: float, end_s: float) -> Worst:
        return worst_in(self.rig, self.beliefs, self.needed, start_s, end_s, self.day.shift_cents)

    def replaced(self, bottle_id: str, part: Part, at_s: float) -> None:
        """A cap or a bottle was replaced: a new history begins.

        Raises:
            BadInput: the rig has no such bottle.
        """
        self._do(Replaced(at_s=self._at(at_s), bottle=acts.known(self.rig, bottle_id), part=part))

    # What is due

    def due(self, at_s: float) -> Due:
        """When the next round should start, and why."""
        now_s = self._at(at_s)
        key = (self.newest_id, int(now_s // REPLAN_S))
        if self._due is None or key != self._due_key:
            limit = self.rig.habits.due_limit
            self._due = due(self.rig, self.beliefs, self.awaited, now_s, limit, self.day.shift_cents)
            self._due_key = key
        return self._due
