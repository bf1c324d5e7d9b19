"""Real audio in tests, without a sound card: `null_audio` is a server whose sink is the microphone.

Use it in a test module by importing the fixture and marking the test:

    from tests.audio import NullAudio, null_audio_fixture  # noqa: F401

    @pytest.mark.realaudio
    def test_hears(null_audio: NullAudio) -> None: ...
"""

from __future__ import annotations

import ctypes.util
import os
import re
import shutil
import signal
import subprocess
import time
import wave
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SCRIPT = Path(__file__).with_name("null_audio.sh")
SETTLED_S = 0.3
"""A sink that has just begun to run needs this long before what is played goes through whole."""


def missing_parts() -> str:
    """What this machine lacks for real audio; empty when nothing."""
    missing = [name for name in ("pulseaudio", "pactl", "paplay", "bash") if shutil.which(name) is None]
    if ctypes.util.find_library("portaudio") is None:
        missing.append("libportaudio")
    return ", ".join(missing)


def write_wav(path: Path, samples: np.ndarray, sample_rate_hz: int) -> Path:
    """Write mono 16-bit PCM."""
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, sample_rate_hz, 0, "NONE", ""))
        file.writeframes((np.clip(samples, -1.0, 1.0) * 32767).astype("<i2").tobytes())
    return path


def wait_until(condition: Callable[[], bool], timeout_s: float) -> float:
    """Wait for a condition; return how long it took, or fail."""
    begun = time.monotonic()
    while not condition():
        if time.monotonic() - begun > timeout_s:
            pytest.fail(f"not within {timeout_s} s")
        time.sleep(0.005)
    return time.monotonic() - begun


class NullAudio:
    """A running server. It may be frozen, thawed and killed."""

    def __init__(self, rate_hz: int = 48_000) -> None:
        done = subprocess.run(
            [str(SCRIPT), "start"],
            env={**os.environ, "NULL_AUDIO_RATE": str(rate_hz)},
            stdout=subprocess.PIPE,
            text=True,
            check=True,
            timeout=30,
        )
        self.variables = dict(re.findall(r"(\w+)=(\S+)", done.stdout))
        self.pid = int(self.variables["NULL_AUDIO_PID"])

    def environment(self) -> dict[str, str]:
        """The variables of a process that uses this server."""
        return {**os.environ, **self.variables}

    def play(self, path: Path, name: str = "bench") -> subprocess.Popen[bytes]:
        """Play a file into the microphone; returns at once."""
        return subprocess.Popen(["paplay", f"--device={name}", str(path)], env=self.environment())

    def control(self, *words: str) -> str:
        """Tell the server something (pactl); returns its answer."""
        done = subprocess.run(
            ["pactl", *words],
            env=self.environment(),
            stdout=subprocess.PIPE,
            text=True,
            check=True,
            timeout=30,
        )
        return done.stdout

    def unplug(self) -> None:
        """Take the microphone away; the server stays."""
        self.control("unload-module", "module-null-sink")

    def plug(self, rate_hz: int, name: str = "bench") -> None:
        """A microphone comes, and becomes the default."""
        how = (f"sink_name={name}", f"rate={rate_hz}", "channels=1", "format=float32le", "norewinds=1")
        self.control("load-module", "module-null-sink", *how)
        self.control("set-default-source", f"{name}.monitor")

    def freeze(self) -> None:
        """The server stops answering, without dying."""
        os.kill(self.pid, signal.SIGSTOP)

    def thaw(self) -> None:
        """The server goes on."""
        os.kill(self.pid, signal.SIGCONT)

    def kill(self) -> None:
        """The server dies at once."""
        os.kill(self.pid, signal.SIGKILL)

    def stop(self) -> None:
        """End the server and remove its folder."""
        subprocess.run(
            [str(SCRIPT), "stop"], env=self.environment(), stdout=subprocess.DEVNULL, check=True, timeout=30
        )


@pytest.fixture(name="null_audio")
def null_audio_fixture(monkeypatch: pytest.MonkeyPatch) -> Iterator[NullAudio]:
    """A server of its own, which this process sees as its default microphone."""
    if missing := missing_parts():
        pytest.skip(f"real audio needs {missing}")
    server = NullAudio()
    for name, value in server.variables.items():
        monkeypatch.setenv(name, value)
    try:
        yield server
    finally:
        server.stop()
