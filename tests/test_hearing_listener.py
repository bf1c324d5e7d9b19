"""The listener, its clock and its watch for lost sound, on sources made for the purpose."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.errors import AudioError
from rounds.hearing.listener import FrameClock, Listener
from rounds.hearing.pace import Pace
from rounds.hearing.reading import Expectation, Reading
from rounds.simulation import sound

if TYPE_CHECKING:
    from collections.abc import Iterator

RATE_HZ = 48_000


def _blocks(hz: float, number: int) -> list[np.ndarray]:
    rng = np.random.default_rng([32, number])
    samples = np.concatenate([np.zeros(14_400, np.float32), sound.struck(hz, rng, duration_s=0.7)])
    return np.array_split(samples + sound.room_noise(samples.size, rng, -70.0), samples.size // 480)


class Script:
    """A source that plays blocks and then ends, or breaks."""

    sample_rate_hz = RATE_HZ

    def __init__(self, blocks: list[np.ndarray], *, breaks: bool = False) -> None:
        self._blocks, self._breaks, self.closed = blocks, breaks, False

    def blocks(self) -> Iterator[np.ndarray]:
        yield from self._blocks
        if self._breaks:
            raise AudioError("gone")

    def close(self) -> None:
        self.closed = True


def _run(sources: list[Script], **how: object) -> tuple[list[Reading], list[str | None]]:
    readings: list[Reading] = []
    faults: list[str | None] = []
    waiting = list(sources)
    listener = Listener(
        lambda: waiting.pop(0),
        readings.append,
        on_fault=faults.append,
        stages=("final",),
        **how,  # type: ignore[arg-type]
    )
    listener.start()
    listener._thread.join(10.0)
    assert not listener.listening
    assert all(source.closed for source in sources)
    return readings, faults


def test_a_source_that_ends_is_read_and_closed() -> None:
    readings, faults = _run([Script(_blocks(440.0, 1))])
    assert [r.hz for r in readings] == [pytest.approx(440.0, rel=1e-3)]
    assert faults == []


def test_a_lost_source_is_told_and_opened_again() -> None:
    readings, faults = _run([Script(_blocks(440.0, 2), breaks=True), Script(_blocks(523.3, 3))])
    assert [r.hz for r in readings] == [pytest.approx(440.0, rel=1e-3), pytest.approx(523.3, rel=1e-3)]
    assert faults == ["gone", None]


def test_readings_are_timed_by_the_clock_given() -> None:
    readings, _ = _run([Script(_blocks(440.0, 4))], clock=lambda: 1000.0)
    # Every block arrives at 1000 s, so the one that completes the strike does, 0.39 s in.
    assert readings[0].at_s == pytest.approx(1000.0 - 0.39, abs=0.02)


def test_a_fault_of_ours_is_told_and_not_swallowed() -> None:
    def broken(_reading: Reading) -> None:
        raise RuntimeError("boom")

    faults: list[str | None] = []
    listener = Listener(lambda: Script(_blocks(440.0, 5)), broken, on_fault=faults.append)
    listener.start()
    listener._thread.join(10.0)
    assert faults
    assert "boom" in str(faults[0])


def test_the_expectation_changes_while_it_listens() -> None:
    class Endless(Script):
        def blocks(self) -> Iterator[np.ndarray]:
            while not self.closed:
                time.sleep(0.001)
                yield from self._blocks

    got = threading.Event()
    readings: list[Reading] = []

    def on_reading(reading: Reading) -> None:
        readings.append(reading)
        if reading.verdict == "clear" and reading.cents is not None:
            got.set()

    listener = Listener(
        lambda: Endless(_blocks(440.0, 6)), on_reading, expectation=Expectation(660.0), stages=("final",)
    )
    listener.start()
    while not readings:
        time.sleep(0.01)
    assert readings[0].verdict == "other_bottle"
    listener.expect(Expectation(441.0))
    assert got.wait(10.0)
    listener.stop()
    assert not listener.listening


def _feed_pace(arrivals: list[tuple[int, float]]) -> list[float]:
    pace = Pace(RATE_HZ)
    return [lost for frames, now_s in arrivals if (lost := pace.feed(frames, now_s)) > 0.0]


def test_lost_frames_are_noticed_within_a_second() -> None:
    arrivals = [(480, 0.01 * k) for k in range(500)]
    arrivals += [(480, 5.0 + 0.4 + 0.01 * k) for k in range(90)]
    assert _feed_pace(arrivals)[0] == pytest.approx(0.4, abs=0.02)


def test_a_late_block_that_catches_up_is_no_loss() -> None:
    arrivals = [(480, 0.01 * k) for k in range(500)]
    arrivals += [(480, 5.9 + 1e-4 * k) for k in range(90)]
    arrivals += [(480, 5.9 + 0.01 * k) for k in range(1, 200)]
    assert _feed_pace(arrivals) == []


def test_two_clocks_that_differ_a_little_are_no_loss() -> None:
    assert _feed_pace([(480, 0.01 * k * 1.0005) for k in range(360_000)]) == []


def test_the_frame_clock_follows_drift_and_forgives_late_blocks() -> None:
    clock = FrameClock()
    rng = np.random.default_rng(33)
    for k in range(60_000):
        late_s = float(rng.exponential(0.01)) if k % 100 else 0.8
        clock.arrived(0.01 * k, 0.01, 50.0 + 0.01 * k * 1.0002 + late_s)
    assert clock.at_s(600.0) == pytest.approx(50.0 + 600.0 * 1.0002, abs=0.03)


def test_the_frame_clock_believes_a_clock_that_was_set() -> None:
    clock = FrameClock()
    clock.arrived(1.0, 0.01, 100.0)
    clock.arrived(2.0, 0.01, 7000.0)
    assert clock.at_s(2.0) == pytest.approx(7000.0)
