"""Note names, frequencies and cents.

Conventions: scientific pitch names (C4 is middle C), equal temperament, MIDI numbers (A4 = 69),
frequencies in Hz, intervals in cents (positive is sharp). ISO 16:1975 sets A4 to 440 Hz; a player
may set another reference.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

STANDARD_A4_HZ = 440.0
"""ISO 16:1975, Acoustics: Standard tuning frequency (standard musical pitch)."""

A4_MIDI = 69
CENTS_PER_OCTAVE = 1200.0
CENTS_PER_NEPER = CENTS_PER_OCTAVE / math.log(2)
"""Cents in a factor e: a small relative change of frequency df/f is this many cents times it."""

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_NOTE = re.compile(r"\s*([A-Ga-g])(##|bb|[#b♯♭x]?)(-?\d{1,2})\s*\Z")
_ALTERATIONS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1, "x": 2, "##": 2, "bb": -2}


@dataclass(frozen=True, order=True)
class Note:
    """One note of the equal-tempered scale."""

    midi: int

    @property
    def name(self) -> str:
        """Scientific pitch name, spelled with sharps: `C#4`."""
        return f"{_NAMES[self.midi % 12]}{self.midi // 12 - 1}"

    def hz(self, a4_hz: float = STANDARD_A4_HZ) -> float:
        """Frequency in equal temperament from the frequency of A4."""
        return a4_hz * math.exp2((self.midi - A4_MIDI) / 12.0)

    def __str__(self) -> str:
        return self.name


def parse_note(text: str) -> Note:
    """Read a scientific pitch name such as `C4`, `F#5`, `Bb3`.

    Raises:
        ValueError: the text is not a note name within MIDI 0 to 127.
    """
    match = _NOTE.match(text)
    if match is None:
        raise ValueError(f"{text!r} is not a note name such as C4, F#5 or Bb3")
    letter, alteration, octave = match.groups()
    midi = _STEPS[letter.upper()] + _ALTERATIONS[alteration] + 12 * (int(octave) + 1)
    if not 0 <= midi <= 127:
        raise ValueError(f"{text!r} lies outside C-1 to G9")
    return Note(midi)


def parse_pitch_hz(text: str, a4_hz: float = STANDARD_A4_HZ) -> float:
    """Read a pitch written as a note name or as a frequency in Hz: `F#5`, `523.25`.

    Raises:
        ValueError: the text is neither.
    """
    try:
        hz = float(text)
    except ValueError:
        try:
            return parse_note(text).hz(a4_hz)
        except ValueError as error:
            raise ValueError(f"{error}, nor a frequency in Hz") from error
    if not (math.isfinite(hz) and hz > 0.0):
        raise ValueError(f"{text!r} is not a frequency in Hz above 0")
    return hz


def cents(hz: float, target_hz: float) -> float:
    """Interval from target to hz in cents; positive when hz is sharp.

    Raises:
        ValueError: a frequency is not positive.
    """
    if not (hz > 0.0 and target_hz > 0.0):
        raise ValueError(f"frequencies must be positive, not {hz!r} and {target_hz!r}")
    return CENTS_PER_OCTAVE * math.log2(hz / target_hz)


def shifted_hz(hz: float, shift_cents: float) -> float:
    """The frequency `shift_cents` above hz."""
    return hz * math.exp2(shift_cents / CENTS_PER_OCTAVE)


def nearest_note(hz: float, a4_hz: float = STANDARD_A4_HZ) -> Note:
    """The note of the scale closest in cents to hz (clamped to MIDI 0 to 127)."""
    return Note(min(127, max(0, round(A4_MIDI + cents(hz, a4_hz) / 100.0))))
