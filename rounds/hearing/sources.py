"""Recordings as blocks of mono float32, whatever they hold.

WAV is read by a small parser of our own: the standard library's `wave` knows no floats, and before
Python 3.12 no extensible headers. A file is never held in memory whole. A file cut short, or whose
header promises more than there is (a recorder that lost power), gives what it has.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Protocol

import numpy as np

from rounds.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

BLOCK_FRAMES = 4096
MIN_RATE_HZ = 8_000
"""Below this the top notes and half the click are gone."""
MAX_RATE_HZ = 768_000
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_STREAMED = 0xFFFFFFFF
_OTHER_FORMATS = {2: "ADPCM", 6: "A-law", 7: "mu-law", 0x55: "MP3"}


class Source(Protocol):
    """Where sound comes from."""

    @property
    def sample_rate_hz(self) -> int:
        """Frames a second."""

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Mono blocks in order, until the end or until closed."""

    def close(self) -> None:
        """Give back the file or device."""


@dataclass(frozen=True)
class WavFormat:
    """What a WAV header says. `data_bytes` is what is really there, at most what was promised."""

    sample_rate_hz: int
    channels: int
    sample_bytes: int
    is_float: bool
    data_start: int
    data_bytes: int
    cut_short: bool

    @property
    def frame_bytes(self) -> int:
        """Bytes of one sample of every channel."""
        return self.channels * self.sample_bytes


def _chunks(file: BinaryIO, size: int) -> Iterator[tuple[bytes, int, int]]:
    """Name, start and promised length of each chunk, as far as the file goes."""
    at = 12
    while at + 8 <= size:
        file.seek(at)
        name, length = struct.unpack("<4sI", file.read(8))
        yield name, at + 8, length
        at += 8 + length + length % 2


def read_wav_format(path: Path, file: BinaryIO) -> WavFormat:
    """Read a WAV header.

    Raises:
        BadInput: this is not a WAV file that can be read.
    """
    size = file.seek(0, 2)
    file.seek(0)
    head = file.read(12)
    if size == 0:
        raise BadInput(f"{path}: the file is empty; record it again.")
    if len(head) < 12 or head[:4] not in (b"RIFF", b"RF64") or head[8:12] != b"WAVE":
        raise BadInput(f"{path}: this is not a WAV file; convert it to WAV.")
    header: bytes | None = None
    for name, start, length in _chunks(file, size):
        if name == b"fmt ":
            file.seek(start)
            header = file.read(min(length, 40))
        elif name == b"data":
            if header is None:
                break
            return _format_from(path, header, start, _promised(head, start, length, size), size)
    raise BadInput(f"{path}: the WAV header is incomplete; record it again.")


def _promised(head: bytes, start: int, length: int, size: int) -> int:
    """How much sound there is meant to be: all that follows, where the header does not know.

    All ones are written by what streams, and where the length stands elsewhere (RF64); nought stays in
    both places when a recorder loses power.
    """
    whole = struct.unpack("<I", head[4:8])[0]
    unknown = length == _STREAMED or (length == 0 and whole <= start - 8)
    return size - start if unknown else length


def _format_from(path: Path, header: bytes, start: int, promised: int, size: int) -> WavFormat:
    if len(header) < 16:
        raise BadInput(f"{path}: the WAV header is incomplete; record it again.")
    code, channels, rate, _, _, bits = struct.unpack("<HHIIHH", header[:16])
    if code == _EXTENSIBLE and len(header) >= 26:
        code = struct.unpack("<H", header[24:26])[0]
    sample_bytes = (bits + 7) // 8
    known = (code == _PCM and sample_bytes in (1, 2, 3, 4)) or (code == _FLOAT and sample_bytes in (4, 8))
    if not known:
        what = _OTHER_FORMATS.get(code, f"format {code} with {bits} bits")
        raise BadInput(f"{path}: {what} is not read; convert it to 16-bit PCM WAV.")
    _check_shape(path, channels, rate)
    there = min(promised, size - start)
    return WavFormat(rate, channels, sample_bytes, code == _FLOAT, start, there, there < promised)


def _check_shape(path: Path, channels: int, rate: int) -> None:
    if channels < 1:
        raise BadInput(f"{path}: the header says it has no channel; record it again.")
    if not MIN_RATE_HZ <= rate <= MAX_RATE_HZ:
        raise BadInput(
            f"{path}: a sample rate of {rate} Hz is not between {MIN_RATE_HZ} and {MAX_RATE_HZ} Hz; "
            "record at 44100 or 48000 Hz."
        )


