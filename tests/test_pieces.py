"""Pieces from note lists and from MIDI files, whole and broken."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.errors import BadInput, BadRig
from rounds.notes import parse_note
from rounds.rigs.pieces import EXPOSED_WEIGHT, MOST_MIDI_BYTES, midi_notes
from rounds.rigs.rigfile import load_rig, parse_rig, rig_to_toml

if TYPE_CHECKING:
    from rounds.rig import Piece

CONFIGS = Path(__file__).parent.parent / "configs"
RIG = """
[[pump]]
id = "floor"
barrel_ml = 160
[[bottle]]
note = "C4"
volume_ml = 1250
[[piece]]
name = "Song"
"""


def piece(keys: str) -> Piece:
    """The piece of a small rig."""
    return parse_rig(RIG + keys).pieces[0]


def names(found: Piece) -> list[str]:
    """Its notes by name."""
    return [n.name for n in found.notes]


def notes_or_sentence(path: Path) -> str:
    """The notes, or the sentence that says why there are none; anything else fails the test."""
    try:
        return " ".join(n.name for n in midi_notes(path))
    except BadInput as error:
        return str(error)


def by_hand(*events: bytes) -> bytes:
    """A MIDI file of one track, put together byte by byte.

    Chunk layout from the Standard MIDI File specification (RP-001, MIDI Manufacturers Association):
    the header holds format, number of tracks and division; a track its length and its timed events.
    """
    track = b"".join(events) + b"\x00\xff\x2f\x00"
    return b"MThd" + struct.pack(">IHHH", 6, 0, 1, 480) + b"MTrk" + struct.pack(">I", len(track)) + track


def test_notes_and_exposed_notes() -> None:
    found = piece('notes = ["G5", "C4", "Bb4", "C4"]\nexposed = ["G5"]')
    assert names(found) == ["C4", "A#4", "G5"]
    assert found.weights[parse_note("G5")] == EXPOSED_WEIGHT == 3.0
    assert found.weights[parse_note("C4")] == 1.0
    assert found.fixed_by is None


@pytest.mark.parametrize(
    ("keys", "fixed_by"),
    [
        ('fixed_pitch = "glockenspiel"', "glockenspiel"),
        ('backing_track = "harbour"', "backing track harbour"),
        ('fixed_pitch = "harp"\nbacking_track = "sea"', "harp and backing track sea"),
    ],
)
def test_what_fixes_the_pitch(keys: str, fixed_by: str) -> None:
    found = piece('notes = ["C4"]\n' + keys)
    assert found.fixed_by == fixed_by
    assert parse_rig(rig_to_toml(parse_rig(RIG + 'notes = ["C4"]\n' + keys))).pieces[0] == found


@pytest.mark.parametrize(
    ("keys", "word"),
    [
        ("", "neither notes nor midi"),
        ('notes = ["C4"]\nmidi = "a.mid"', "found both notes and midi"),
        ("notes = []", "notes: found a list"),
        ('notes = "C4"', "notes: found 'C4'"),
        ('notes = ["C4", "X1", 5]', "notes 2: found 'X1'"),
        ('notes = ["C4"]\nexposed = ["D4"]', "notes of this piece"),
        ('notes = ["C4"]\nfixed_pitch = true', "fixed_pitch"),
        ('notes = ["C4"]\nexposd = ["C4"]', "did you mean 'exposed'?"),
        ('midi = "none.mid"', "cannot be read"),
        ('midi = "."', "not a file"),
    ],
)
def test_a_piece_with_problems(keys: str, word: str) -> None:
    with pytest.raises(BadRig) as caught:
        piece(keys)
    assert word in str(caught.value)


def test_midi_bytes_by_the_specification(tmp_path: Path) -> None:
    path = tmp_path / "song.mid"
    path.write_bytes(
        by_hand(
            b"\x00\x90\x3c\x40",  # C4 on, channel 1
            b"\x60\x3c\x00",  # running status, velocity 0: off
            b"\x00\x91\x43\x40",  # G4 on, channel 2
            b"\x00\x91\x4c\x00",  # E5 with velocity 0 sounds nothing
            b"\x00\x99\x24\x40",  # channel 10 is the drums (General MIDI 1)
        )
    )
    assert [n.name for n in midi_notes(path)] == ["C4", "G4"]


def test_the_shipped_midi_piece() -> None:
    rig = load_rig(CONFIGS / "three_rails.toml")
    walk = next(p for p in rig.pieces if p.name == "Lantern Walk")
    assert {"C3", "C5", "C6"} <= set(names(walk))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"MThd",
        b"RIFF0000WAVE",
        by_hand(b"\x00\x90\x3c\x40")[:-6],
        by_hand(b"\x00\x3c\x40"),  # data without a status
        by_hand(b"\x00\xff\x59\x02\x20\x05\x00\x90\x3c\x40"),  # key signature of 32 sharps
        by_hand(b"\x00\xf0\xff\xff\xff\x7f"),  # system exclusive of 268 million bytes
        by_hand(b"\x00\x99\x24\x40"),  # drums alone
        by_hand(),
        b"MThd" + struct.pack(">IHHH", 6, 1, 65535, 480),
    ],
)
def test_broken_midi_is_one_sentence(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "song.mid"
    path.write_bytes(data)
    with pytest.raises(BadInput, match=r"song\.mid"):
        midi_notes(path)


def test_huge_midi_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "song.mid"
    path.write_bytes(b"MThd" + bytes(MOST_MIDI_BYTES))
    with pytest.raises(BadInput, match="larger than"):
        midi_notes(path)


@given(st.binary(max_size=200), st.booleans())
def test_any_bytes_give_notes_or_one_sentence(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, whole: bool
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.mid"
    path.write_bytes(by_hand(data) if whole else data)
    assert notes_or_sentence(path)


@given(st.data())
def test_damaged_midi_gives_notes_or_one_sentence(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    good = (CONFIGS / "lantern_walk.mid").read_bytes()
    at = data.draw(st.integers(0, len(good) - 1))
    path = tmp_path_factory.getbasetemp() / "any.mid"
    path.write_bytes(good[:at] + data.draw(st.binary(max_size=4)) + good[at + data.draw(st.integers(0, 4)) :])
    assert notes_or_sentence(path)


@given(st.sets(st.tuples(st.integers(0, 15), st.integers(0, 127)), min_size=1, max_size=30))
def test_what_mido_writes_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, played: set[tuple[int, int]]
) -> None:
    path = tmp_path_factory.getbasetemp() / "played.mid"
    file = mido.MidiFile()
    file.tracks.append(
        mido.MidiTrack(
            mido.Message("note_on", channel=c, note=n, velocity=64, time=10) for c, n in sorted(played)
        )
    )
    file.save(path)
    pitched = sorted({n for c, n in played if c != 9})
    if not pitched:
        with pytest.raises(BadInput):
            midi_notes(path)
    else:
        assert [n.midi for n in midi_notes(path)] == pitched
