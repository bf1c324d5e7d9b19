"""Make a first rig from a few answers: range, scale, volumes, pumps.

What comes out is a start to be edited: notes, sizes and places are filled in by rule, and every rule
is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.notes import STANDARD_A4_HZ, Note, parse_note
from rounds.rig import GROUPS, Bottle, Pump, Reference, Rig, group_of, size_of
from rounds.rigs.rigtables import HIGHEST, LOWEST

if TYPE_CHECKING:
    from collections.abc import Sequence

_WHITE = frozenset({0, 2, 4, 5, 7, 9, 11})
SCALES = {"white": _WHITE, "chromatic": frozenset(range(12))}
MOST_ON_RAIL = 13
_GAP_CM = 2.0


@dataclass(frozen=True)
class Answers:
    """What is asked."""

    name: str
    low: Note
    high: Note
    scale: str
    """`white` or `chromatic`."""
    volumes_ml: tuple[float, float, float]
    """Bass, middle, top."""
    barrels_ml: tuple[float, ...]
    """One pump a barrel; the smallest is for the bass, the largest for the rest."""
    reference_hz: float = STANDARD_A4_HZ


def make_rig(answers: Answers) -> Rig:
    """The rig that the answers describe.

    Raises:
        BadInput: the range holds no note, or lies outside what the ear hears.
    """
    notes = _notes(answers)
    pumps = _pumps(answers.barrels_ml)
    return Rig(
        name=answers.name,
        bottles=tuple(_bottles(notes, answers, pumps)),
        pumps=pumps,
        reference=Reference(answers.reference_hz),
    )


def _notes(answers: Answers) -> list[Note]:
    if not LOWEST <= answers.low <= answers.high <= HIGHEST:
        raise BadInput(
            f"the range {answers.low} to {answers.high} cannot be used; "
            f"give the low note first, both from {LOWEST} to {HIGHEST}"
        )
    steps = SCALES[answers.scale]
    notes = [Note(m) for m in range(answers.low.midi, answers.high.midi + 1) if m % 12 in steps]
    if not notes:
        raise BadInput(f"no white note lies from {answers.low} to {answers.high}; widen the range")
    return notes


def _pumps(barrels_ml: Sequence[float]) -> tuple[Pump, ...]:
    return tuple(Pump(id=f"pump{i}", barrel_ml=ml) for i, ml in enumerate(barrels_ml, 1))


def _bottles(notes: Sequence[Note], answers: Answers, pumps: tuple[Pump, ...]) -> list[Bottle]:
    volumes = dict(zip(GROUPS, answers.volumes_ml, strict=True))
    by_barrel = sorted(pumps, key=lambda p: p.barrel_ml)
    rails = math.ceil(len(notes) / MOST_ON_RAIL)
    on_rail = math.ceil(len(notes) / rails)
    bottles, next_cm = [], 0.0
    for i, note in enumerate(notes):
        group, size = group_of(note), size_of(note)
        next_cm = 0.0 if i % on_rail == 0 else next_cm
        bottles.append(
            Bottle(
                id=note.name,
                note=note,
                volume_ml=volumes[size],
                rail=1 + i // on_rail,
                position_cm=next_cm,
                pump=(by_barrel[0] if group == "bass" else by_barrel[-1]).id,
                group=group,
            )
        )
        next_cm += _width_cm(volumes[size])
    return bottles


def _width_cm(volume_ml: float) -> float:
    """Room on the rail: a bottle is about three times as tall as it is wide, and a gap."""
    return float(round(math.cbrt(4.0 * volume_ml / (3.0 * math.pi)) + _GAP_CM))


def read_note(text: str) -> Note:
    """A note name from an answer.

    Raises:
        BadInput: it is none.
    """
    try:
        return parse_note(text)
    except ValueError as error:
        raise BadInput(f"{error}") from error


def read_range(text: str) -> tuple[Note, Note]:
    """`C4-A5` or `C4 A5` as two notes.

    Raises:
        BadInput: not two note names.
    """
    parts = text.replace("–", "-").replace(" to ", " ").replace("-", " ").split()
    if len(parts) != 2:
        raise BadInput(f"{text!r} is not a range; give two notes such as C4-A5")
    return read_note(parts[0]), read_note(parts[1])


def read_numbers(text: str, low: float, high: float, unit: str, counts: tuple[int, ...]) -> tuple[float, ...]:
    """A few numbers, separated by commas or spaces, each within bounds.

    Raises:
        BadInput: not numbers, out of bounds, or not as many as asked for.
    """
    want = " or ".join(str(c) for c in counts)
    allowed = f"give {want} numbers from {low:g} to {high:g} {unit}, separated by commas"
    try:
        values = tuple(float(p) for p in text.replace(",", " ").split())
    except ValueError as error:
        raise BadInput(f"{text!r} is not understood; {allowed}") from error
    if len(values) not in counts or not all(low <= v <= high for v in values):
        raise BadInput(f"{text!r} is not understood; {allowed}")
    return values
