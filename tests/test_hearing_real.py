"""Outside check: real strikes, CC0, where their folder is beside the project (`tests/strikes/sampled.py`).

Water glasses tuned by filling to the note in their name, three strikes each (the glass bank of the freepats
collection, 2019-12-27, CC0), and three toms (freesound, CC0, as in the samples of sonic-pi). Glasses were
filled by ear, so what is checked is that the name is found, that strikes of one glass agree within their
uncertainty, and that a reading agrees with a plain FFT of the long ring (numpy). E5, C6 and D6 hold two tones
a few cents apart: there the long spectrum itself is open, and they are left out of the last.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import pytest

from rounds.hearing.reading import Expectation
from rounds.hearing.recording import strikes as strikes_of
from rounds.hearing.sources import open_recording
from rounds.notes import cents, parse_note
from tests.strikes.sampled import GLASSES, missing, peak_hz

if TYPE_CHECKING:
    from pathlib import Path

    from rounds.hearing.reading import Reading

pytestmark = pytest.mark.skipif(missing("glass") is not None, reason=str(missing("glass")))
TWO_TONES = ("E5", "C6", "D6")


def _read(path: Path, expectation: Expectation) -> list[Reading]:
    source = open_recording(path)
    try:
        return list(strikes_of(source, expectation))
    finally:
        source.close()


def _name(path: Path) -> str:
    return path.stem.split("_")[1]


@pytest.fixture(scope="module")
def glasses() -> dict[Path, Reading]:
    """The first reading of each glass, waited for by its name."""
    found = {}
    for path in sorted(GLASSES.glob("glass_*.flac")):
        readings = _read(path, Expectation(parse_note(_name(path)).hz()))
        if readings:
            found[path] = readings[0]
    return found


def test_nearly_every_glass_is_heard_and_most_are_clear(glasses: dict[Path, Reading]) -> None:
    """Target: 1 in 100 unheard; 33 recordings are too few to tell, so one may be."""
    recordings = list(GLASSES.glob("glass_*.flac"))
    assert len(glasses) >= len(recordings) - 1
    assert sum(r.verdict == "clear" for r in glasses.values()) >= 0.75 * len(recordings)


def test_the_name_of_a_glass_is_found(glasses: dict[Path, Reading]) -> None:
    """Any bottle waited for: the reading is within a quarter tone of the note of the glass."""
    for path in list(glasses)[::3]:
        for reading in _read(path, Expectation())[:1]:
            assert reading.hz is not None
            assert abs(cents(reading.hz, parse_note(_name(path)).hz())) < 50.0


def test_strikes_of_one_glass_agree_within_their_uncertainty(glasses: dict[Path, Reading]) -> None:
    """Two readings that each hold 95 times in 100 agree that often or more; the glass itself: 0.5 cents."""
    by_name: dict[str, list[Reading]] = {}
    for path, reading in glasses.items():
        if reading.verdict == "clear":
            by_name.setdefault(_name(path), []).append(reading)
    agree = []
    for readings in by_name.values():
        for one, other in itertools.combinations(readings, 2):
            allowed = math.hypot(one.u95_cents or 0.0, other.u95_cents or 0.0) + 0.5
            agree.append(abs(cents(one.hz or 1.0, other.hz or 1.0)) <= allowed)
    assert sum(agree) >= 0.9 * len(agree)


def test_a_reading_holds_what_the_long_spectrum_says(glasses: dict[Path, Reading]) -> None:
    """Target: 95 in 100."""
    import soundfile

    held = []
    for path, reading in glasses.items():
        if reading.verdict != "clear" or _name(path) in TWO_TONES:
            continue
        sound, _ = soundfile.read(path, always_2d=True)
        rung = sound.mean(axis=1)[round(reading.at_s * 48_000) :]
        hz = reading.hz or 1.0
        off = abs(cents(hz, peak_hz(rung, (0.15, 1.2), 0.97 * hz, 1.03 * hz)))
        held.append(off <= (reading.u95_cents or 0.0))
    assert sum(held) >= 0.85 * len(held)


@pytest.mark.parametrize(
    ("name", "hz"), [("tom_hi_hard", 156.0), ("tom_mid_soft", 125.0), ("tom_lo_hard", 96.0)]
)
def test_a_tom_is_answered_and_never_accepted_as_another_note(name: str, hz: float) -> None:
    """They glide and are soon over, and the lowest lies under what is listened for: unclear is honest."""
    readings = _read(GLASSES / f"{name}.wav", Expectation(hz))
    assert readings[0].advice
    assert [r for r in readings if r.verdict == "clear" and abs(cents(r.hz or 1.0, hz)) > 60.0] == []
