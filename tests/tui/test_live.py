"""A strike, from its sound to the screen. No sound card is needed; tests/test_live.py has one.

The sound is of our own making (`rounds.simulation.sound`); its pitch is known, and the figure on the
screen must be that pitch within a cent.
"""

from __future__ import annotations

import asyncio
import time
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.faces.controller import RoundRequest
from rounds.faces.live import Live
from rounds.journal import MemoryJournal
from rounds.notes import shifted_hz
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation import sound
from rounds.tui.app import RoundsApp
from rounds.tui.widgets.reading import Reading, ReadingModel
from rounds.tui.widgets.slab import Slab

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Iterator

    from numpy.typing import NDArray
    from textual.pilot import Pilot

    from rounds.hearing.sources import Source

RIG = Path(__file__).parents[2] / "configs" / "one_rail.toml"
RATE_HZ = 48_000
BLOCK = 480
OFF_CENTS, NEAR_CENTS = 17.0, 1.0
PATIENCE_S = 15.0
MOST_STRIKES, AGAIN_S = 4, 4.0


class Tape:
    """A source of quiet room until a strike is put on it; paced like a microphone."""

    sample_rate_hz = RATE_HZ

    def __init__(self) -> None:
        self._waiting: list[NDArray[np.float32]] = []
        self._closed = False
        self._room = sound.room_noise(60 * RATE_HZ, np.random.default_rng(5), -75.0)

    def put(self, samples: NDArray[np.float32]) -> None:
        self._waiting.append(samples)

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        struck = np.zeros(0, np.float32)
        began_s, at = time.monotonic(), 0
        while not self._closed:
            if not struck.size and self._waiting:
                struck = self._waiting.pop(0)
            block = np.take(self._room, range(at, at + BLOCK), mode="wrap")
            block[: struck[:BLOCK].size] += struck[:BLOCK]
            struck, at = struck[BLOCK:], at + BLOCK
            time.sleep(max(0.0, at / RATE_HZ - (time.monotonic() - began_s)))
            yield block

    def close(self) -> None:
        self._closed = True


@asynccontextmanager
async def on_screen(source: Callable[[], Source], accepted: Path) -> AsyncIterator[tuple[Live, Pilot[int]]]:
    session = Session(load_rig(RIG), MemoryJournal(), time.time())
    accepted.touch()
    live = Live(session, time.time, accepted_file=accepted)
    live.open_round(RoundRequest(downbeat_in_s=900.0, temp_c=21.0))
    live.listen_to(source)
    try:
        async with RoundsApp(live).run_test(size=(80, 24)) as pilot:
            yield live, pilot
    finally:
        live.close()


async def shows(pilot: Pilot[int], condition: Callable[[], bool], patience_s: float = PATIENCE_S) -> bool:
    """Wait, as a player would, until the screen shows it."""
    limit_s = time.monotonic() + patience_s
    while not condition() and time.monotonic() < limit_s:
        await asyncio.sleep(0.05)
        await pilot.pause()
    return condition()


def strike_of(live: Live) -> NDArray[np.float32]:
    """The bottle asked for, 17 cents sharp."""
    bottle = live.view().instruction.bottle
    assert bottle is not None
    hz = shifted_hz(live.rig.target_hz(bottle), OFF_CENTS)
    return sound.struck(hz, np.random.default_rng(8), duration_s=0.9, ring_s=0.7)


def reading_of(pilot: Pilot[int]) -> ReadingModel | None:
    model = pilot.app.screen.query_one(Reading).model
    return model if model is not None and model.verdict == "clear" else None


async def _struck(live: Live, pilot: Pilot[int], play: Callable[[NDArray[np.float32]], object]) -> None:
    """Strike as a player does: again, while the screen says that a strike was not clear."""
    asked = live.view().instruction.bottle
    slab = pilot.app.screen.query_one(Slab)
    assert await shows(pilot, lambda: slab.model is not None and slab.model.order == "STRIKE")
    for _ in range(MOST_STRIKES):
        play(strike_of(live))
        assert await shows(pilot, lambda: reading_of(pilot) is not None)
        model = reading_of(pilot)
        assert model is not None
        assert model.note == asked
        assert model.cents == pytest.approx(OFF_CENTS, abs=NEAR_CENTS)
        if await shows(pilot, lambda: slab.model is not None and slab.model.name != asked, AGAIN_S):
            return
    pytest.fail(f"{asked} was struck {MOST_STRIKES} times and never believed: {live.view().reading}")


async def test_a_strike_reaches_the_screen_and_moves_the_round_on(tmp_path: Path) -> None:
    tape = Tape()
    async with on_screen(lambda: tape, tmp_path / "read") as (live, pilot):
        assert await shows(pilot, lambda: live.level().state == "listening")
        await _struck(live, pilot, tape.put)
