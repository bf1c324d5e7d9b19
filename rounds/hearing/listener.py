"""A thread that listens until it is stopped, and opens the microphone anew when the sound is lost.

It opens a source, runs an ear over it and calls back with readings, levels and faults. Readings carry
the time of the clock it was given (UTC epoch seconds by default), not that of the source: a source
that was opened again starts from zero. The callbacks run on the listener's thread and must be quick.
"""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.errors import AudioError, RoundsError
from rounds.hearing.ear import STAGES, Ear
from rounds.hearing.reading import Expectation

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.hearing.reading import Reading, Stage
    from rounds.hearing.sources import Source

RETRY_S = 0.5
LEVEL_EVERY_S = 0.1
DRIFT_SHARE = 1e-3
"""How fast a sound card's clock may run away from the computer's."""
JUMP_S = 2.0
"""The clock was set: believe it anew."""


class FrameClock:
    """When a frame was heard, from when blocks arrive: late blocks are forgiven, slow drift is followed."""

    def __init__(self) -> None:
        self._start_s: float | None = None

    def arrived(self, heard_s: float, block_s: float, now_s: float) -> None:
        """A block that brings the stream to `heard_s` arrived at `now_s`."""
        start_s = now_s - heard_s
        if self._start_s is None or start_s - self._start_s > JUMP_S:
            self._start_s = start_s
        else:
            self._start_s = min(self._start_s + DRIFT_SHARE * block_s, start_s)

    def at_s(self, stream_s: float) -> float:
        """The clock's time for a moment of the stream."""
        return stream_s + (self._start_s or 0.0)


class Listener:
    """Runs an ear over a source in a thread, opening it again after every loss."""

    def __init__(
        self,
        source_factory: Callable[[], Source],
        on_reading: Callable[[Reading], None],
        on_level: Callable[[float, float], None] = lambda _level_dbfs, _floor_dbfs: None,
        on_fault: Callable[[str | None], None] = lambda _sentence: None,
        *,
        expectation: Expectation | None = None,
        stages: tuple[Stage, ...] = STAGES,
        clock: Callable[[], float] = time.time,
    ) -> None:
        """Prepare; nothing is opened before `start`.

        Args:
            source_factory: Opens the source, anew after each loss.
            on_reading: Called with every reading.
            on_level: Called ten times a second with the level and the noise floor, dBFS.
            on_fault: Called with a sentence when sound is lost, and with None when it is back.
            expectation: What to wait for at first.
            stages: Which readings of a strike are wanted.
            clock: What readings are timed by.
        """
        self._source_factory = source_factory
        self._on_reading = on_reading
        self._on_level = on_level
        self._on_fault = on_fault
        self._expectation = expectation or Expectation()
        self._stages = stages
        self._clock = clock
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)
        self._source: Source | None = None
        self._times: tuple[float, float] = (-1.0, 0.0)
        self._fault: str | None = None

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self, timeout_s: float = 3.0) -> None:
        """Stop, and give the source back."""
        self._stopping.set()
        source = self._source
        if source is not None:
            source.close()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join(timeout_s)

    @property
    def listening(self) -> bool:
        """Whether the thread runs: false after `stop`, and when a recording has ended."""
        return self._thread.is_alive()

    def expect(self, expectation: Expectation) -> None:
        """Change what is waited for, from the next reading on; from any thread."""
        self._expectation = expectation

    def _run(self) -> None:
        try:
            while not self._stopping.is_set() and not self._ended():
                self._stopping.wait(RETRY_S)
        except Exception as error:  # noqa: BLE001  (end of a thread: the face must be told)
            self._on_fault(f"Listening has ended ({type(error).__name__}: {error}); start the tool again.")

    def _ended(self) -> bool:
        """Listen until the source ends (True) or is lost (False)."""
        try:
            source = self._source = self._source_factory()
        except RoundsError as error:
            self._tell_fault(str(error))
            return not isinstance(error, AudioError)
        try:
            self._listen(source)
        except AudioError as error:
            self._tell_fault(str(error))  # before closing, which may take a while
            return False
        finally:
            source.close()
        return True

    def _listen(self, source: Source) -> None:
        ear = Ear(source.sample_rate_hz, self._expectation, stages=self._stages)
        self._times = (-1.0, 0.0)
        frames, told_s = FrameClock(), 0.0
        for block in source.blocks():
            if self._stopping.is_set():
                return
            self._tell_fault(None)
            ear.expectation = self._expectation
            readings = ear.feed(block)
            frames.arrived(ear.heard_s, block.size / source.sample_rate_hz, self._clock())
            self._tell(readings, frames)
            if ear.heard_s - told_s >= LEVEL_EVERY_S:
                told_s = ear.heard_s
                self._on_level(ear.level_dbfs, ear.noise_floor_dbfs)
        self._tell(ear.flush(), frames)

    def _tell(self, readings: list[Reading], frames: FrameClock) -> None:
        for reading in readings:
            if reading.at_s != self._times[0]:
                self._times = (reading.at_s, frames.at_s(reading.at_s))
            self._on_reading(replace(reading, at_s=self._times[1]))  # the same for all stages of a strike

    def _tell_fault(self, sentence: str | None) -> None:
        if sentence != self._fault:
            self._fault = sentence
            self._on_fault(sentence)
