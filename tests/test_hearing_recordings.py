"""Recordings of every make and in every state: read alike, or refused in one sentence."""

from __future__ import annotations

import json
import struct
import tracemalloc
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.cli import main
from rounds.errors import BadInput, ExitCode
from rounds.hearing.reading import Expectation
from rounds.hearing.recording import strikes
from rounds.hearing.sources import WavSource, open_recording
from rounds.simulation import sound

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

HZ = 440.0
PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE


def _strike(rate_hz: int, count: int = 1, every_s: float = 1.0) -> np.ndarray:
    rng = np.random.default_rng(41)
    samples = np.zeros(round((0.4 + count * every_s + 0.3) * rate_hz), np.float32)
    for number in range(count):
        at = round((0.4 + number * every_s) * rate_hz)
        part = sound.struck(HZ, rng, sample_rate_hz=rate_hz, duration_s=0.6, ring_s=0.5)[: samples.size - at]
        samples[at : at + part.size] += part
    return samples + sound.room_noise(samples.size, rng, -66.0, sample_rate_hz=rate_hz)


def _encode(samples: np.ndarray, bits: int, code: int) -> bytes:
    if code == FLOAT:
        return samples.astype(f"<f{bits // 8}").tobytes()
    if bits == 8:
        return np.round(samples * 127 + 128).astype(np.uint8).tobytes()
    whole = np.round(np.clip(samples, -1, 1).astype(np.float64) * (2 ** (bits - 1) - 1)).astype("<i4")
    if bits == 24:
        return bytes(whole.reshape(-1, 1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
    return bytes(whole.astype(f"<i{bits // 8}").tobytes())


def _wav(
    path: Path,
    samples: np.ndarray,
    rate_hz: int,
    bits: int = 16,
    code: int = PCM,
    channels: int = 1,
    extensible: bool = False,
) -> Path:
    frames = np.repeat(samples[:, None], channels, axis=1).ravel()
    data = _encode(frames, bits, code)
    size = channels * bits // 8
    header = struct.pack(
        "<HHIIHH", EXTENSIBLE if extensible else code, channels, rate_hz, rate_hz * size, size, bits
    )
    if extensible:
        guid = struct.pack("<H", code) + bytes.fromhex("000000001000800000aa00389b71")
        header += struct.pack("<HHI", 22, bits, 0) + guid
    odd = b"LIST" + struct.pack("<I", 3) + b"abc\0"  # a chunk of odd length before the sound
    body = (
        b"WAVE"
        + odd
        + b"fmt "
        + struct.pack("<I", len(header))
        + header
        + b"data"
        + struct.pack("<I", len(data))
        + data
    )
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    return path


def _heard(path: Path) -> list[float]:
    source = open_recording(path)
    try:
        found = list(strikes(source, Expectation(HZ)))
    finally:
        source.close()
    assert all(r.verdict == "clear" for r in found)
    return [r.hz or 0.0 for r in found]


@pytest.mark.parametrize("channels", [1, 2, 6])
@pytest.mark.parametrize(
    ("bits", "code"), [(8, PCM), (16, PCM), (24, PCM), (32, PCM), (32, FLOAT), (64, FLOAT)]
)
def test_every_width_and_number_of_channels(tmp_path: Path, bits: int, code: int, channels: int) -> None:
    path = _wav(tmp_path / "a.wav", _strike(48_000), 48_000, bits, code, channels, extensible=channels > 2)
    assert _heard(path) == [pytest.approx(HZ, rel=3e-4)]


@pytest.mark.parametrize("rate_hz", [11_025, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_every_rate(tmp_path: Path, rate_hz: int) -> None:
    assert _heard(_wav(tmp_path / "a.wav", _strike(rate_hz), rate_hz)) == [pytest.approx(HZ, rel=3e-4)]


@pytest.mark.parametrize("suffix", ["flac", "ogg"])
def test_flac_and_ogg_where_soundfile_is_installed(tmp_path: Path, suffix: str) -> None:
    soundfile = pytest.importorskip("soundfile")
    path = tmp_path / f"a.{suffix}"
    soundfile.write(str(path), _strike(44_100), 44_100)
    assert _heard(path) == [pytest.approx(HZ, rel=3e-4)]


def test_our_parser_agrees_with_soundfile(tmp_path: Path) -> None:
    soundfile = pytest.importorskip("soundfile")
    for subtype in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"):
        path = tmp_path / f"{subtype}.wav"
        soundfile.write(
            str(path), np.stack([_strike(44_100), -0.3 * _strike(44_100)], 1), 44_100, subtype=subtype
        )
        theirs, _ = soundfile.read(str(path), always_2d=True)
        source = WavSource(path)
        ours = np.concatenate(list(source.blocks()))
        source.close()
        assert np.max(np.abs(ours - theirs.mean(axis=1))) < 1e-6


def test_many_strikes_are_read_once_each(tmp_path: Path) -> None:
    assert len(_heard(_wav(tmp_path / "many.wav", _strike(44_100, count=40, every_s=0.45), 44_100))) == 40


def test_a_file_cut_short_is_read_as_far_as_it_goes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = _wav(tmp_path / "cut.wav", _strike(44_100, count=3), 44_100)
    path.write_bytes(path.read_bytes()[: 44_100 * 2 * 2 + 1])
    assert main(["hear", str(path), "--json"]) == ExitCode.FINE
    printed = capsys.readouterr()
    assert "cut short" in printed.err
    assert len(json.loads(printed.out)["files"][0]["strikes"]) == 2


def test_what_is_not_clear_says_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = _wav(tmp_path / "a.wav", _strike(44_100), 44_100)
    assert main(["hear", str(path), "--target", "523.25"]) == ExitCode.FINE
    lines = capsys.readouterr().out.splitlines()
    assert "other_bottle" in lines[1]
    assert lines[2].strip() == "That was another bottle. Strike the one asked for."
    assert main(["hear", str(path), "--target", "440"]) == ExitCode.FINE
    assert len(capsys.readouterr().out.splitlines()) == 2


@pytest.mark.parametrize(
    ("riff", "whole", "length"), [(b"RIFF", 0, 0), (b"RIFF", 36, 0), (b"RF64", 2**32 - 1, 2**32 - 1)]
)
def test_a_header_that_does_not_know_the_length_is_read_to_the_end(
    tmp_path: Path, riff: bytes, whole: int, length: int
) -> None:
    """A recorder that lost power (nought), one that streams or writes RF64 (EBU Tech 3306, from memory)."""
    path = _wav(tmp_path / "a.wav", _strike(44_100), 44_100)
    content = path.read_bytes()
    at = content.index(b"data") + 4
    unknown = riff + struct.pack("<I", whole) + content[8:at] + struct.pack("<I", length) + content[at + 4 :]
    path.write_bytes(unknown)
    assert _heard(path) == [pytest.approx(HZ, rel=3e-4)]
    source = WavSource(path)
    assert not source.cut_short
    source.close()


@pytest.mark.parametrize(
    "content", [b"", b"RIFF", b"no sound here at all", b"RIFF\x04\0\0\0WAVE", b"ID3" + bytes(400)]
)
def test_what_is_no_recording_is_refused_in_one_sentence(
    tmp_path: Path, content: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bad.wav"
    path.write_bytes(content)
    assert main(["hear", str(path), "--json"]) == ExitCode.USAGE
    printed = capsys.readouterr()
    assert printed.err.count("\n") == 1
    assert "bad.wav" in printed.err
    assert json.loads(printed.out) == {"files": []}


def test_a_compressed_wav_is_named(tmp_path: Path) -> None:
    path = _wav(tmp_path / "a.wav", np.zeros(100, np.float32), 8000)
    content = path.read_bytes()
    at = content.index(b"fmt ") + 8
    path.write_bytes(content[:at] + struct.pack("<H", 7) + content[at + 2 :])
    with pytest.raises(BadInput, match="mu-law"):
        WavSource(path)


@pytest.mark.parametrize("value", [0.0, np.nan, np.inf, -np.inf])
def test_silence_and_nonsense_give_no_strike(tmp_path: Path, value: float) -> None:
    path = _wav(tmp_path / "a.wav", np.full(48_000, value, np.float32), 48_000, 32, FLOAT)
    assert _heard(path) == []


def test_a_value_beyond_all_bounds_is_not_accepted_as_a_strike(tmp_path: Path) -> None:
    source = WavSource(_wav(tmp_path / "a.wav", np.full(48_000, 1e30, np.float32), 48_000, 32, FLOAT))
    assert all(r.verdict != "clear" for r in strikes(source, Expectation(HZ)))
    source.close()


def test_a_strike_between_not_a_numbers_is_read(tmp_path: Path) -> None:
    samples = _strike(48_000)
    samples[:1000] = np.nan
    samples[-9000:] = np.inf
    assert _heard(_wav(tmp_path / "a.wav", samples, 48_000, 32, FLOAT)) == [pytest.approx(HZ, rel=3e-4)]


def test_no_sound_at_all_is_no_strike(tmp_path: Path) -> None:
    assert _heard(_wav(tmp_path / "a.wav", np.zeros(0, np.float32), 48_000)) == []


class Hours:
    """An endless source made of one minute over and over."""

    sample_rate_hz = 22_050

    def __init__(self, minutes: int) -> None:
        self._minutes = minutes
        self._minute = _strike(self.sample_rate_hz, count=12, every_s=5.0)[: 60 * self.sample_rate_hz]

    def blocks(self) -> Iterator[np.ndarray]:
        for _ in range(self._minutes):
            yield from np.array_split(self._minute, 60)

    def close(self) -> None:
        """Nothing to give back."""


@pytest.mark.slow
def test_memory_does_not_grow_with_length() -> None:
    peaks = []
    for minutes in (1, 4):
        tracemalloc.start()
        assert sum(1 for _ in strikes(Hours(minutes), Expectation(HZ))) == 12 * minutes
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0] + 2e6
