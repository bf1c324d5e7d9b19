"""The microphone on real audio: a strike played into it is read, and every loss is seen and survived."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.hearing.listener import Listener
from rounds.hearing.microphone import Microphone, input_devices
from rounds.hearing.strike import Expectation, Reading
from rounds.notes import cents
from rounds.simulation import sound
from tests.audio import NullAudio, null_audio_fixture, wait_until, write_wav  # noqa: F401

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = pytest.mark.realaudio
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


def test_strikes_are_read_within_a_cent_and_once_each(
    heard: Heard,
    null_audio: NullAudio,
    tmp_path: Path,
) -> None:
    assert null_audio.play(_strikes(tmp_path / "strikes.wav")).wait(timeout=20) == 0
    wait_until(lambda: len(heard.finals()) == len(PITCHES_HZ), 3.0)
    time.sleep(0.3)
    finals = heard.finals()
    assert len(finals) == len(PITCHES_HZ)
    assert [r.verdict for r in finals] == ["clear"] * len(PITCHES_HZ)
    for reading, hz in zip(finals, PITCHES_HZ, strict=True):
        assert reading.hz is not None
        assert abs(cents(reading.hz, hz)) < 1.0
    assert not heard.faults


def test_stages_share_one_time_on_the_clock(heard: Heard, null_audio: NullAudio, tmp_path: Path) -> None:
    before_s = time.time()
    assert null_audio.play(_strikes(tmp_path / "one.wav", (440.0,))).wait(timeout=20) == 0
    wait_until(lambda: len(heard.readings) == 3, 3.0)
    assert [r.stage for _, r in heard.readings] == ["provisional", "final", "update"]
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
    wait_until(lambda: heard.faults[-1] is None, 10.0)
    assert null_audio.play(_strikes(tmp_path / "again.wav", (440.0,))).wait(timeout=20) == 0
    wait_until(lambda: bool(heard.finals()), 3.0)


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
        assert other.play(_strikes(tmp_path / "again.wav", (440.0,))).wait(timeout=20) == 0
        wait_until(lambda: bool(heard.finals()), 3.0)
        hz = heard.finals()[-1].hz
        assert hz is not None
        assert abs(cents(hz, 440.0)) < 1.0
    finally:
        other.stop()


def test_the_device_is_listed(null_audio: NullAudio) -> None:
    devices = input_devices_now()
    assert [d.is_default for d in devices].count(True) == 1


def input_devices_now() -> list:
    microphone = Microphone()
    try:
        assert microphone.sample_rate_hz == RATE_HZ
        return input_devices()
    finally:
        microphone.close()
