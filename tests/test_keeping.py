"""Sound is kept where it was asked for, and only there."""

from __future__ import annotations

import stat
import wave
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.errors import RoundsError
from rounds.hearing.keeping import AFTER_S, BEFORE_S, SoundKeeper

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

RATE_HZ = 8000


class Ramp:
    """A source whose samples tell where they are."""

    sample_rate_hz = RATE_HZ

    def __init__(self, seconds: float) -> None:
        self._count = round(seconds * RATE_HZ)

    def blocks(self) -> Iterator[np.ndarray]:
        whole = np.arange(self._count, dtype=np.float32) / self._count
        yield from np.split(whole, range(80, self._count, 80))

    def close(self) -> None:
        return None


def test_the_sound_around_a_mark_is_written_for_the_player_alone(tmp_path: Path) -> None:
    keeper = SoundKeeper(tmp_path / "sounds")
    for i, _ in enumerate(keeper.over(Ramp(4.0)).blocks()):
        if i == 200:
            keeper.mark(0.0, "C#4/../x")
    (path,) = (tmp_path / "sounds").iterdir()
    assert path.name == "19700101T000000000Z_C#4----x.wav"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with wave.open(str(path)) as file:
        sound = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32767.0
        assert file.getframerate() == RATE_HZ
    at = 201 * 80 / (4.0 * RATE_HZ)
    assert sound[0] <= at - BEFORE_S / 4.0 + 0.01
    assert sound[-1] >= at + AFTER_S / 4.0 - 0.01


def test_without_a_mark_nothing_is_written(tmp_path: Path) -> None:
    keeper = SoundKeeper(tmp_path / "sounds")
    assert sum(b.size for b in keeper.over(Ramp(1.0)).blocks()) == RATE_HZ
    assert list((tmp_path / "sounds").iterdir()) == []


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RoundsError, match="no sound can be kept"):
        SoundKeeper(tmp_path / "file" / "sounds")


def test_a_disk_that_fails_later_is_told_and_listening_goes_on(tmp_path: Path) -> None:
    keeper = SoundKeeper(tmp_path / "sounds")
    (tmp_path / "sounds").rmdir()
    source = keeper.over(Ramp(3.0))
    heard = 0
    for block in source.blocks():
        if heard == 0:
            keeper.mark(0.0, "C4")
        heard += block.size
    assert heard == 3 * RATE_HZ
    assert keeper.fault is not None
