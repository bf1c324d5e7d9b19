"""The microphone without real audio: what is said when PortAudio, a device or a name is missing."""

from __future__ import annotations

import queue
import sys
import time
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rounds.errors import AudioError, ExitCode
from rounds.hearing import microphone
from rounds.hearing.microphone import Microphone, input_devices


class PortAudioError(Exception):
    pass


def _device(name: str, channels: int, rate_hz: float = 44_100.0) -> dict[str, Any]:
    return {"name": name, "max_input_channels": channels, "default_samplerate": rate_hz}


class Stream:
    """Stands in for sounddevice.InputStream."""

    def __init__(self, **how: Any) -> None:
        self.how, self.open = how, True

    def start(self) -> None:
        pass

    def abort(self, ignore_errors: bool = False) -> None:
        self.how["finished_callback"]()

    def close(self, ignore_errors: bool = False) -> None:
        self.open = False

    def deliver(self, *values: float) -> None:
        self.how["callback"](np.array(values, np.float32)[:, None], len(values), None, None)


class Fake(SimpleNamespace):
    """Stands in for the sounddevice module."""

    PortAudioError = PortAudioError

    def __init__(self, devices: list[dict[str, Any]], rates_hz: tuple[int, ...] = (48_000,)) -> None:
        super().__init__(default=SimpleNamespace(device=(-1, -1)), rates_hz=rates_hz, streams=[])
        self.devices = devices

    def query_devices(self) -> list[dict[str, Any]]:
        return self.devices

    def check_input_settings(self, **settings: Any) -> None:
        if settings["samplerate"] not in self.rates_hz:
            raise PortAudioError("Invalid sample rate [PaErrorCode -9997]")

    def InputStream(self, **how: Any) -> Stream:
        if self.devices[how["device"]]["name"] == "busy":
            raise PortAudioError("Device unavailable [PaErrorCode -9985]", -9985)
        stream = Stream(**how)
        self.streams.append(stream)
        return stream

    def _initialize(self) -> None:
        pass

    _terminate = _initialize


def _use(monkeypatch: pytest.MonkeyPatch, *devices: dict[str, Any], **how: Any) -> Fake:
    fake = Fake(list(devices), **how)
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    return fake


def test_missing_portaudio_is_one_sentence_that_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(AudioError, match="libportaudio2") as caught:
        Microphone()
    assert caught.value.exit_code == ExitCode.AUDIO


def test_no_device_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    _use(monkeypatch, _device("speakers", 0))
    assert input_devices() == []
    with pytest.raises(AudioError, match="No microphone was found"):
        Microphone()


def test_an_unknown_name_is_told_where_to_find_the_names(monkeypatch: pytest.MonkeyPatch) -> None:
    _use(monkeypatch, _device("built-in", 1))
    with pytest.raises(AudioError, match="rounds check"):
        Microphone("clip-on")


def test_a_busy_device_gives_the_reason_without_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    _use(monkeypatch, _device("busy", 1))
    with pytest.raises(AudioError, match=r"cannot be opened \(Device unavailable\)"):
        Microphone()


@pytest.mark.parametrize("wanted", ["clip", "CLIP-ON", 2, "2"])
def test_a_device_is_found_by_part_of_its_name_or_by_number(
    monkeypatch: pytest.MonkeyPatch, wanted: int | str
) -> None:
    _use(monkeypatch, _device("speakers", 0), _device("built-in", 1), _device("clip-on", 2))
    opened = Microphone(wanted)
    opened.close()
    assert opened.device.name == "clip-on"


def test_the_rate_is_48_kHz_where_it_can_be(monkeypatch: pytest.MonkeyPatch) -> None:
    for rates_hz, expected in (((48_000, 44_100), 48_000), ((44_100,), 44_100), ((16_000,), 16_000)):
        _use(monkeypatch, _device("built-in", 1, 16_000.0), rates_hz=rates_hz)
        opened = Microphone()
        opened.close()
        assert opened.sample_rate_hz == expected


def test_blocks_arrive_in_order_and_a_lost_device_is_told_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = _use(monkeypatch, _device("built-in", 1))
    opened = Microphone()
    fake.streams[0].deliver(0.25, 0.5)
    fake.streams[0].deliver(0.75)
    blocks = opened.blocks()
    assert [list(next(blocks)), list(next(blocks))] == [[0.25, 0.5], [0.75]]
    fake.streams[0].how["finished_callback"]()
    with pytest.raises(AudioError, match="lost"):
        next(blocks)
    opened.close()


def test_silence_of_the_driver_is_told_after_half_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = _use(monkeypatch, _device("built-in", 1))
    opened = Microphone()
    fake.streams[0].deliver(0.0)
    blocks = opened.blocks()
    next(blocks)
    with pytest.raises(AudioError, match="stopped coming"):
        next(blocks)
    opened.close()


def test_a_computer_that_stood_still_is_no_silence_of_the_driver(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wait ends two seconds late, and the sound that was kept meanwhile comes after it."""
    fake = _use(monkeypatch, _device("built-in", 1))
    opened = Microphone()
    fake.streams[0].deliver(0.25)
    blocks = opened.blocks()
    next(blocks)
    waits: list[float] = []

    def stood(timeout: float) -> Any:
        waits.append(timeout)
        if len(waits) == 1:
            clock["ahead_s"] += 2.5
            raise queue.Empty
        fake.streams[0].deliver(0.5)
        return taken(timeout=timeout)

    clock = {"ahead_s": 0.0}
    taken, true = opened._queue.get, time.monotonic
    monkeypatch.setattr(opened._queue, "get", stood)
    monkeypatch.setattr(time, "monotonic", lambda: true() + clock["ahead_s"])
    assert list(next(blocks)) == [0.5]
    opened.close()


def test_a_call_that_hangs_is_given_up_and_leaves_no_stream_open(monkeypatch: pytest.MonkeyPatch) -> None:
    import threading

    fake = _use(monkeypatch, _device("built-in", 1))
    release, begun = threading.Event(), threading.Event()

    def hang(_stream: Stream) -> None:
        begun.set()
        release.wait(10.0)

    monkeypatch.setattr(Stream, "start", hang)
    monkeypatch.setattr(microphone, "CALL_S", 0.1)
    monkeypatch.setattr(microphone._do, "__defaults__", (0.1,))
    with pytest.raises(AudioError, match="does not answer"):
        Microphone()
    assert begun.is_set()
    release.set()
    microphone._do(lambda _sd: None, 5.0)
    assert not fake.streams[0].open


def test_closing_ends_the_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    _use(monkeypatch, _device("built-in", 1))
    opened = Microphone()
    opened.close()
    opened.close()
    assert list(opened.blocks()) == []
