"""What a session keeps: its journal, what follows from it, and the time. The journal comes first.

Beliefs and the day are folds over events, and an event is folded only once it is safe on disk; so a
killed session stands where it stood when it is started again. No clock is read here: each call
brings `at_s` (UTC epoch seconds on the journal's scale, see `rounds.times.journal_time`), and a time that
runs backwards is taken as no time passed.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rounds.bounds import refuse_misfits
from rounds.errors import BadInput
from rounds.events import ClockSet, RoundClosed, SessionStarted, TakenBack
from rounds.forecast.drift import worst_in
from rounds.sessions.day import Moment
from rounds.sessions.resuming import keep_both, take_in, take_up
from rounds.sessions.rig_changed import fitted
from rounds.sessions.undoing import EDGES, begins_an_act, hangs_on_an_act
from rounds.times.journal_time import SLACK_S, begun, moved, words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.events import Event
    from rounds.forecast.drift import Worst
    from rounds.journal import Log
    from rounds.rig import Rig
    from rounds.sessions.resuming import Progress
    from rounds.sessions.undoing import PlayerAct

SAME_PLACE_S = 3600.0
"""A session that begins so soon after the last event, and names no place, is where the one before it was."""
NOTHING_TO_TAKE_BACK = "Nothing to take back."


class Record:
    """A journal, the beliefs and the day folded from it, and the newest time."""

    def __init__(
        self,
        rig: Rig,
        log: Log,
        at_s: float,
        place: str | None,
        unseen_s: float,
        progress: Progress,
        zero_s: float | None,
    ) -> None:
        self.rig = rig
        self.log = log
        self._acts: list[PlayerAct] = []
        taken = take_up(rig, log, progress)
        self.beliefs, self.day, self.newest_id = taken.beliefs, taken.day, taken.last_id
        goes_on = self.day.round is not None or self.day.take is not None
        idle_s = 0.0 if goes_on else unseen_s
        self.now_s = taken.latest_s
        """The newest time."""
        self.now_s = self.at(begun(self.day.scale, taken.latest_s, at_s, idle_s))
        self.note_clock(at_s, taken.latest_s)
        found = fitted(rig, self.day, self.now_s)
        self._rig_words, self._started_s = found.words, self.now_s
        goes_on = goes_on or self.now_s - taken.latest_s <= SAME_PLACE_S
        place = self.day.place if place is None and goes_on and self.day.rig == rig.name else place
        begun_now = SessionStarted(at_s=self.now_s, rig=rig.name, place=place, zero_s=zero_s)
        self.write(begun_now, *found.events)
        self.resumed = self.day.round is not None

    @property
    def moment(self) -> Moment:
        """What is known now."""
        return Moment(self.rig, self.beliefs, self.day, self.now_s, self.newest_id)

    @property
    def next_undo(self) -> str:
        """What taking back would take back now: `6 strokes into G4`; empty for nothing."""
        return self._acts[-1].words if self._acts and self.day.take is None else ""

    @property
    def needed(self) -> dict[str, float]:
        """Bottles needed: those of the newest round, or all before the first."""
        latest = {b: w for b, w in self.day.needed.items() if self.rig.has_bottle(b)}
        return latest or self.rig.needed_for(())

    @property
    def awaited(self) -> dict[str, float]:
        """Needed bottles without those skipped in the newest round or not played today."""
        gone = {*self.day.skipped, *self.day.absent(self.now_s)}
        return {b: w for b, w in self.needed.items() if b not in gone}

    def worst(self, start_s: float, end_s: float) -> Worst:
        """What is foreseen of the needed bottles between two times."""
        return worst_in(self.rig, self.beliefs, self.needed, start_s, end_s, self.day.shift_cents)

    def note_clock(self, clock_s: float, latest_s: float | None = None) -> None:
        """What the machine's clock shows now; kept when it was set, so that the next start can count on.

        `latest_s`, at a start, is the journal's newest time.
        """
        scale = moved(self.day.scale, self.now_s, clock_s, latest_s)
        if scale is not None:
            self.write(ClockSet(at_s=self.now_s, ahead_s=scale.ahead_s, unseen_s=scale.unseen_s))

    @property
    def clock_words(self) -> str:
        """That the clock was set, for a minute after it was seen; else nothing."""
        scale = self.day.scale
        is_news = scale.from_s > 0.0 and scale.from_s >= self.now_s - SLACK_S
        return words(scale.ahead_s, scale.unseen_s) if is_news else ""

    @property
    def rig_words(self) -> str:
        """What the rig made of what the journal left open, for a minute after the start; else nothing."""
        return self._rig_words if self.now_s - self._started_s <= SLACK_S else ""

    def keep_checkpoint(self) -> None:
        """Make the next start quick; only between rounds and takes, and never needed."""
        self._catch_up()
        keep_both(self.log, self.beliefs, self.day, self.newest_id)

    def at(self, at_s: float) -> float:
        """The newest time of this record, once a call has brought another.

        Raises:
            BadInput: not a time.
        """
        if not math.isfinite(at_s):
            raise BadInput(f"a time of {at_s} cannot be used; give seconds as a plain number")
        self.now_s = max(self.now_s, at_s)
        return self.now_s

    def write(self, *events: Event, act: PlayerAct | None = None) -> None:
        """Journal first, all of these or none; only what is safe on disk is believed.

        What another program wrote meanwhile (a replaced cap, an import) is taken in on the way.

        Args:
            act: what the player did, if these events begin it; else they hang on the act before them.

        Raises:
            BadInput: a number that cannot be; nothing is journalled.
        """
        refuse_misfits(events)
        newest = self.log.append_many(events)
        self._attribute(events, newest, act)
        if newest != self.newest_id + len(events):
            self._catch_up()
            return
        for event in events:
            self._take_in(event, taken_back=False)
        self.newest_id = newest
        if any(isinstance(event, RoundClosed) for event in events):
            self.keep_checkpoint()

    def _attribute(self, events: Sequence[Event], newest: int, act: PlayerAct | None) -> None:
        """Remember which act of the player's events came of. No act reaches over the edge of a round."""
        if act is not None and events and begins_an_act(act.event):
            self._acts.append(act)
        for event_id, event in enumerate(events, newest - len(events) + 1):
            if isinstance(event, EDGES):
                self._acts.clear()
            elif self._acts and hangs_on_an_act(event):
                self._acts[-1].ids.append(event_id)

    def _catch_up(self) -> None:
        """Take in everything in the journal that was not taken in yet."""
        gone, before = self.log.taken_back(self.newest_id), self.newest_id
        for event_id, event in self.log.events(self.newest_id):
            self._take_in(event, taken_back=event_id in gone)
            self.newest_id = event_id
        if any(event_id <= before for event_id in gone):
            self._refold()

    def _take_in(self, event: Event, *, taken_back: bool) -> None:
        self.day = take_in(self.beliefs, self.day, event, taken_back=taken_back)

    def take_back(self) -> PlayerAct:
        """Take the newest act back, with all that was concluded from it; the act that it was.

        Raises:
            BadInput: there is none since the session was started, and since a round was opened or closed; or
                a take runs.
        """
        if self.day.take is not None:
            raise BadInput("a take runs; nothing is taken back until it is cut")
        if not self._acts:
            raise BadInput(NOTHING_TO_TAKE_BACK)
        act = self._acts[-1]
        sums = self.log.sums(act.ids)
        self.write(TakenBack(at_s=self.now_s, sums=sums, words=act.words, bottle=act.bottle))
        self._acts.pop()
        self._refold()
        return act

    def _refold(self) -> None:
        """Fold anew from the newest checkpoint that holds nothing taken back since."""
        taken = take_up(self.rig, self.log)
        self.beliefs, self.day, self.newest_id = taken.beliefs, taken.day, taken.last_id
