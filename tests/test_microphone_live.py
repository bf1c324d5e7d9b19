"""The microphone on real audio: a strike played into it is read, and every loss is seen and survived."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.hearing.listener import Listener
from rounds.hearing.microphone import InputDevice, Microphone, input_devices
from rounds.hearing.reading import Expectation, Reading
from rounds.notes import cents
from rounds.simulation import sound
from tests.audio import NullAudio, null_audio_fixture, wait_until, write_wav  # noqa: F401

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = [pytest.mark.realaudio, pytest.mark.slow]
RATE_HZ = 48_000
PITCHES_HZ = (261.63, 329.63, 523.25, 783.99)


class Heard:
    """What a listener has said."""

    def __init__(self) -> None:
        self.readings: list[tuple[float, Reading]] = []
        self.levels: list[float] = []
        self.faults: list[str | None] = []

    def listener(self) -> Listener:
        return Listener(
            Microphone,
            lambda reading: self.readings.append((time.time(), reading)),
            lambda level_dbfs, _floor_dbfs: self.levels.append(level_dbfs),
            self.faults.append,
            expectation=Expectation(),
        )

    def finals(self) -> list[Reading]:
        return [r for _, r in self.readings if r.stage == "final"]


@pytest.fixture
def heard(null_audio: NullAudio) -> Iterator[Heard]:
    heard = Heard()
    listener = heard.listener()
    listener.start()
    wait_until(lambda: len(heard.levels) > 3, 5.0)
    yield heard
    listener.stop()
    assert not listener.listening


def _strikes(path: Path, pitches_hz: tuple[float, ...] = PITCHES_HZ) -> Path:
    rng = np.random.default_rng(31)
    parts = [np.zeros(RATE_HZ // 2, np.float32)]
    parts += [sound.struck(hz, rng, duration_s=0.9, ring_s=0.8) for hz in pitches_hz]
    samples = np.concatenate(parts)
    return write_wav(path, samples + sound.room_noise(samples.size, rng, -75.0), RATE_HZ)


def _come_or_lost(heard: Heard, expected: int, faults: int) -> bool:
    return len(heard.finals()) >= expected or len(heard.faults) > faults


def _played(heard: Heard, null_audio: NullAudio, path: Path, expected: int, name: str = "bench") -> None:
    """Play until it has come through whole.

    A busy machine loses sound on the way, and the listener must say so: only what was not said counts.
    """
    for _ in range(5):
        wait_until(lambda: not heard.faults or heard.faults[-1] is None, 10.0)
        heard.readings.clear()
        told = len(heard.faults)
        assert null_audio.play(path, name).wait(timeout=30) == 0
        wait_until(partial(_come_or_lost, heard, expected, told), 5.0)
        time.sleep(0.6)  # what comes too much would come now: another reading, or a loss that is told
        if len(heard.faults) == told:
            return
    pytest.fail(f"sound was lost five times: {heard.faults}")


def test_strikes_are_read_within_a_cent_and_once_each(
    heard: Heard,
    null_audio: NullAudio,
    tmp_path: Path,
) -> None:
    _played(heard, null_audio, _strikes(tmp_path / "strikes.wav"), len(PITCHES_HZ))
    finals = heard.finals()
    assert len(finals) == len(PITCHES_HZ)
    assert [r.verdict for r in finals] == ["clear"] * len(PITCHES_HZ)
    for reading, hz in zip(finals, PITCHES_HZ, strict=True):
        assert reading.hz is not None
        assert abs(cents(reading.hz, hz)) < 1.0


def test_stages_share_one_time_on_the_clock(heard: Heard, null_audio: NullAudio, tmp_path: Path) -> None:
    before_s = time.time()
    _played(heard, null_audio, _strikes(tmp_path / "one.wav", (440.0,)), 1)
    assert [r.stage for _, r in heard.readings] == ["provisional", "final"]
    assert len({r.at_s for _, r in heard.readings}) == 1
    assert before_s < heard.readings[0][1].at_s < time.time()


def test_a_frozen_server_is_noticed_within_a_second_and_survived(
    heard: Heard,
    null_audio: NullAudio,
    tmp_path: Path,
) -> None:
    null_audio.freeze()
    took_s = wait_until(lambda: bool(heard.faults), 3.0)
    assert took_s < 1.0
    assert heard.faults[0]
    null_audio.thaw()
    _played(heard, null_audio, _strikes(tmp_path / "again.wav", (440.0,)), 1)


def test_a_microphone_that_is_unplugged_is_told_and_one_plugged_in_is_taken_up(
    heard: Heard, null_audio: NullAudio, tmp_path: Path
) -> None:
    """The sound server stays; the microphone goes, and comes back at another sample rate."""
    null_audio.unplug()
    took_s = wait_until(lambda: bool(heard.faults), 3.0)
    assert took_s < 1.0
    assert heard.faults[0] is not None
    assert "plug" in heard.faults[0]
    time.sleep(1.5)  # it tries again meanwhile, in vain
    assert all(fault is not None and "plug" in fault for fault in heard.faults)
    null_audio.plug(44_100)
    wait_until(lambda: heard.faults[-1] is None, 10.0)
    _played(heard, null_audio, _strikes(tmp_path / "again.wav", (440.0,)), 1)
    assert abs(cents(heard.finals()[-1].hz or 1.0, 440.0)) < 1.0


def test_another_microphone_made_the_default_is_listened_to(
    heard: Heard, null_audio: NullAudio, tmp_path: Path
) -> None:
    """The sound server moves us over; strikes into the new one are read, into the old one they are not."""
    null_audio.plug(44_100, "other")
    wait_until(lambda: "RUNNING" in _source_line(null_audio, "other.monitor"), 5.0)
    path = _strikes(tmp_path / "one.wav", (440.0,))
    _played(heard, null_audio, path, 1, name="other")
    assert abs(cents(heard.finals()[-1].hz or 1.0, 440.0)) < 1.0
    heard.readings.clear()
    assert null_audio.play(path).wait(timeout=30) == 0
    time.sleep(0.5)
    assert not heard.readings


def _source_line(null_audio: NullAudio, name: str) -> str:
    lines = null_audio.control("list", "short", "sources").splitlines()
    return next((line for line in lines if name in line), "")


def test_a_stall_of_ours_loses_no_strike_or_says_so_within_a_second(
    null_audio: NullAudio, tmp_path: Path
) -> None:
    """The listening process is stopped for three seconds, as a computer that hangs stops it; a strike falls
    into that time. The sound server keeps what it can."""
    path = _strikes(tmp_path / "one.wav", (440.0,))
    command = [sys.executable, "-m", "tests.listening"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as listening:
        told: list[str] = []
        reader = threading.Thread(target=lambda: told.extend(listening.stdout or ()), daemon=True)
        try:
            reader.start()
            wait_until(lambda: told.count("level\n") > 10, 15.0)
            listening.send_signal(signal.SIGSTOP)
            told.clear()
            begun_s = time.monotonic()
            assert null_audio.play(path).wait(timeout=30) == 0
            time.sleep(max(0.0, 3.0 - (time.monotonic() - begun_s)))
            assert not told
            listening.send_signal(signal.SIGCONT)
            took_s = wait_until(lambda: any(line.startswith(("reading 440", "fault")) for line in told), 5.0)
            assert took_s < 1.0
            if any("fault" in line for line in told):
                wait_until(lambda: "back\n" in told, 10.0)
            told.clear()
            assert null_audio.play(path).wait(timeout=30) == 0
            wait_until(lambda: any("reading 440" in line for line in told), 5.0)
        finally:
            listening.kill()


def test_a_dead_server_is_noticed_within_a_second_and_told_in_one_sentence(
    heard: Heard,
    null_audio: NullAudio,
) -> None:
    null_audio.kill()
    took_s = wait_until(lambda: bool(heard.faults), 3.0)
    assert took_s < 1.0
    assert heard.faults[0] is not None
    assert "microphone" in heard.faults[0]
    assert "\n" not in heard.faults[0]


def test_another_server_at_another_rate_is_taken_up(
    heard: Heard, null_audio: NullAudio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when a device is changed: the old one goes, another comes, at 44.1 kHz."""
    other = NullAudio(44_100)
    try:
        for name, value in other.variables.items():
            monkeypatch.setenv(name, value)
        null_audio.kill()
        wait_until(lambda: bool(heard.faults) and heard.faults[-1] is None, 10.0)
        _played(heard, other, _strikes(tmp_path / "again.wav", (440.0,)), 1)
        hz = heard.finals()[-1].hz
        assert hz is not None
        assert abs(cents(hz, 440.0)) < 1.0
    finally:
        other.stop()


def test_the_device_is_listed(null_audio: NullAudio) -> None:
    devices = input_devices_now()
    assert [d.is_default for d in devices].count(True) == 1


def input_devices_now() -> list[InputDevice]:
    microphone = Microphone()
    try:
        assert microphone.sample_rate_hz == RATE_HZ
        return input_devices()
    finally:
        microphone.close()
