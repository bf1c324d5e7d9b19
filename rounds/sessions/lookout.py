"""What a session sees coming: when the next round is due, and what a take will be like."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.forecast.drift import Due, Worst, due, worst_in
from rounds.sessions import acts
from rounds.sessions.record import Record
from rounds.sessions.replanning import planned_at_s

if TYPE_CHECKING:
    from rounds.journal import Log
    from rounds.rig import Rig
    from rounds.sessions.resuming import Progress

TAKE_AHEAD_S = 60.0
"""What is foreseen at the start of a take, whose length nobody knows yet."""


class Lookout(Record):
    """A record that looks ahead."""

    def __init__(
        self,
        rig: Rig,
        log: Log,
        at_s: float,
        place: str | None,
        unseen_s: float,
        progress: Progress,
        zero_s: float | None = None,
    ) -> None:
        super().__init__(rig, log, at_s, place, unseen_s, progress, zero_s)
        self._due_key: tuple[int, float] | None = None
        self._due: Due | None = None

    # Takes

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

    # What is due

    def due(self, at_s: float) -> Due:
        """When the next round should start, and why."""
        looked_at_s = planned_at_s(self.beliefs.latest_s, self._at(at_s))
        key = (self.newest_id, looked_at_s)
        if self._due is None or key != self._due_key:
            limit = self.rig.habits.due_limit
            self._due = due(self.rig, self.beliefs, self.awaited, looked_at_s, limit, self.day.shift_cents)
            self._due_key = key
        return self._due
