"""A long recording through `rounds hear`: `python -m tests.benchmarks.recordings [--minutes 60]`.

Writes WAV files of a minute and of an hour, a strike every 5 s, reads each with the command in a process
of its own, and prints how many strikes were found, how much faster than the sound itself, and the most
memory it took: the hour must take no more than the minute.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
import wave
from pathlib import Path

import numpy as np

from rounds.simulation.sound import room, room_noise, struck

RATE_HZ = 48_000
EVERY_S = 5


def _minute() -> bytes:
    rng = np.random.default_rng([2026, 95])
    dry = np.zeros(60 * RATE_HZ, np.float32)
    for at_s, hz in zip(range(1, 60, EVERY_S), np.geomspace(131.0, 1568.0, 60 // EVERY_S), strict=True):
        one = struck(float(hz), rng, duration_s=1.5, ring_s=0.8)
        dry[at_s * RATE_HZ :][: one.size] += one
    heard = room(dry, 20.0, 0.4, rng) + room_noise(dry.size, rng, -70.0)
    return bytes((np.clip(heard, -1.0, 1.0) * 32767).astype("<i2").tobytes())


def _measure(path: Path, minutes: int) -> None:
    command = [sys.executable, "-m", "rounds", "hear", str(path), "--json"]
    begun_s = time.monotonic()
    running = subprocess.Popen(command, stdout=subprocess.PIPE)
    printed = running.stdout.read() if running.stdout else b""
    _, status, used = os.wait4(running.pid, 0)
    took_s, spent_s = time.monotonic() - begun_s, used.ru_utime + used.ru_stime
    strikes = json.loads(printed)["files"][0]["strikes"]
    clear = sum(s["verdict"] == "clear" for s in strikes)
    code, made = os.waitstatus_to_exitcode(status), minutes * 60 // EVERY_S
    print(
        f"{minutes:3d} min: exit {code}, {len(strikes)} of {made} strikes ({clear} clear), "
        f"{took_s:.1f} s by the clock ({60 * minutes / took_s:.0f} x), "
        f"{spent_s:.1f} s of processor ({60 * minutes / spent_s:.0f} x), {used.ru_maxrss / 1024:.0f} MB"
    )


def main() -> None:
    """Write, read, tell."""
    parser = argparse.ArgumentParser(description="A long recording through `rounds hear`.")
    parser.add_argument("--minutes", type=int, default=60)
    longest = parser.parse_args().minutes
    sound = _minute()
    with tempfile.TemporaryDirectory() as folder:
        for minutes in (1, longest):
            path = Path(folder) / f"{minutes}.wav"
            with wave.open(str(path), "wb") as file:
                file.setparams((1, 2, RATE_HZ, 0, "NONE", ""))
                for _ in range(minutes):
                    file.writeframes(sound)
            _measure(path, minutes)
            path.unlink()


if __name__ == "__main__":
    main()
