"""Outside check: mallet instruments of the FluidR3 soundfont (MIT licence), bent by FluidSynth.

The instruments' own tuning is not ours to know, so the check is relative: the same note rendered with
and without a pitch bend must be read as far apart as it was bent. MIDI: 14-bit pitch wheel over +-200
cents (General MIDI default bend range, from memory); FluidSynth takes the floor in whole cents, so the
bends are whole cents. Some of the samples beat or have a tremolo, which a bend makes faster: so the
median error must stay under a fifth of a cent, and nine in ten within the readings' own uncertainty.
"""

from __future__ import annotations

import math
import shutil
import statistics
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from rounds.hearing.recording import strikes
from rounds.hearing.sources import WavSource
from rounds.hearing.strike import Expectation
from rounds.notes import Note, cents, shifted_hz

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.hearing.strike import Reading

FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
INSTRUMENTS = {"celesta": 8, "vibraphone": 11, "marimba": 12, "xylophone": 13, "kalimba": 108}
"""General MIDI programs, counted from 0."""
BENDS_CENTS = (0, 7, -13, 31, -60, 48)
NOTES = {
    "celesta": (72, 84),
    "vibraphone": (65, 77),
    "marimba": (60, 72),
    "xylophone": (72, 84),
    "kalimba": (67, 76),
}

pytestmark = pytest.mark.skipif(
    shutil.which("fluidsynth") is None or not FONT.exists(),
    reason="needs fluidsynth and the FluidR3 soundfont (Debian: fluidsynth, fluid-soundfont-gm)",
)


def _midi(path: Path, program: int, note: int, bends_cents: Iterable[int]) -> Path:
    import mido

    track = mido.MidiTrack()
    track.append(mido.Message("program_change", program=program))
    for controller in (91, 93):  # no reverberation, no chorus
        track.append(mido.Message("control_change", control=controller, value=0))
    for bend in bends_cents:
        wheel = min(8191, round((bend + 0.5) / 200 * 8192))  # half a cent more: it takes the floor
        track.append(mido.Message("pitchwheel", pitch=wheel, time=960))
        track.append(mido.Message("note_on", note=note, velocity=100, time=60))
        track.append(mido.Message("note_off", note=note, velocity=0, time=1900))
    file = mido.MidiFile(ticks_per_beat=960)  # at 120 beats a minute: 1920 ticks a second
    file.tracks.append(track)
    file.save(str(path))
    return path


def _read(folder: Path, program: int, note: int) -> list[Reading]:
    midi, wav = _midi(folder / "a.mid", program, note, BENDS_CENTS), folder / "a.wav"
    subprocess.run(
        [
            "fluidsynth",
            "-ni",
            "-q",
            "-R",
            "0",
            "-C",
            "0",
            "-r",
            "48000",
            "-T",
            "wav",
            "-O",
            "s24",
            "-F",
            wav,
            FONT,
            midi,
        ],
        check=True,
        timeout=60,
        capture_output=True,
    )
    source = WavSource(wav)
    found = list(strikes(source, Expectation(Note(note).hz())))
    source.close()
    assert len(found) == len(BENDS_CENTS)
    assert {r.verdict for r in found} <= {"clear", "unclear"}
    return found


def _errors(folder: Path, instrument: str) -> list[tuple[float, float]]:
    """Error of each bend in cents, and what the uncertainties of its two readings allow."""
    errors = []
    for note in NOTES[instrument]:
        first, *rest = _read(folder, INSTRUMENTS[instrument], note)
        assert abs(cents(first.hz or 1.0, Note(note).hz())) < 25.0
        for bend, reading in zip(BENDS_CENTS[1:], rest, strict=True):
            error = abs(cents(reading.hz or 1.0, shifted_hz(first.hz or 1.0, bend)))
            errors.append((error, math.hypot(first.u95_cents or 0.0, reading.u95_cents or 0.0)))
    return errors


def test_bends_are_read_to_a_fifth_of_a_cent(tmp_path: Path) -> None:
    errors = [e for instrument in INSTRUMENTS for e in _errors(tmp_path, instrument)]
    assert statistics.median(error for error, _ in errors) < 0.2
    assert max(error for error, allowed in errors if allowed < 10.0) < 2.5
    assert sum(error > allowed for error, allowed in errors) <= 0.1 * len(errors)
