"""Pieces: which notes are played, written as a list or taken from a MIDI file.

The only module that sees mido. MIDI files come from anywhere and are often broken, and mido tells
of it in many ways (end of file, index, value and its own errors); here they all become one sentence.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.files.problems import Table, near_miss, shown
from rounds.notes import Note, parse_note
from rounds.rig import Piece

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

EXPOSED_WEIGHT = 3.0
"""How much more an exposed note weighs than a plain one, when not all can be in tune."""
BACKING_TRACK = "backing track "
"""How `Piece.fixed_by` begins when a backing track fixes the pitch."""
MOST_MIDI_BYTES = 4_000_000
_DRUM_CHANNEL = 9
_MOST_NOTES = 2000


def midi_notes(path: Path) -> tuple[Note, ...]:
    """The notes sounded in a MIDI file, low to high; the drum channel is left out.

    Raises:
        BadInput: the file cannot be read, is not MIDI, is broken, or sounds no note.
    """
    data = _read(path)
    import mido  # only pieces need it, and it costs start-up time

    try:
        messages = [m for track in mido.MidiFile(file=io.BytesIO(data), clip=True).tracks for m in track]
    except (OSError, EOFError, ValueError, LookupError, TypeError, mido.KeySignatureError) as error:
        why = str(error) or type(error).__name__
        raise BadInput(f"{path} is not a MIDI file that can be read ({why}); export it again.") from error
    found = {
        m.note for m in messages if m.type == "note_on" and m.velocity > 0 and m.channel != _DRUM_CHANNEL
    }
    if not found:
        raise BadInput(f"{path} sounds no note outside the drum channel; choose another MIDI file.")
    return tuple(Note(n) for n in sorted(found))


def _read(path: Path) -> bytes:
    try:
        if path.exists() and not path.is_file():
            raise BadInput(f"{path} is not a file; name a MIDI file.")
        with path.open("rb") as file:
            data = file.read(MOST_MIDI_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadInput(f"{path} cannot be read ({why}); check its name and place.") from error
    if len(data) > MOST_MIDI_BYTES:
        raise BadInput(
            f"{path} is larger than {MOST_MIDI_BYTES // 1_000_000} MB; a piece is a small MIDI file."
        )
    return data


def make_piece(
    name: str, notes: Iterable[Note], exposed: Iterable[Note] = (), fixed_by: str | None = None
) -> Piece:
    """A piece whose exposed notes weigh more."""
    weights = dict.fromkeys(sorted(set(notes)), 1.0)
    weights.update(dict.fromkeys(exposed, EXPOSED_WEIGHT))
    return Piece(name=name, weights=dict(sorted(weights.items())), fixed_by=fixed_by)


def read_piece(table: Table, folder: Path) -> Piece:
    """One `[[piece]]` table; MIDI names are relative to the rig file's folder."""
    name = table.text("name")
    notes = _notes_of(table, folder)
    exposed = _note_list(table, "exposed") if table.has("exposed") else []
    for note in sorted(set(exposed) - set(notes)):
        if notes:
            table.problems.add(table.at("exposed"), f"found {note.name!r}", "notes of this piece")
    piece = make_piece(name, notes, [n for n in exposed if n in set(notes)], _fixed_by(table))
    table.finish()
    return piece


def _fixed_by(table: Table) -> str | None:
    instrument, track = table.optional_text("fixed_pitch"), table.optional_text("backing_track")
    parts = ([instrument] if instrument else []) + ([BACKING_TRACK + track] if track else [])
    return " and ".join(parts) or None


def _notes_of(table: Table, folder: Path) -> list[Note]:
    has_notes, has_midi = table.has("notes"), table.has("midi")
    if has_notes == has_midi:
        what = "found both notes and midi" if has_notes else "neither notes nor midi"
        table.problems.add(table.place, what, 'one of them: notes = ["C4", "E4"] or midi = "piece.mid"')
    if has_midi:
        return _from_midi(table, folder)
    return _note_list(table, "notes") if has_notes else []


def _from_midi(table: Table, folder: Path) -> list[Note]:
    name = table.text("midi", longest=1000)
    if not name:
        return []
    try:
        return list(midi_notes(folder / name))
    except BadInput as error:
        table.problems.found.append(f"{table.at('midi')}: {error}")
        return []


def _note_list(table: Table, key: str) -> list[Note]:
    value = table.raw(key)
    if not isinstance(value, list) or not 0 < len(value) <= _MOST_NOTES:
        table.wrong(key, f'a list of 1 to {_MOST_NOTES} note names such as ["C4", "F#5"]')
        return []
    return [n for n in (_note(table, f"{key} {i}", v) for i, v in enumerate(value, 1)) if n is not None]


def _note(table: Table, place: str, value: object) -> Note | None:
    try:
        if isinstance(value, str):
            return parse_note(value)
    except ValueError:
        pass  # told below, together with what is no text at all
    near = near_miss(value, (Note(m).name for m in range(24, 109)))
    table.problems.add(table.at(place), f"found {shown(value)}", "a note name such as C4, F#5 or Bb3", near)
    return None
