"""Two ears for a virtual rig: one that makes the sound and measures it, one that is quick.

The sounding ear sends synthesised strikes through the same `rounds.hearing.Ear` that the microphone
feeds. The quick ear adds an error of the right size to the true pitch; it is for long simulations,
where a thousand rounds must not cost a thousand minutes.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from rounds.notes import cents

if TYPE_CHECKING:
    from rounds.hearing.reading import Expectation, Reading
    from rounds.simulation.player import PlayerAction
    from rounds.simulation.world import World

SAMPLE_RATE_HZ = 48_000
LOUD_DBFS, WEAK_DBFS = -12.0, -50.0
NOISE_DBFS = -66.0
ROOM_T60_S = 0.5
"""A furnished room."""
MICROPHONES_DRR_DB = {"near": 26.0, "far": 14.0}
"""Direct sound against the room's: within a hand of the bottle struck, and a step or two away."""
BEFORE_S, STRIKE_S = 0.4, 1.0


class SimulatedEar(Protocol):
    """Turns what a player did into what the session hears."""

    def hear(self, action: PlayerAction, listening: Expectation) -> Reading | None:
        """The strike as heard; None when nothing was struck or nothing was heard."""


class QuickEar:
    """The true pitch with an honest error; a pitch outside the band listened to is another bottle's."""

    def __init__(self, world: World) -> None:
        self.world = world

    def hear(self, action: PlayerAction, listening: Expectation) -> Reading | None:
        """The strike without its sound."""
        if action.struck is None:
            return None
        heard = self.world.heard(action.struck, weak=action.weak)
        target_hz = listening.target_hz
        if heard.hz is None or target_hz is None:
            return heard
        astray = abs(cents(heard.hz, target_hz)) > listening.half_width_cents
        return replace(heard, verdict="other_bottle") if astray else heard


class SoundingEar:
    """Strikes as sound in a room, through the real hearing."""

    def __init__(self, world: World) -> None:
        from rounds.hearing.ear import Ear
        from rounds.hearing.reading import Expectation

        self.world = world
        self._ear = Ear(SAMPLE_RATE_HZ, Expectation(), stages=("final",))
        self._ear.feed(self.noise(0.5))

    def hear(self, action: PlayerAction, listening: Expectation) -> Reading | None:
        """Synthesise the strike, feed it, and give the last reading that came of it."""
        if action.struck is None:
            return None
        heard = self.listen(self.sound(action.struck, weak=action.weak), listening)
        return heard[-1] if heard else None

    def listen(self, sound: np.ndarray, listening: Expectation | None = None) -> list[Reading]:
        """What comes of some sound."""
        from rounds.recognising.recognition import capped

        if listening is not None:
            self._ear.expectation = listening
        return [capped(r) for r in self._ear.feed(sound)]

    def sound(self, bottle_id: str, *, weak: bool = False) -> np.ndarray:
        """A bottle struck in the room, after a little silence."""
        wet = self.ringing(bottle_id, weak=weak)
        sound = self.noise(BEFORE_S + STRIKE_S)
        sound[-wet.size :] += wet[: sound.size]
        return np.asarray(np.clip(sound, -1.0, 1.0))

    def ringing(self, bottle_id: str, *, weak: bool = False) -> np.ndarray:
        """A bottle struck in the room, from the strike on, without the room's noise."""
        from rounds.simulation.sound import room, struck

        rng = self.world.rng
        loud = (WEAK_DBFS if weak else LOUD_DBFS) + rng.normal(0.0, 2.5)
        ring_s = _ring_s(self.world.hz(bottle_id)) * rng.lognormal(0.0, 0.15)
        dry = struck(
            self.world.hz(bottle_id),
            rng,
            sample_rate_hz=SAMPLE_RATE_HZ,
            duration_s=STRIKE_S,
            ring_s=ring_s,
            loudness_dbfs=loud,
        )
        return room(
            dry, MICROPHONES_DRR_DB[self.world.microphone], ROOM_T60_S, rng, sample_rate_hz=SAMPLE_RATE_HZ
        )

    def noise(self, seconds: float) -> np.ndarray:
        from rounds.simulation.sound import room_noise

        count = round(seconds * SAMPLE_RATE_HZ)
        return room_noise(count, self.world.rng, NOISE_DBFS, sample_rate_hz=SAMPLE_RATE_HZ)


def _ring_s(hz: float) -> float:
    """Ring time (T60): the bass rings longer. Invented, ordinary for struck plastic bottles."""
    return 0.45 + 0.35 * math.exp(-hz / 500.0)
