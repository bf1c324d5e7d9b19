"""Two players at work at once on one virtual rig, each with own hands and pump, and what is heard of them.

Nobody waits for the other: each act is done piece by piece, and the world goes on to whichever piece ends
next. One microphone hears both; strikes that fall together are mixed.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Protocol

import numpy as np

from rounds.notes import cents
from rounds.simulation.ears import BEFORE_S, SAMPLE_RATE_HZ, STRIKE_S, SoundingEar

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Sequence

    from rounds.hearing.reading import Expectation, Reading
    from rounds.instruction import Instruction
    from rounds.sessions.session import Session
    from rounds.simulation.player import Glance, Player, PlayerAction
    from rounds.simulation.world import World

READ_S = 0.6
"""From a strike until its reading is there and read."""
IDLE_S = 0.5
TOGETHER_S = 0.3
"""Strikes this close are heard as one sound."""
APART_CENTS = 220.0
HEARD_S = 0.26
"""How long the quick ear takes for a reading."""


@dataclass(frozen=True)
class Struck:
    """A strike as it really was."""

    person: int
    at_s: float
    told: Instruction
    action: PlayerAction


class Asks(Protocol):
    """What the players see: their instruction, whether to hold, and whether they were understood."""

    def told(self, person: int) -> Instruction: ...

    def holds(self, person: int) -> bool: ...

    def understood(self, person: int, bottle: str, since_s: float) -> bool: ...


class Screen:
    """The session as two players see it."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def told(self, person: int) -> Instruction:
        """What to do."""
        told = self._session.instructions
        return told[person if person < len(told) else 0]

    def holds(self, person: int) -> bool:
        """Whether somebody else strikes first."""
        return self._session.turn not in (None, person)

    def understood(self, person: int, bottle: str, since_s: float) -> bool:
        """Whether a bottle was heard since a moment."""
        people = self._session.day.people
        if people is None:
            return True
        heard = people.rounds[person].heard.get(bottle)
        return heard is not None and heard.at_s >= since_s


class Duo:
    """Two players, each at their own pace."""

    def __init__(self, world: World, players: Sequence[Player], screen: Asks) -> None:
        self.world = world
        self.players = players
        self.strikes: deque[Struck] = deque()
        self._screen = screen
        self._lives = [self._life(i) for i in range(len(players))]
        self._next_s = [next(life) for life in self._lives]

    def until(self, to_s: float) -> None:
        """Let both go on until a moment."""
        while min(self._next_s) <= to_s:
            i = int(np.argmin(self._next_s))
            self.world.advance(self._next_s[i])
            self._next_s[i] = next(self._lives[i])
        self.world.advance(to_s)

    def _life(self, person: int) -> Generator[float, None, None]:
        again = False
        while True:
            told = self._screen.told(person)
            if told.bottle is None or told.act in ("wait", "none"):
                yield self.world.now_s + IDLE_S
                continue
            bottle = told.bottle
            action = yield from self.players[person].doing(
                told, again=again, look=partial(self._glance, person, bottle)
            )
            again = False
            if action.struck is not None:
                struck_s = self.world.now_s
                self.strikes.append(Struck(person, struck_s, told, action))
                yield struck_s + READ_S
                again = not self._screen.understood(person, bottle, struck_s)

    def _glance(self, person: int, bottle: str) -> Glance:
        """A look at the screen before the mallet falls."""
        if self._screen.told(person).bottle != bottle:
            return "leave"
        return "hold" if self._screen.holds(person) else "strike"


class PairEar(Protocol):
    """Turns strikes in time into readings."""

    def strike(self, struck: Struck) -> None: ...

    def until(self, now_s: float, listening: Callable[[], Expectation]) -> list[Reading]: ...


class QuickPairEar:
    """The true pitch with an honest error. Of strikes that fall together near in pitch, neither is clear."""

    def __init__(self, world: World) -> None:
        self.world = world
        self._waiting: list[tuple[float, float, Reading]] = []

    def strike(self, struck: Struck) -> None:
        """A strike is measured as it falls, and read a moment later."""
        bottle = struck.action.struck
        assert bottle is not None
        hz = self.world.hz(bottle)
        heard = self.world.heard(bottle, weak=struck.action.weak)
        for i, (due_s, other_hz, _) in enumerate(self._waiting):
            if struck.at_s - (due_s - HEARD_S) < TOGETHER_S and abs(cents(hz, other_hz)) < APART_CENTS:
                heard = replace(heard, verdict="two_ringing")
                self._waiting[i] = (due_s, other_hz, heard)
        self._waiting.append((struck.at_s + HEARD_S, hz, heard))

    def until(self, now_s: float, listening: Callable[[], Expectation]) -> list[Reading]:
        """The readings that are there by now."""
        ready = [w for w in self._waiting if w[0] <= now_s]
        self._waiting = [w for w in self._waiting if w[0] > now_s]
        return [_in_band(s, listening()) for _, _, s in ready]


def _in_band(sounded: Reading, listening: Expectation) -> Reading:
    if sounded.hz is None or sounded.verdict != "clear":
        return sounded
    bands = [b for b in (listening, listening.beside) if b is not None]
    for band in bands:
        if band.target_hz is None or abs(cents(sounded.hz, band.target_hz)) <= band.half_width_cents:
            return sounded
    return replace(sounded, verdict="other_bottle")


class Mix:
    """What rings at once, and how it dies away."""

    def __init__(self) -> None:
        self._ringing = np.zeros(0)

    def add(self, sound: np.ndarray, after: int = 0) -> None:
        """Mix a sound in, some samples from now."""
        mixed = np.zeros(max(self._ringing.size, after + sound.size))
        mixed[: self._ringing.size] += self._ringing
        mixed[after : after + sound.size] += sound
        self._ringing = mixed

    def taken(self, noise: np.ndarray) -> np.ndarray:
        """As much of it as there is noise of the room, over that noise; the rest rings on."""
        sound, self._ringing = self._ringing[: noise.size], self._ringing[noise.size :]
        heard = noise.astype(np.float64)
        heard[: sound.size] += sound
        return heard


class MixedEar:
    """Both players' strikes as one sound in a room, through the real hearing; silence is passed over."""

    def __init__(self, world: World) -> None:
        self._sounding = SoundingEar(world)
        self._mix = Mix()
        self._at_s = self._until_s = world.now_s

    def strike(self, struck: Struck) -> None:
        """Mix a strike in."""
        assert struck.action.struck is not None
        if struck.at_s > self._until_s:  # all was quiet: only the moment before matters
            self._sounding.listen(self._sounding.noise(BEFORE_S))
            self._at_s = struck.at_s
        ringing = self._sounding.ringing(struck.action.struck, weak=struck.action.weak)
        self._mix.add(ringing, max(0, round((struck.at_s - self._at_s) * SAMPLE_RATE_HZ)))
        self._until_s = struck.at_s + STRIKE_S

    def until(self, now_s: float, listening: Callable[[], Expectation]) -> list[Reading]:
        """Listen until now."""
        count = round((min(now_s, self._until_s) - self._at_s) * SAMPLE_RATE_HZ)
        if count <= 0:
            return []
        self._at_s += count / SAMPLE_RATE_HZ
        noise = self._sounding.noise(count / SAMPLE_RATE_HZ)[:count]
        return self._sounding.listen(np.clip(self._mix.taken(noise), -1.0, 1.0), listening())
