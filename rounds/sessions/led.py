"""The instructions of a session, for the player or for each of several, and which person has the keys."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.sessions.crew import Hands, Moment
from rounds.sessions.lookout import Lookout

if TYPE_CHECKING:
    from rounds.guide.round import RoundState
    from rounds.hearing.reading import Expectation
    from rounds.instruction import Instruction
    from rounds.journal import Log
    from rounds.planning import RoundPlan
    from rounds.rig import Rig
    from rounds.sessions.day import Day
    from rounds.sessions.resuming import Progress


class Led(Lookout):
    """A record with somebody to lead.

    What is asked of the player is asked of `hand`, whose keys these are (0: the first person, or the only
    one).
    """

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
        self.hand = 0
        self._hands = Hands(self._now_s)

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
        return self._hands.shown(self.rig, self.day, self._now_s)

    @property
    def pump_on(self) -> str | None:
        """The bottle that the pump head is on of the person who has the keys."""
        return self._own_day.pump_on

    @property
    def turn(self) -> int | None:
        """Who strikes first, the others holding their strike; None when all strike as they like."""
        return self._hands.turn

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
        return self._hands.plan(self._moment)

    def plan_of(self, person: int) -> RoundPlan:
        """What one of several people has still to do."""
        return self._hands.plan_of(self._moment, person)

    @property
    def _moment(self) -> Moment:
        return Moment(self.rig, self.beliefs, self.day, self._now_s, self.newest_id)

    def _open_state(self) -> RoundState:
        if self.day.round is None:
            raise BadInput("no round is open; open one first")
        return self.day.round

    def listening(self) -> Expectation:
        """What the ear should wait for now."""
        return self._hands.listening(self._moment)

    @property
    def _own_day(self) -> Day:
        """The day as the person sees it who has the keys."""
        return self.day.of(self._person)

    @property
    def _told(self) -> Instruction:
        return self._hands.leads[self._person].told
