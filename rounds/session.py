"""A session: the journal, the beliefs folded from it, the round, and the player's acts.

Every act becomes an event that is in the journal before anything else changes; beliefs and the day
are folds over those events, so a killed session stands where it stood when it is started again.
The session reads no clock: each call brings `at_s` (UTC epoch seconds), and a time that runs
backwards is taken as no time passed.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds import advice
from rounds.air import LEAST_AIR_C, MOST_AIR_C, psi_to_kpa
from rounds.closing import closing, gauges_kpa
from rounds.drift import Due, Worst, due, worst_in
from rounds.errors import BadInput
from rounds.events import (
    AirMoved,
    Connected,
    Disconnected,
    Event,
    Gauge,
    NoteWritten,
    Part,
    Replaced,
    RoundOpened,
    SessionStarted,
    Skipped,
    SteppedBack,
    Strike,
    TakeStarted,
    TakeStopped,
    Temperature,
)
from rounds.instructions import idle
from rounds.planning import RoundPlan, plan_round
from rounds.recognition import Listening, Sounded, checked, listening_for, of_any, recognise
from rounds.resuming import keep_both, take_up
from rounds.situation import Situation
from rounds.view import Instruction

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.journal import Log
    from rounds.rig import Piece, Rig
    from rounds.round import RoundState

REPLAN_S = 15.0
"""A plan is made anew after this long even when nothing happened: the clock alone can make time short."""
REFUSAL_HOLD_S = 10.0
"""A refusal at the ceiling is shown this long before the round goes on without a strike."""
CLOSE_AFTER_S = 60.0
"""A finished round without a downbeat closes by itself after this long without a strike."""
TAKE_AHEAD_S = 60.0
"""What is foreseen at the start of a take, whose length nobody knows yet."""
_MOST_STEPS = 64
NO_WAY = "no way forward was found, so tune it by hand"
LONGEST_BLOCK_S = 86_400.0


class Session:
    """One player's session on one rig."""

    def __init__(self, rig: Rig, log: Log, at_s: float, *, place: str | None = None) -> None:
        self.rig = rig
        self.log = log
        self.newest_id = log.last_id  # of the events taken in
        self.beliefs, self.day, self._now_s = take_up(rig, log)
        self.listen_in_play = False
        self.ear_words = ""
        self._plan: RoundPlan | None = None
        self._plan_key: tuple[int, int] | None = None
        self._told: Instruction = idle("no round is open")
        self._told_s = at_s
        self._due_key: tuple[int, int] | None = None
        self._due: Due | None = None
        self.resumed = self.day.round is not None
        self._record(SessionStarted(at_s=self._at(at_s), rig=rig.name, place=place))
        self._settle()

    # Time and events

    def _at(self, at_s: float) -> float:
        if not math.isfinite(at_s):
            raise BadInput(f"a time of {at_s} cannot be used; give seconds as a plain number")
        self._now_s = max(self._now_s, at_s)
        return self._now_s

    def _take_in(self, event: Event) -> None:
        self._now_s = max(self._now_s, event.at_s)
        self.beliefs.apply(event)
        self.day = self.day.after(event)

    def _record(self, *events: Event) -> None:
        """Journal first, all of these or none; only what is safe on disk is believed.

        What another program wrote meanwhile (a replaced cap, an import) is taken in on the way.
        """
        newest = self.log.append_many(events)
        if newest != self.newest_id + len(events):
            self._catch_up()
            return
        for event in events:
            self._take_in(event)
        self.newest_id = newest

    def _catch_up(self) -> None:
        """Take in everything in the journal that was not taken in yet."""
        for event_id, event in self.log.events(self.newest_id):
            self._take_in(event)
            self.newest_id = event_id

    def keep_checkpoint(self) -> None:
        """Make the next start quick; only between rounds and takes, and never needed."""
        self._catch_up()
        keep_both(self.log, self.beliefs, self.day)

    # Plan and instruction

    @property
    def round(self) -> RoundState | None:
        """The open round, if any."""
        return self.day.round

    @property
    def instruction(self) -> Instruction:
        """What the player was last told to do."""
        return self._told

    def plan(self) -> RoundPlan:
        """The plan of the open round, made anew after each event and each quarter of a minute.

        Raises:
            BadInput: no round is open.
        """
        state = self._open_state()
        key = (self.newest_id, int(self._now_s // REPLAN_S))
        if self._plan is None or key != self._plan_key:
            self._plan = self._make_plan(state)
            self._plan_key = key
        return self._plan

    def _make_plan(self, state: RoundState) -> RoundPlan:
        fixed = state.shift_settled or not self.rig.reference.floating
        return plan_round(
            self.rig,
            self.beliefs,
            now_s=self._now_s,
            downbeat_s=state.opened.downbeat_s,
            block_s=state.opened.block_s,
            needed=state.needed,
            mounted=state.mounted,
            at_bottle=state.at_bottle,
            skipped=frozenset(state.skipped),
            done=state.accepted,
            shift_cents=state.shift_cents if fixed else None,
            pieces=tuple(self._pieces(state.opened.pieces)),
        )

    def _pieces(self, names: Sequence[str]) -> list[Piece]:
        return [p for p in self.rig.pieces if p.name in names]

    def _situation(self, state: RoundState) -> Situation:
        return Situation(
            self.rig, self.beliefs, state, self.plan(), self._now_s, gauges_kpa(self.rig, self.day)
        )

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
        if self.day.round is not None:
            raise BadInput("a round is open already; end it before another is opened")
        known = {p.name for p in self.rig.pieces}
        for name in pieces:
            if name not in known:
                raise BadInput(f"the rig has no piece {name!r}; it has {', '.join(sorted(known)) or 'none'}")
        block_s = self.rig.habits.block_s if block_s is None else block_s
        if not 0.0 <= block_s <= LONGEST_BLOCK_S:
            raise BadInput(f"a block of {block_s:g} s cannot be; give seconds of playing, at most a day")
        if temp_c is not None:
            self.temperature(temp_c, at_s)
        chosen = tuple(self._pieces(pieces))
        self._record(
            RoundOpened(
                at_s=now_s,
                round_id=f"r{self.day.rounds + 1}",
                downbeat_s=downbeat_s,
                block_s=block_s,
                needed=self.rig.needed_for(chosen),
                temp_c=temp_c,
                pieces=tuple(pieces),
                quarantine_s=self.rig.habits.quarantine_s,
            )
        )
        self._settle()

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
        self.ear_words = found.words
        self._record(*found.assumed, found.strike)
        if found.strike.verdict == "clear":
            self._settle()
        return found.strike

    def _strike_in_play(self, sounded: Sounded) -> Strike | None:
        """Strikes heard while playing count only where the player asked for it and one bottle is clear."""
        if not self.listen_in_play or sounded.verdict != "clear" or sounded.hz is None:
            return None
        heard = of_any(self.rig, self.beliefs, self._now_s, sounded)
        if heard.verdict != "clear":
            return None
        self._record(replace(heard, playing=True))
        return heard

    def listening(self) -> Listening:
        """What the ear should wait for now."""
        state = self.day.round
        situation = None if state is None else self._situation(state)
        return listening_for(situation, self.rig, self._told)

    # The player's acts

    def pump(self, on: bool, at_s: float) -> None:
        """The pump head went onto the bottle asked for, or came off.

        Raises:
            BadInput: no bottle is asked for, or the head is on another bottle.
        """
        now_s = self._at(at_s)
        if not on:
            if self.day.pump_on is not None:
                pump = self.rig.bottle(self.day.pump_on).pump
                self._record(Disconnected(at_s=now_s, bottle=self.day.pump_on, pump=pump))
        else:
            bottle_id = self._asked_for()
            if self.day.pump_on not in (None, bottle_id):
                self.pump(False, at_s)
            if self.day.pump_on is None:
                self._record(Connected(at_s=now_s, bottle=bottle_id, pump=self.rig.bottle(bottle_id).pump))
        self._settle()

    def _asked_for(self) -> str:
        bottle_id = self._told.bottle or self._open_state().target
        if bottle_id is None:
            raise BadInput("no bottle is asked for now, so no air can be moved; step back to one first")
        return bottle_id

    def air(self, strokes: float, at_s: float) -> None:
        """Air went in (positive) or out (negative) of the bottle asked for.

        Raises:
            BadInput: not a sensible count, or no bottle is asked for.
        """
        now_s = self._at(at_s)
        if not math.isfinite(strokes) or abs(strokes) > 500.0:
            raise BadInput(f"{strokes} strokes cannot be right; give the count, negative for air let out")
        bottle_id = self.day.pump_on or self._asked_for()
        pump = self.rig.bottle(bottle_id).pump
        if strokes > 0.0 and self.day.pump_on is None:
            self._record(Connected(at_s=now_s, bottle=bottle_id, pump=pump, assumed=True))
        by_pump = self.day.pump_on == bottle_id
        self._record(AirMoved(at_s=now_s, bottle=bottle_id, pump=pump if by_pump else None, strokes=strokes))
        self._settle()

    def temperature(self, temp_c: float, at_s: float, source: str = "hand") -> None:
        """The air temperature.

        Raises:
            BadInput: outside -30 to 60 degrees Celsius.
        """
        if not (LEAST_AIR_C <= temp_c <= MOST_AIR_C):
            raise BadInput(f"{temp_c} °C is not an air temperature to play in; give -30 to 60")
        self._record(Temperature(at_s=self._at(at_s), temp_c=temp_c, source=source))
        if self.day.round is not None:
            self._settle()

    def gauge(self, psi: float, at_s: float, bottle: str | None = None) -> None:
        """A pressure gauge was read on a bottle (the one asked for, unless another is named).

        Raises:
            BadInput: no such bottle, or not a pressure.
        """
        bottle_id = self._known(bottle or self._asked_for())
        if not (0.0 <= psi <= 200.0):
            raise BadInput(f"{psi} psi is not a bottle's pressure; give 0 to 200")
        self._record(Gauge(at_s=self._at(at_s), bottle=bottle_id, gauge_kpa=psi_to_kpa(psi)))
        if self.day.round is not None:
            self._settle()

    def skip(self, at_s: float) -> None:
        """Leave the bottle asked for out of this round."""
        now_s = self._at(at_s)
        self._record(Skipped(at_s=now_s, bottle=self._asked_for()))
        self._settle()

    def back(self, at_s: float) -> None:
        """Go back to the bottle before this one and hear it again."""
        now_s = self._at(at_s)
        state = self._open_state()
        before = [b for b in state.path if b != state.target]
        if not before:
            raise BadInput("this is the first bottle of the round; there is none to go back to")
        self._record(SteppedBack(at_s=now_s, bottle=before[-1]))
        self._settle()

    def repeat(self, at_s: float) -> None:
        """Hear the bottle asked for once more."""
        now_s = self._at(at_s)
        self._record(SteppedBack(at_s=now_s, bottle=self._asked_for()))
        self._settle()

    def note(self, text: str, at_s: float, bottle: str | None = None) -> None:
        """Write something down."""
        self._record(NoteWritten(at_s=self._at(at_s), text=text, bottle=bottle))

    def start_take(self, at_s: float, name: str | None = None) -> None:
        """A take runs from now on; nothing happens when one runs already."""
        now_s = self._at(at_s)
        if self.day.take is not None:
            return
        seen = self._worst(now_s, now_s + TAKE_AHEAD_S)
        take = name or f"take {self.day.takes + 1}"
        self._record(TakeStarted(at_s=now_s, take=take, worst_cents=seen.worst_cents, doubtful=seen.doubtful))

    def stop_take(self, at_s: float) -> None:
        """The cut; nothing happens when no take runs."""
        now_s = self._at(at_s)
        take = self.day.take
        if take is None:
            return
        seen = self._worst(take.at_s, now_s)
        self._record(
            TakeStopped(at_s=now_s, take=take.take, worst_cents=seen.worst_cents, doubtful=seen.doubtful)
        )

    def _worst(self, start_s: float, end_s: float) -> Worst:
        return worst_in(self.rig, self.beliefs, self.needed, start_s, end_s, self.day.shift_cents)

    def replaced(self, bottle_id: str, part: Part, at_s: float) -> None:
        """A cap or a bottle was replaced: a new history begins.

        Raises:
            BadInput: the rig has no such bottle.
        """
        self._record(Replaced(at_s=self._at(at_s), bottle=self._known(bottle_id), part=part))
        if self.day.round is not None:
            self._settle()

    def _known(self, bottle_id: str) -> str:
        if not self.rig.has_bottle(bottle_id):
            raise BadInput(f"the rig has no bottle {bottle_id!r}; `rounds pieces` lists those it has")
        return bottle_id

    # What is due

    @property
    def needed(self) -> dict[str, float]:
        """Bottles needed: those of the newest round, or all before the first."""
        return dict(self.day.needed) or self.rig.needed_for(())

    def due(self, at_s: float) -> Due:
        """When the next round should start, and why."""
        now_s = self._at(at_s)
        key = (self.newest_id, int(now_s // REPLAN_S))
        if self._due is None or key != self._due_key:
            limit = self.rig.habits.due_limit
            self._due = due(self.rig, self.beliefs, self.needed, now_s, limit, self.day.shift_cents)
            self._due_key = key
        return self._due