def decode(raw: bytes, form: WavFormat) -> NDArray[np.float32]:
    """Whole frames of raw sample bytes as mono: the mean of the channels, full scale at 1."""
    whole = raw[: len(raw) - len(raw) % form.frame_bytes]
    if form.is_float:
        with np.errstate(invalid="ignore"):  # a broken file holds signalling NaNs
            flat = np.frombuffer(whole, f"<f{form.sample_bytes}").astype(np.float64)
    elif form.sample_bytes == 1:
        flat = (np.frombuffer(whole, np.uint8).astype(np.float64) - 128.0) / 128.0
    elif form.sample_bytes == 3:
        padded = np.zeros((len(whole) // 3, 4), np.uint8)
        padded[:, 1:] = np.frombuffer(whole, np.uint8).reshape(-1, 3)
        flat = padded.view("<i4")[:, 0] / 2.0**31
    else:
        flat = np.frombuffer(whole, f"<i{form.sample_bytes}") / 2.0 ** (8 * form.sample_bytes - 1)
    with np.errstate(invalid="ignore", over="ignore"):
        clean = np.nan_to_num(flat.reshape(-1, form.channels), nan=0.0, posinf=0.0, neginf=0.0)
        return np.asarray(np.clip(clean.mean(axis=1), -1e6, 1e6), dtype=np.float32)


class WavSource:
    """A WAV file as a source."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        try:
            self._file = self.path.open("rb")
        except OSError as error:
            raise BadInput(f"{path}: cannot be opened ({error.strerror}); check the name.") from error
        try:
            self.format = read_wav_format(self.path, self._file)
        except (BadInput, OSError):
            self._file.close()
            raise

    @property
    def sample_rate_hz(self) -> int:
        """Frames a second."""
        return self.format.sample_rate_hz

    @property
    def cut_short(self) -> bool:
        """Whether the header promised more than the file holds."""
        return self.format.cut_short

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """The file from its start, block by block."""
        self._file.seek(self.format.data_start)
        left = self.format.data_bytes
        while left >= self.format.frame_bytes:
            raw = self._file.read(min(left, BLOCK_FRAMES * self.format.frame_bytes))
            if not raw:
                return
            left -= len(raw)
            yield decode(raw, self.format)

    def close(self) -> None:
        """Close the file."""
        self._file.close()


class SoundFileSource:
    """FLAC, OGG and what else soundfile reads, where it is installed."""

    cut_short = False

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        try:
            # Late and optional: WAV needs no package.
            import soundfile
        except (ImportError, OSError) as error:
            raise BadInput(
                f"{path}: without the soundfile package only WAV is read; convert it, or install soundfile."
            ) from error
        try:
            self._file = soundfile.SoundFile(str(path))
        except (soundfile.SoundFileError, OSError) as error:
            raise BadInput(f"{path}: cannot be read as sound; convert it to WAV.") from error
        _check_shape(self.path, self._file.channels, self._file.samplerate)

    @property
    def sample_rate_hz(self) -> int:
        """Frames a second."""
        return int(self._file.samplerate)

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """The file from its start, block by block."""
        self._file.seek(0)
        for block in self._file.blocks(BLOCK_FRAMES, dtype="float32", always_2d=True):
            yield np.nan_to_num(block, posinf=0.0, neginf=0.0).mean(axis=1, dtype=np.float32)

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def open_recording(path: str | Path) -> WavSource | SoundFileSource:
    """A recording as a source: WAV by ourselves, anything else through soundfile.

    Raises:
        BadInput: the file cannot be opened or read.
    """
    try:
        if Path(path).exists() and not Path(path).is_file():
            raise BadInput(f"{path}: is not a file; name a recording.")
        with Path(path).open("rb") as file:
            head = file.read(4)
    except (OSError, ValueError) as error:
        # ValueError: a name that no file can have.
        why = error.strerror if isinstance(error, OSError) else "not a file's name"
        raise BadInput(f"{path}: cannot be opened ({why}); check the name.") from error
    other = head in (b"fLaC", b"OggS", b"FORM") or Path(path).suffix.lower() in (
        ".flac",
        ".ogg",
        ".mp3",
        ".aiff",
    )
    return SoundFileSource(path) if other and head else WavSource(path)
