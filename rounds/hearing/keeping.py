"""Keep the sound of each strike as a WAV file, where the player asked for it and nowhere else.

A source that passes on another's blocks and remembers the last seconds. Files are readable by the
player alone.
"""

from __future__ import annotations

import datetime
import wave
from collections import deque
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from rounds.errors import RoundsError
from rounds.files.places import make_folder
from rounds.files.whole import written_whole

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from rounds.hearing.sources import Source

BEFORE_S, AFTER_S = 0.3, 0.8
"""How much is kept from before a reading was given, and waited for after it."""


class SoundKeeper:
    """Writes the sound around marked moments into a folder."""

    def __init__(self, folder: str | Path) -> None:
        """Make the folder.

        Raises:
            RoundsError: it cannot be made.
        """
        self._folder = Path(folder)
        try:
            make_folder(self._folder)
        except OSError as error:
            raise RoundsError(f"{folder}: no sound can be kept there ({error.strerror})") from error
        self._marks: deque[tuple[float, str]] = deque()
        self.fault: str | None = None

    def mark(self, at_s: float, label: str) -> None:
        """Keep what sounds around now; from any thread. `at_s` (UTC epoch seconds) names the file."""
        self._marks.append((at_s, label))

    def over(self, source: Source) -> KeptSource:
        """The source to listen to instead."""
        return KeptSource(source, self)

    def take_marks(self) -> list[tuple[float, str]]:
        """The marks set since the last call."""
        marks = []
        while self._marks:
            marks.append(self._marks.popleft())
        return marks

    def write(self, at_s: float, label: str, sound: NDArray[np.float32], sample_rate_hz: int) -> None:
        """Write one file; a full disk ends the keeping with a sentence, never the listening."""
        moment = datetime.datetime.fromtimestamp(at_s, datetime.UTC)
        name = f"{moment:%Y%m%dT%H%M%S}{moment.microsecond // 1000:03d}Z_{_safe(label)}.wav"
        try:
            with written_whole(self._folder / name, replace=True) as raw, wave.open(raw, "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(sample_rate_hz)
                file.writeframes((np.clip(sound, -1.0, 1.0) * 32767.0).astype("<i2").tobytes())
        except OSError as error:
            self.fault = f"{self._folder}: sound is kept no longer ({error.strerror})"


class KeptSource:
    """A source that is listened to and kept where it is marked."""

    def __init__(self, source: Source, keeper: SoundKeeper) -> None:
        self._source = source
        self._keeper = keeper
        self._memory: deque[NDArray[np.float32]] = deque()
        self._remembered = 0
        self._waiting: deque[tuple[float, str, int]] = deque()
        self._frames = 0

    @property
    def sample_rate_hz(self) -> int:
        """Frames a second."""
        return self._source.sample_rate_hz

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """The other source's blocks."""
        for block in self._source.blocks():
            self._remember(block)
            self._write_due()
            yield block

    def close(self) -> None:
        """Close the other source."""
        self._source.close()

    def _remember(self, block: NDArray[np.float32]) -> None:
        self._memory.append(block)
        self._remembered += block.size
        self._frames += block.size
        limit = round((BEFORE_S + AFTER_S + 0.5) * self.sample_rate_hz)
        while self._remembered - self._memory[0].size > limit:
            self._remembered -= self._memory.popleft().size

    def _write_due(self) -> None:
        due = self._frames + round(AFTER_S * self.sample_rate_hz)
        self._waiting.extend((at_s, label, due) for at_s, label in self._keeper.take_marks())
        while self._waiting and self._waiting[0][2] <= self._frames:
            at_s, label, _ = self._waiting.popleft()
            wanted = round((BEFORE_S + AFTER_S + 0.26) * self.sample_rate_hz)
            sound = np.concatenate(list(self._memory))[-wanted:]
            self._keeper.write(at_s, label, sound, self.sample_rate_hz)


def _safe(label: str) -> str:
    return "".join(c if c.isalnum() or c in "#-_" else "-" for c in label)[:40]
