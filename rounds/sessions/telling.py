"""What players tell beside the order of a round: air, gauges, notes, parts that were replaced,
a round put off, bottles that are not played today.

A session is told these; they are apart from it because none of them depends on where a round stands.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.events import Event, NoteWritten, Part, Replaced
from rounds.sessions import acts, rig_acts

if TYPE_CHECKING:
    from rounds.rig import Rig
    from rounds.sessions.day import Day
    from rounds.sessions.record import Record
    from rounds.sessions.undoing import PlayerAct


class Telling(ABC):
    """The acts; a session says which bottle is asked for, and goes on after each."""

    record: Record

    @property
    @abstractmethod
    def rig(self) -> Rig:
        """The instrument."""

    @property
    @abstractmethod
    def day(self) -> Day:
        """The state of the day."""

    @abstractmethod
    def close_round(self, at_s: float) -> None:
        """End the open round."""

    @abstractmethod
    def _do(self, *events: Event) -> None: ...

    @abstractmethod
    def _act(self, event: Event) -> PlayerAct: ...

    @abstractmethod
    def _asked_for(self) -> str: ...

    def temperature(self, temp_c: float, at_s: float, source: str = "hand") -> None:
        """The air temperature.

        Raises:
            BadInput: outside -30 to 60 degrees Celsius.
        """
        self._do(acts.temperature(temp_c, source, self.record.at(at_s)))

    def gauge(self, psi: float, at_s: float, bottle: str | None = None) -> None:
        """A pressure gauge was read on a bottle (the one asked for, unless another is named).

        Raises:
            BadInput: no such bottle, or not a pressure.
        """
        bottle_id = acts.known(self.rig, bottle or self._asked_for())
        self._do(acts.gauge(bottle_id, psi, self.record.at(at_s)))

    def gauge_typed(self, text: str, at_s: float, bottle: str | None = None) -> None:
        """What was typed of a gauge: a pressure in any of its units, or that there is none.

        Raises:
            BadInput: no such bottle, or not a pressure.
        """
        bottle_id = acts.known(self.rig, bottle or self._asked_for())
        self._do(acts.gauge_typed(self.rig, bottle_id, text, self.record.at(at_s)))

    def note(self, text: str, at_s: float, bottle: str | None = None) -> None:
        """Write something down."""
        self.record.write(
            note := NoteWritten(at_s=self.record.at(at_s), text=text, bottle=bottle), act=self._act(note)
        )

    def swapped(self, one: str, other: str, at_s: float) -> None:
        """Two bottles changed places, or a spare came in: what is known of each goes with it.

        Raises:
            BadInput: no such bottles, or they differ in size or ceiling.
        """
        self._do(*rig_acts.swapped(self.rig, self.day, one, other, self.record.at(at_s)))

    def match_a4(self, a4: float | str, at_s: float) -> None:
        """Tune the open round to an A4 in hertz, or to that of the round before (`last`).

        Raises:
            BadInput: no round is open, or it is more than a semitone off.
        """
        self._do(*rig_acts.a4_matched(self.rig, self.day, a4, self.record.at(at_s)))

    def rail_air(self, rail: int, warmer_k: float, at_s: float) -> None:
        """The air at one rail is so much warmer than the thermometer says: it is in the sun.

        Raises:
            BadInput: no such rail, or no air temperature was given.
        """
        self._do(rig_acts.rail_air(self.rig, self.day, rail, warmer_k, self.record.at(at_s)))

    def let_down(self, at_s: float) -> None:
        """Let the air out of all bottles, one after the other; an open round ends first.

        Raises:
            BadInput: all are empty already.
        """
        now_s = self.record.at(at_s)
        opened = rig_acts.let_down_opened(self.rig, self.day, now_s)
        self.close_round(now_s)
        self._do(replace(opened, round_id=f"r{self.day.rounds + 1}"))

    def replaced(self, bottle_id: str, part: Part, at_s: float) -> None:
        """A cap or a bottle was replaced: a new history begins.

        Raises:
            BadInput: the rig has no such bottle.
        """
        self._do(Replaced(at_s=self.record.at(at_s), bottle=acts.known(self.rig, bottle_id), part=part))

    def snooze(self, minutes: float, at_s: float) -> None:
        """No round is called due for so many minutes (BadInput: not minutes)."""
        self._do(acts.snoozed(minutes, self.record.at(at_s)))

    def today(self, bottle_id: str, at_s: float, *, played: bool) -> None:
        """Whether a bottle is played today (BadInput: the rig has no such bottle)."""
        act = acts.today if played else acts.not_today
        self._do(*act(self.rig, self.record.day, bottle_id, self.record.at(at_s)))
