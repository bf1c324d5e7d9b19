"""The virtual rig as a microphone: hands play it, and blocks of sound come out in time.

A listener takes the blocks exactly as it takes those of a real microphone. Time on this stage is
counted in the frames it gave out, so a fast stage is a fast clock and nothing is skipped.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np

from rounds.simulation.ears import SAMPLE_RATE_HZ, SoundingEar
from rounds.simulation.pair import Duo, Mix

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from rounds.instruction import Instruction
    from rounds.simulation.pair import Asks
    from rounds.simulation.player import Player
    from rounds.simulation.world import World

    Asked = Callable[[], tuple[Instruction, bool]]

BLOCK = 480
READS_S = 1.2
"""The hands wait this long after a strike, as a player reads what it says."""
IDLE_S = 0.5
PIECE_S = 0.05


class _Paced:
    """Blocks of sound in their time. `speed` is how many seconds of the stage go into one of the room."""

    sample_rate_hz = SAMPLE_RATE_HZ

    def __init__(self, world: World, speed: float) -> None:
        self._world = world
        self._speed = speed
        self._start_s = world.now_s
        self._frames = 0
        self._closed = False
        self._ear = SoundingEar(world)

    def now_s(self) -> float:
        """The stage's own clock."""
        return self._start_s + self._frames / SAMPLE_RATE_HZ

    def close(self) -> None:
        """Stop playing."""
        self._closed = True

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Blocks of 10 ms, paced, until closed."""
        began_s = time.monotonic()
        for sound in self._sounds():
            for start in range(0, sound.size, BLOCK):
                if self._closed:
                    return
                block = sound[start : start + BLOCK]
                self._frames += block.size
                self._world.advance(self.now_s())
                ahead_s = self._frames / SAMPLE_RATE_HZ / self._speed - (time.monotonic() - began_s)
                if ahead_s > 0.0:
                    time.sleep(ahead_s)
                yield np.asarray(block, dtype=np.float32)

    def _sounds(self) -> Iterator[NDArray[np.float32]]:
        raise NotImplementedError


class Stage(_Paced):
    """A source of sound in which a simulated player does what is asked.

    `asked` tells what the player is told now, and whether the last strike was understood; it is called
    on the listener's thread. `speed` is how many seconds of the stage go into one second of the room.
    """

    def __init__(
        self,
        world: World,
        player: Player,
        asked: Callable[[], tuple[Instruction, bool]],
        *,
        speed: float = 1.0,
    ) -> None:
        super().__init__(world, speed)
        self._player = player
        self._asked = asked

    def _sounds(self) -> Iterator[NDArray[np.float32]]:
        """What happens, act by act: the time an act takes is heard as the room, then the strike."""
        while not self._closed:
            told, understood = self._asked()
            if told.bottle is None or told.act in ("none", "wait"):
                yield self._ear.noise(IDLE_S)
                continue
            action = self._player.act(told, again=not understood)
            behind_s = self._world.now_s - self.now_s()
            if behind_s > 0.0:
                yield self._ear.noise(behind_s)
            if action.struck is not None:
                yield self._ear.sound(action.struck, weak=action.weak)
            yield self._ear.noise(READS_S)


class PairStage(_Paced):
    """The same with two players, each at their own pace, their strikes mixed as they fall."""

    def __init__(self, world: World, players: Sequence[Player], screen: Asks, *, speed: float = 1.0) -> None:
        super().__init__(world, speed)
        self._duo = Duo(world, players, screen)
        self._mix = Mix()

    def _sounds(self) -> Iterator[NDArray[np.float32]]:
        """The room and all that rings, in pieces of a twentieth of a second."""
        while not self._closed:
            self._duo.until(self.now_s())
            while self._duo.strikes:
                action = self._duo.strikes.popleft().action
                if action.struck is not None:
                    self._mix.add(self._ear.ringing(action.struck, weak=action.weak))
            yield np.clip(self._mix.taken(self._ear.noise(PIECE_S)), -1.0, 1.0)
