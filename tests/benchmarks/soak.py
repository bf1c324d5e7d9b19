"""Listen for long: `python -m tests.benchmarks.soak MINUTES`, a strike every 5 s into the microphone.

Every third strike is soon over (a fall by 60 dB in 0.2 s), the others ring. The microphone is a null sink
(`tests/null_audio.sh`). Counts misses and doubles, and watches memory, processor time, faults, and how long
after a strike its readings are there (by the frame clock: from when the strike's own samples arrived).
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections import defaultdict
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does

import numpy as np

from rounds.hearing.listener import Listener
from rounds.hearing.microphone import Microphone
from rounds.hearing.quiet import c_noise_to
from rounds.hearing.reading import Expectation, Reading
from rounds.notes import cents
from rounds.simulation.sound import room, room_noise, struck
from tests.audio import NullAudio, missing_parts, write_wav

RATE_HZ = 48_000
EVERY_S = 5.0
PITCHES = 24
RING_S, SHORT_RING_S = 0.7, 0.2
RINGS_S = 0.35
"""A strike that rings longer than this, as it was read, counts as one that rings."""


class Soak:
    """What was played, and what was heard of it."""

    def __init__(self) -> None:
        self.readings: list[tuple[float, Reading]] = []
        self.faults: list[str | None] = []

    def take(self, reading: Reading) -> None:
        """From the listener's thread."""
        self.readings.append((time.time(), reading))

    def late_ms(self) -> dict[str, list[float]]:
        """Per stage, the final ones by whether it rings on: from the strike to its reading."""
        late: dict[str, list[float]] = defaultdict(list)
        for now_s, reading in self.readings:
            rings = "rings" if (reading.ring_s or 1.0) > RINGS_S else "soon over"
            kind = reading.stage if reading.stage == "provisional" else f"{reading.stage}, {rings}"
            late[kind].append(1e3 * (now_s - reading.at_s))
        return late

    def finals(self, since: int) -> list[Reading]:
        """Final readings since a count of readings."""
        return [r for _, r in self.readings[since:] if r.stage == "final"]


def _resident_mb() -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024.0
    return 0.0


def _sounds(folder: Path) -> list[tuple[float, Path]]:
    sounds = []
    for number, hz in enumerate(np.geomspace(131.0, 1568.0, PITCHES)):
        rng = np.random.default_rng([77, number])
        ring_s = RING_S if number % 3 else SHORT_RING_S
        dry = np.concatenate(
            [np.zeros(14_400, np.float32), struck(float(hz), rng, duration_s=1.2, ring_s=ring_s)]
        )
        heard = room(dry, 20.0, 0.4, rng) + room_noise(dry.size, rng, -70.0)
        sounds.append((float(hz), write_wav(folder / f"{number}.wav", heard, RATE_HZ)))
    return sounds


def _soak(minutes: float, soak: Soak, server: NullAudio, folder: Path) -> tuple[int, int, int, float]:
    """Play and listen; returns strikes, misses, doubles and the worst error in cents."""
    sounds = _sounds(folder)
    missed = doubled = played = 0
    worst = 0.0
    end_s = time.monotonic() + 60.0 * minutes
    while time.monotonic() < end_s:
        begun, before = time.monotonic(), len(soak.readings)
        hz, path = sounds[played % len(sounds)]
        server.play(path).wait(timeout=10.0)
        time.sleep(max(0.5, EVERY_S - (time.monotonic() - begun)))
        finals = soak.finals(before)
        played += 1
        missed += not finals
        doubled += len(finals) > 1
        worst = max([worst, *(abs(cents(r.hz, hz)) for r in finals if r.hz and r.verdict == "clear")])
        if played % 24 == 0:
            print(
                f"{played:5d} strikes, {missed} missed, {doubled} double, {_resident_mb():.1f} MB", flush=True
            )
    return played, missed, doubled, worst


def main() -> None:
    """Run it and print what came of it."""
    parser = argparse.ArgumentParser(description="Listen for long through a null-sink microphone.")
    parser.add_argument("minutes", type=float)
    minutes = parser.parse_args().minutes
    if missing := missing_parts():
        raise SystemExit(f"real audio needs {missing}")
    server, soak = NullAudio(), Soak()
    os.environ.update(server.variables)
    with tempfile.TemporaryDirectory() as name, c_noise_to(Path(name) / "audio.log"):
        listener = Listener(Microphone, soak.take, on_fault=soak.faults.append, expectation=Expectation())
        listener.start()
        time.sleep(1.0)
        memory_mb, spent_s, begun_s = _resident_mb(), time.process_time(), time.monotonic()
        try:
            played, missed, doubled, worst = _soak(minutes, soak, server, Path(name))
            share = (time.process_time() - spent_s) / (time.monotonic() - begun_s)
        finally:
            listener.stop()
            server.stop()
    print(f"{played} strikes, {missed} missed, {doubled} double, worst clear error {worst:.2f} cents")
    print(f"memory {memory_mb:.1f} -> {_resident_mb():.1f} MB, processor {share:.1%} of one core")
    print(f"faults {soak.faults}")
    for stage, late in soak.late_ms().items():
        print(
            f"{stage:17s} {np.median(late):5.0f} ms after the strike (median), {np.max(late):.0f} ms (most)"
        )


if __name__ == "__main__":
    main()
