"""From a session to what a face shows: every rule about showing is here, none is in the screens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.belief.in_or_out import tuned
from rounds.faces.view import BottleView, DueView, Mode, PersonView, ReadingView, TakeView, View
from rounds.forecast.calling import call_words
from rounds.forecast.drift import forecast
from rounds.forecast.playable import playable
from rounds.gauss import Gauss
from rounds.guide.filling import IS_A_FILL
from rounds.guide.instructions import LATER, heads_left_on
from rounds.guide.lateness import with_spare_s
from rounds.guide.round import phase_of
from rounds.instruction import TIME_IS_SHORT, TIME_MAY_BE, State
from rounds.planning.dose import strokes_between
from rounds.planning.floating import fixed_by
from rounds.recognising.swapping import maybe_swapped
from rounds.sessions.acts import LEFT_OUT_TODAY, pieces_named
from rounds.wording.shown import sentence
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from rounds.belief.in_or_out import Tuned
    from rounds.events import Strike
    from rounds.forecast.playable import Playable
    from rounds.guide.round import Phase, RoundState
    from rounds.planning import RoundPlan
    from rounds.rig import Bottle
    from rounds.sessions.session import Session

FORECAST_S = 20.0
"""The chances of leaving are worked out anew after this long, and after every event."""
CLEAR_MARGIN = 0.25
"""Before a third was heard, time is called short only where this share of the bottles does not fit."""
HEARD_SHARE = 1.0 / 3.0
MOST_NAMED = 16
"""So many bottles that are left out are named before `and 3 more`: the player decides by their names."""
FADES_MIN = 30.0
"""Between rounds a bottle fades that is expected to leave its tolerance within so many minutes."""
_STATE: dict[Tuned, State] = {
    "in_tune": "holds",
    "sharp": "too_full",
    "flat": "wants_air",
    "doubtful": "unsure",
}


def _lasts(leaves_min: float | None) -> bool:
    return leaves_min is None or leaves_min > FADES_MIN


def _is_plainly_short(state: RoundState, out: int) -> bool:
    """Whether an alarm is due while who stays out is a guess: few of the unheard may turn out to be none."""
    heard = sum(b in state.heard for b in state.needed)
    return out >= CLEAR_MARGIN * len(state.needed) or heard >= HEARD_SHARE * len(state.needed)


@dataclass
class Viewer:
    """Makes views of one session; keeps the slow part (the forecast) between them."""

    session: Session
    _leaves_key: tuple[int, int] | None = None
    _leaves: Mapping[str, float | None] | None = None

    def view(self, at_s: float) -> View:
        """Everything a face shows at one moment."""
        session = self.session
        state = session.round
        plan = None if state is None else session.plan()
        downbeat_s = None if state is None else state.opened.downbeat_s
        return View(
            mode=self._mode(),
            rig_name=session.rig.name,
            instruction=session.instruction,
            reading=self._reading(at_s),
            bottles=self._bottles(plan, at_s),
            due=self._due(at_s),
            take=self._take(at_s),
            round_id=None if state is None else state.opened.round_id,
            phase="none" if state is None else self._phase(state),
            connections=0 if state is None else state.connections,
            visits_left=0 if plan is None else len(plan.visits),
            left=0 if state is None else len(state.open_bottles),
            needed=len(session.record.needed if state is None else state.needed),
            seconds_left=None if plan is None else plan.work_s,
            downbeat_in_s=None if downbeat_s is None else downbeat_s - at_s,
            elapsed_s=None if state is None else at_s - state.opened.at_s,
            shift_cents=session.day.shift_cents,
            shift_saves=0 if state is None else state.shift_saves,
            reference_hz=session.rig.reference.moved_hz(session.day.shift_cents),
            temp_c=session.day.temp_c,
            pump_on=session.pump_on,
            pieces=session.day.pieces,
            people=self._people(),
            message=self._message(state, plan),
            next_undo=session.record.next_undo,
            maybe_swapped=None if state is None else maybe_swapped(session.rig, state),
            playable=self._playable(at_s),
            is_let_down=state is not None and state.opened.let_down,
            next_in_s=self._next_in_s(at_s),
        )

    def _due(self, at_s: float) -> DueView:
        due, call = self.session.due(at_s), self.session.call(at_s)
        put_off_s = None if due.put_off_until_s is None else due.put_off_until_s - at_s
        return DueView(
            due_s=None if due.due_s is None else due.due_s - at_s,
            reason=due.reason,
            overdue=call == "due",
            call=call,
            words=call_words(due, at_s, call),
            snoozed_s=put_off_s if put_off_s is not None and put_off_s > 0.0 else None,
        )

    def _playable(self, at_s: float) -> tuple[Playable, ...]:
        """Which pieces play now: those named for the round, else all."""
        session = self.session
        named = pieces_named(session.rig, session.day.pieces) or session.rig.pieces
        return playable(session.rig, session.beliefs, at_s, session.day.shift_cents, named)

    def _next_in_s(self, at_s: float) -> float | None:
        """Seconds until the work that waits for the last minutes begins, where nothing is to do before."""
        session, state = self.session, self.session.round
        if state is None or state.opened.downbeat_s is None or session.instruction.headline != LATER:
            return None
        starts_s = state.opened.downbeat_s - session.rig.habits.quarantine_s
        return max(0.0, starts_s - with_spare_s(session.plan().work_s) - at_s)

    def _people(self) -> tuple[PersonView, ...]:
        session, people = self.session, self.session.day.people
        if people is None:
            return ()
        return tuple(
            PersonView(told, own.pump_on, session.turn not in (None, i), i == session.hand)
            for i, (told, own) in enumerate(zip(session.instructions, people.rounds, strict=True))
        )

    def _phase(self, state: RoundState) -> Phase:
        """The phase of the round of the person who has the keys; done only when it is done for everybody."""
        people = self.session.day.people
        rounds = (state,) if people is None else people.rounds
        hand = self.session.hand if people is not None else 0
        phases = [
            "visits" if phase_of(r) == "done" and told.act == "disconnect" else phase_of(r)
            for r, told in zip(rounds, self.session.instructions, strict=True)
        ]
        ahead: list[Phase] = [p for p in (phases[hand], *phases) if p != "done"]
        return ahead[0] if ahead else "done"

    def _owner(self, bottle_id: str | None) -> int | None:
        people = self.session.day.people
        return None if people is None else people.owner(bottle_id)

    def _mode(self) -> Mode:
        if self.session.day.take is not None:
            return "take"
        return "between" if self.session.round is None else "round"

    def _message(self, state: RoundState | None, plan: RoundPlan | None) -> str:
        """Heads left on between rounds; in one who is given up for want of time, said from the start; else
        why the reference may not float.
        """
        if state is None or plan is None:
            return sentence(heads_left_on(self.session.day.heads))
        out = plan.sacrificed
        by_pitch = [b.id for b in self.session.rig.by_pitch]
        a_fill = len(state.far) >= IS_A_FILL
        known = [b for b in by_pitch if b in out and (a_fill or self.session.beliefs.heard(b))]
        if known:
            return f"{TIME_IS_SHORT}. Left out: {in_words(known, MOST_NAMED)}.{self._whole_without(out)}"
        if out and _is_plainly_short(state, len(out)):
            return f"{TIME_MAY_BE}. {len(out)} unheard may be left out."
        fixed = fixed_by(pieces_named(self.session.rig, state.opened.pieces))
        floats = self.session.rig.reference.floating and fixed is not None
        return f"A4 stays where it is: {fixed} fixes the pitch." if floats else self.session.rail_words

    def _whole_without(self, out: Collection[str]) -> str:
        """Which pieces of the round lose no note by leaving bottles out; nothing without pieces."""
        rig = self.session.rig
        pieces = pieces_named(rig, self.session.day.pieces) or rig.pieces
        missing = {rig.bottle(b).note for b in out}
        whole = [p.name for p in pieces if missing.isdisjoint(p.weights)]
        if not pieces:
            return ""
        return f" Still whole: {in_words(whole, 3)}." if whole else " No piece stays whole."

    def _reading(self, at_s: float) -> ReadingView | None:
        strike: Strike | None = self.session.day.reading
        if strike is None:
            return None
        rig, shift = self.session.rig, self.session.day.shift_cents
        clear = strike.verdict == "clear" and strike.cents is not None and strike.bottle is not None
        return ReadingView(
            bottle=strike.bottle,
            note=None if strike.bottle is None else rig.bottle(strike.bottle).note.name,
            cents=strike.cents - shift if clear and strike.cents is not None else None,
            u95_cents=strike.u95_cents if clear else None,
            verdict=strike.verdict,
            advice=self.session.ear_words,
            hz=strike.hz,
            age_s=max(0.0, at_s - strike.at_s),
            person=strike.person if strike.bottle is None else self._owner(strike.bottle),
        )

    def _take(self, at_s: float) -> TakeView | None:
        take = self.session.day.take
        if take is None:
            return None
        return TakeView(take.take, at_s - take.at_s, take.worst_cents, take.worst_bottle, take.doubtful)

    def _bottles(self, plan: RoundPlan | None, at_s: float) -> tuple[BottleView, ...]:
        places = self._places(plan)
        return tuple(self._bottle(b, at_s, plan, places) for b in self.session.rig.bottles)

    def _bottle(
        self, bottle: Bottle, at_s: float, plan: RoundPlan | None, places: Mapping[str, int]
    ) -> BottleView:
        session = self.session
        state = session.round
        needed = bottle.id in (session.record.needed if state is None else state.opened.needed)
        known = session.beliefs.heard(bottle.id)
        level = session.beliefs.level(bottle.id, at_s)
        off = level.mean - session.day.shift_cents
        leaves_min = self._leaving(at_s).get(bottle.id) if known else None
        needs_visit = plan is not None and any(v.bottle == bottle.id for v in plan.visits)
        lasts = not needs_visit if plan is not None else _lasts(leaves_min)
        given_up = plan is not None and bottle.id in plan.sacrificed and bottle.id not in places
        needs = self._state(bottle, needed, known, Gauss(off, level.sd), lasts)
        needs = "left_out" if given_up and needed else self._as_ordered(bottle.id, needs)
        return BottleView(
            id=bottle.id,
            note=bottle.note.name,
            rail=bottle.rail,
            position_cm=bottle.position_cm,
            state=needs,
            needed=needed,
            cents=off if known else None,
            sd_cents=level.sd if known else None,
            place_in_path=places.get(bottle.id),
            strokes=self._strokes(bottle, level.mean, needs),
            reason=self._reason(bottle.id, needed, plan),
            leaves_min=leaves_min,
            person=self._owner(bottle.id),
            not_today=bottle.id in session.day.absent(session.now_s),
        )

    def _state(self, bottle: Bottle, needed: bool, known: bool, off: Gauss, lasts: bool) -> State:
        round_now = self.session.round
        day = self.session.day
        skipped = (*day.skipped, *day.absent(self.session.now_s)) if round_now is None else round_now.skipped
        if needed and bottle.id in skipped:
            return "left_out"
        if not needed:
            return "not_needed"
        if not known:
            return "unheard"
        found = tuned(off, bottle.tolerance_cents)
        return _STATE[found] if found != "in_tune" or lasts else "fades"

    def _as_ordered(self, bottle_id: str, state: State) -> State:
        """A bottle that gets air wants it, though it sounds high: some of it settles back."""
        for told in self.session.instructions:
            if told.bottle == bottle_id and told.strokes and state in ("wants_air", "too_full"):
                return "wants_air" if told.strokes > 0 else "too_full"
        return state

    def _strokes(self, bottle: Bottle, level_cents: float, state: State) -> float | None:
        """Strokes from where a bottle is to its aim: those of the order, for the bottle in hand."""
        session = self.session
        for told in session.instructions:
            if told.bottle == bottle.id and told.strokes:
                return told.strokes
        if state not in ("wants_air", "too_full"):
            return None
        plan = None if session.round is None else session.plan()
        aims = {} if plan is None else {v.bottle: v.aim_cents for v in plan.visits}
        return strokes_between(
            session.rig, session.beliefs, bottle.id, level_cents, aims.get(bottle.id, session.day.shift_cents)
        )

    def _places(self, plan: RoundPlan | None) -> dict[str, int]:
        """Where each bottle comes in the path, its person's own where several tune, from 1."""
        if plan is None:
            return {}
        session = self.session
        plans = [plan] if session.day.people is None else map(session.plan_of, range(session.people))
        places: dict[str, int] = {}
        for each in plans:
            path = dict.fromkeys([*each.listen, *(v.bottle for v in each.visits)])
            places.update({bottle_id: place for place, bottle_id in enumerate(path, 1)})
        return places

    def _reason(self, bottle_id: str, needed: bool, plan: RoundPlan | None) -> str:
        state = self.session.round
        if state is None or plan is None or not needed:
            absent = bottle_id in self.session.day.absent(self.session.now_s)
            return LEFT_OUT_TODAY * absent if needed else "not needed by these pieces"
        if bottle_id in state.skipped:
            return state.skipped[bottle_id] or "left out"
        if bottle_id in state.accepted:
            return "in tune"
        for visit in plan.visits:
            if visit.bottle == bottle_id:
                return visit.why
        return plan.left_alone.get(bottle_id, "to be heard" if bottle_id in plan.listen else "")

    def _leaving(self, at_s: float) -> Mapping[str, float | None]:
        session = self.session
        key = (session.record.newest_id, int(at_s // FORECAST_S))
        if self._leaves is None or key != self._leaves_key:
            seen = forecast(session.rig, session.beliefs, at_s, (), shift_cents=session.day.shift_cents)
            self._leaves = {b.id: b.hold_min for b in seen.bottles}
            self._leaves_key = key
        return self._leaves
