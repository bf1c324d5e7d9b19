"""Note names, frequencies and cents against standards and general libraries.

* ISO 16:1975: A4 is 440 Hz.
* B. H. Suits, "Physics of Music - Notes", Michigan Technological University: frequencies for
  equal-tempered scale, A4 = 440 Hz, printed to 0.01 Hz (table typed below, C3 to G6).
* CRC Handbook of Chemistry and Physics, section 14, "Musical Scales", table 1: the rows of it that
  were at hand (C to F of octaves 4 and 6).
* librosa (note_to_midi, midi_to_note, midi_to_hz, hz_to_midi) for names and numbers.
"""

from __future__ import annotations

import math

import librosa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.notes import STANDARD_A4_HZ, Note, cents, nearest_note, parse_note, parse_pitch_hz, shifted_hz

SUITS_HZ = {
    3: (130.81, 138.59, 146.83, 155.56, 164.81, 174.61, 185.00, 196.00, 207.65, 220.00, 233.08, 246.94),
    4: (261.63, 277.18, 293.66, 311.13, 329.63, 349.23, 369.99, 392.00, 415.30, 440.00, 466.16, 493.88),
    5: (523.25, 554.37, 587.33, 622.25, 659.26, 698.46, 739.99, 783.99, 830.61, 880.00, 932.33, 987.77),
    6: (1046.50, 1108.73, 1174.66, 1244.51, 1318.51, 1396.91, 1479.98, 1567.98),
}
"""Hz of C, C#, D and so on in each octave, to G6."""
CRC_HZ = {
    "C4": 261.63,
    "C#4": 277.18,
    "D4": 293.66,
    "D#4": 311.13,
    "E4": 329.63,
    "F4": 349.23,
    "C6": 1046.50,
    "C#6": 1108.73,
    "D6": 1174.66,
    "D#6": 1244.51,
    "E6": 1318.51,
    "F6": 1396.91,
}
frequencies_hz = st.floats(20.0, 10_000.0)


def test_the_standard_tuning_frequency() -> None:
    """ISO 16:1975."""
    assert STANDARD_A4_HZ == 440.0
    assert parse_note("A4").hz() == 440.0


@pytest.mark.parametrize("octave", SUITS_HZ)
def test_frequencies_are_those_of_the_table(octave: int) -> None:
    for step, hz in enumerate(SUITS_HZ[octave]):
        assert Note(12 * (octave + 1) + step).hz() == pytest.approx(hz, abs=0.0051)


@pytest.mark.parametrize(("name", "hz"), CRC_HZ.items())
def test_names_have_the_frequencies_of_the_handbook(name: str, hz: float) -> None:
    assert parse_note(name).hz() == pytest.approx(hz, abs=0.0051)


@pytest.mark.parametrize("midi", range(128))
def test_names_and_numbers_are_librosas(midi: int) -> None:
    note = Note(midi)
    assert note.name == librosa.midi_to_note(midi, unicode=False)
    assert parse_note(note.name) == note
    assert note.hz() == pytest.approx(float(librosa.midi_to_hz(midi)))


@pytest.mark.parametrize("letter", "CDEFGABcdefgab")
@pytest.mark.parametrize("sign", ["", "#", "b", "♯", "♭", "##", "bb"])
def test_spellings_are_read_as_librosa_reads_them(letter: str, sign: str) -> None:
    for octave in range(9):
        name = f"{letter}{sign}{octave}"
        assert parse_note(name).midi == librosa.note_to_midi(name), name


def test_a_double_sharp_may_be_written_as_a_cross() -> None:
    assert parse_note("Fx4") == parse_note("F##4") == parse_note("G4")


@pytest.mark.parametrize(
    "text", ["", "H4", "C", "4", "C#", "C4 ?", "Cb-1", "G#9", "C10", "C#b4", "C--1", "C444"]
)
def test_what_is_no_note(text: str) -> None:
    with pytest.raises(ValueError, match=r"note name|outside"):
        parse_note(text)


@given(st.text(max_size=8))
def test_any_text_is_a_note_or_a_value_error(text: str) -> None:
    try:
        note = parse_note(text)
    except ValueError:
        return
    assert 0 <= note.midi <= 127


@given(frequencies_hz, frequencies_hz, frequencies_hz)
def test_cents_add_up_and_change_sign(a: float, b: float, c: float) -> None:
    assert cents(a, a) == 0.0
    assert cents(a, b) == pytest.approx(-cents(b, a), abs=1e-9)
    assert cents(a, c) == pytest.approx(cents(a, b) + cents(b, c), abs=1e-8)
    assert cents(2.0 * a, a) == pytest.approx(1200.0)


@given(frequencies_hz, st.floats(-2400.0, 2400.0))
def test_shifting_by_cents_and_back(hz: float, shift_cents: float) -> None:
    assert cents(shifted_hz(hz, shift_cents), hz) == pytest.approx(shift_cents, abs=1e-8)


def test_cents_of_known_intervals() -> None:
    """Ellis's cents in Helmholtz, On the Sensations of Tone: fifth 702, major third 386, comma 22."""
    for ratio, size in ((3 / 2, 702), (5 / 4, 386), (81 / 80, 22), (2 ** (1 / 12), 100)):
        assert round(cents(440.0 * ratio, 440.0)) == size


@pytest.mark.parametrize(("a", "b"), [(0.0, 440.0), (440.0, 0.0), (-1.0, 440.0), (math.nan, 440.0)])
def test_frequencies_must_be_positive(a: float, b: float) -> None:
    with pytest.raises(ValueError, match="positive"):
        cents(a, b)


@given(st.floats(27.5, 4186.0), st.floats(415.0, 466.0))
def test_the_nearest_note_is_within_half_a_semitone(hz: float, a4_hz: float) -> None:
    assert abs(cents(hz, nearest_note(hz, a4_hz).hz(a4_hz))) <= 50.0 + 1e-9
    assert nearest_note(hz) == Note(round(float(librosa.hz_to_midi(hz))))


def test_the_nearest_note_is_clamped() -> None:
    assert (nearest_note(0.01), nearest_note(1e6)) == (Note(0), Note(127))


@given(st.floats(415.0, 466.0), st.integers(0, 127))
def test_another_reference_moves_all_notes_alike(a4_hz: float, midi: int) -> None:
    assert cents(Note(midi).hz(a4_hz), Note(midi).hz()) == pytest.approx(cents(a4_hz, 440.0), abs=1e-8)


def test_a_pitch_is_a_note_or_a_number() -> None:
    assert parse_pitch_hz("A4") == 440.0
    assert parse_pitch_hz("A4", 442.0) == 442.0
    assert parse_pitch_hz("523.25") == 523.25
    for text in ("H4", "-1", "0", "inf", "nan", ""):
        with pytest.raises(ValueError, match="Hz"):
            parse_pitch_hz(text)
