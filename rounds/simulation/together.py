"""Play a whole round of two players on the virtual rig, with no key pressed.

As with one player, what counts is the truth of the world: how many bottles are in tune, and how many
readings were believed of a bottle that was not struck.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from rounds.notes import cents
from rounds.simulation.pair import Duo, MixedEar, QuickPairEar, Screen
from rounds.simulation.rehearsal import LONGEST_ROUND_MIN, RoundResult, Step, is_over, judged, read_off

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rounds.events import Strike
    from rounds.hearing.reading import Reading
    from rounds.sessions.session import Session
    from rounds.simulation.pair import PairEar, Struck
    from rounds.simulation.player import Player
    from rounds.simulation.world import World

STEP_S = 0.05
TICK_S = 0.5
LATELY_S = 1.5
"""A reading is of one of the strikes of this long before it."""
NEAR_CENTS = 40.0
"""A reading farther than this from where its bottle really sounds is not that bottle's."""


class Together:
    """Two players, a session, and an ear, step by step."""

    def __init__(
        self,
        session: Session,
        world: World,
        players: Sequence[Player],
        ear: PairEar,
        watch: Callable[[Step], None] | None = None,
    ) -> None:
        self.session, self.world, self.ear = session, world, ear
        for player in players:
            player.tell = lambda bottle, psi: session.gauge(psi, world.now_s, bottle)
        self.duo = Duo(world, players, Screen(session))
        self.not_clear = self.astray = self.mixed_up = 0
        self._lately: deque[Struck] = deque(maxlen=8)
        self._watch = watch

    def step(self, to_s: float) -> None:
        """Let both work until a moment, and take in what was heard."""
        self.duo.until(to_s)
        while self.duo.strikes:
            struck = self.duo.strikes.popleft()
            self._lately.append(struck)
            self.ear.strike(struck)
        for sounded in self.ear.until(to_s, self.session.listening):
            event = self.session.strike(to_s, sounded)
            if event is not None:
                self._count(event, sounded)

    def _count(self, event: Strike, sounded: Reading) -> None:
        self.not_clear += event.verdict != "clear"
        if event.bottle is not None and not self._is_true(event.bottle, sounded):
            self.astray += 1
            people = self.session.day.people
            self.mixed_up += (
                people is not None and people.owner(event.bottle) != self._nearest(sounded).person
            )
        if self._watch is not None and self._lately:
            last = self._newest(event.bottle)
            self._watch(
                Step(
                    last.told,
                    last.action,
                    sounded,
                    event.verdict,
                    event.bottle,
                    event.cents,
                    last.person,
                )
            )

    def _nearest(self, sounded: Reading) -> Struck:
        """The strike of late whose bottle sounds most like what was heard."""
        hz = sounded.hz or 1.0
        return min(self._lately, key=lambda s: abs(cents(hz, self.world.hz(s.action.struck or ""))))

    def _newest(self, bottle: str | None) -> Struck:
        return next((s for s in reversed(self._lately) if s.action.struck == bottle), self._lately[-1])

    def _is_true(self, bottle: str, sounded: Reading) -> bool:
        """Whether a bottle was struck just now, and sounds like what was heard."""
        now_s = self.world.now_s
        struck = any(s.action.struck == bottle and now_s - s.at_s < LATELY_S for s in self._lately)
        if not struck or sounded.hz is None:
            return False
        return abs(cents(sounded.hz, self.world.hz(bottle))) < NEAR_CENTS


def play_together(
    session: Session,
    world: World,
    players: Sequence[Player],
    *,
    sound: bool = False,
    downbeat_s: float | None = None,
    longest_min: float = LONGEST_ROUND_MIN,
    watch: Callable[[Step], None] | None = None,
) -> RoundResult:
    """Open a round for all players, let them do as asked until nothing is left, and close it."""
    started_s = world.now_s
    before = sum(p.connections for p in players), sum(p.strikes for p in players)
    if session.round is None:
        temp_c = read_off(world)
        session.open_round(world.now_s, downbeat_s=downbeat_s, temp_c=temp_c, people=len(players))
    all_of_it = Together(session, world, players, MixedEar(world) if sound else QuickPairEar(world), watch)
    until_s, ticked_s = started_s + 60.0 * longest_min, started_s
    while not is_over(session) and world.now_s < until_s:
        all_of_it.step(world.now_s + STEP_S)
        if world.now_s - ticked_s >= TICK_S:
            ticked_s = world.now_s
            session.tick(ticked_s)
    finished = is_over(session)
    minutes = (world.now_s - started_s) / 60.0
    session.close_round(world.now_s)
    return judged(
        session,
        world,
        minutes=minutes,
        connections=sum(p.connections for p in players) - before[0],
        strikes=sum(p.strikes for p in players) - before[1],
        not_clear=all_of_it.not_clear,
        finished=finished,
        astray=all_of_it.astray,
        mixed_up=all_of_it.mixed_up,
    )
