"""Which volume and pressure a note needs, which notes are beyond the reliable range, which bottle fits.

Conventions: gauge pressures in kPa, volumes in mL, sensitivities in cents per kelvin at
`ROOM_C`. Everything rests on `rounds.air`: f² = a + b p, with priors that are common practice and
have no source; a shelf line that was heard replaces the prior by what was heard.

Two decisions a reader might undo:

* The reliable range is not a list of notes. Its two edges, C4 and E6 (common practice, no source),
  are turned into numbers of the usual bottles there: the cents per kelvin and per kilopascal at
  C4, the pressure at E6. Any bottle at any note is held against these numbers, so a small bottle at
  low pressure counts as drifting even where the usual bottle of that note does not.
* A bottle that was never heard belongs to the group its size is usual for, and is taken for the
  bottle of the nearest note of that group: one bottle has one a and one b, so outside its group the
  pressure follows f² = a + b p and not the usual pressures of other makes. A size between the usual
  ones scales as similar shells of one wall thickness h do (L ~ V^(1/3)): the pressure term as 1/L
  (p R/(ρ h L²) with R ~ L), the stiffness term of the lowest mode, where stretching (~ 1/L²) and
  bending (~ h²/L⁴) balance, as 1/L³.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rounds.air import DEFAULT_CAUTION_KPA, DEFAULT_CEILING_KPA, Shell, kpa_to_psi, prior_shell, stroke_kpa
from rounds.notes import STANDARD_A4_HZ, Note, parse_note
from rounds.rig import RELIABLE_HIGH, RELIABLE_LOW, USUAL_BARREL_ML, Group, size_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.workshop.shelf import ShelfLine

ROOM_C = 20.0
USUAL_VOLUME_ML: dict[Group, float] = {"bass": 2000.0, "middle": 1250.0, "top": 600.0}
"""Common practice, no source."""
PLAYED_LOW, PLAYED_HIGH = Note(48), Note(91)
"""C3 and G6: outside them the prior of the edge bottle is used, not a pressure of its own."""
_GROUP_SPAN: dict[Group, tuple[Note, Note]] = {
    "bass": (PLAYED_LOW, Note(RELIABLE_LOW.midi - 1)),
    "middle": (RELIABLE_LOW, RELIABLE_HIGH),
    "top": (Note(RELIABLE_HIGH.midi + 1), PLAYED_HIGH),
}

Standing = Literal["reliable", "drifts", "hard_to_hold", "too_high", "too_low"]
"""`too_high`: past the ceiling; `too_low`: the bottle sounds above the note even with no air in it."""
BEYOND: frozenset[Standing] = frozenset({"drifts", "hard_to_hold"})
REFUSED: frozenset[Standing] = frozenset({"too_high", "too_low"})

_SPAN = re.compile(r"\s*(\S*\d)\s*(?:-|\.\.)\s*([A-Ga-g]\S*)\s*\Z")
_NATURALS = frozenset({0, 2, 4, 5, 7, 9, 11})


@dataclass(frozen=True)
class Need:
    """What one bottle needs to play one note. Nothing is said above a ceiling: None there."""

    note: Note
    hz: float
    volume_ml: float
    gauge_kpa: float | None
    cents_per_kelvin: float | None
    cents_per_stroke: float | None
    strokes: float | None
    """Full strokes from an empty bottle."""
    standing: Standing
    why: str


@dataclass(frozen=True)
class Edges:
    """The reliable range as numbers: no bottle in it is more sensitive, or under more pressure."""

    cents_per_kelvin: float
    cents_per_kpa: float
    gauge_kpa: float


def parse_notes(text: str, *, naturals_only: bool = False) -> tuple[Note, ...]:
    """The notes of `C3-G6`, `C4,E4,G4` or a mixture, each once, low to high.

    Raises:
        ValueError: a part is neither a note nor a span from a low to a high note.
    """
    found: set[Note] = set()
    for part in text.split(","):
        span = _SPAN.match(part)
        low, high = (parse_note(g) for g in (span.groups() if span else (part, part)))
        if high < low:
            raise ValueError(f"{part.strip()!r} runs downwards; write the low note first")
        found.update(Note(m) for m in range(low.midi, high.midi + 1))
    return tuple(n for n in sorted(found) if not naturals_only or n.midi % 12 in _NATURALS)


def usual_volume_ml(note: Note) -> float:
    """The size of bottle for a note: of three the one that holds it at the least pressure."""
    return USUAL_VOLUME_ML[size_of(note)]


def usual_shell(note: Note) -> Shell:
    """The prior shell of the usual bottle for a note; beyond C3 to G6 that of the edge note."""
    edge = min(max(note, PLAYED_LOW), PLAYED_HIGH)
    return prior_shell(edge.hz(), edge.midi)


def group_of_size(volume_ml: float) -> Group:
    """The group whose usual volume is closest by ratio."""
    return min(USUAL_VOLUME_ML, key=lambda g: abs(math.log(volume_ml / USUAL_VOLUME_ML[g])))


def shell_of_size(note: Note, volume_ml: float) -> Shell:
    """The prior shell of a bottle of any size for a note (see module)."""
    group = group_of_size(volume_ml)
    low, high = _GROUP_SPAN[group]
    usual = usual_shell(min(max(note, low), high))
    ratio = volume_ml / USUAL_VOLUME_ML[group]
    return Shell(usual.stiffness_hz2 / ratio, usual.slope_hz2_per_kpa / ratio ** (1.0 / 3.0))


def reliable_edges() -> Edges:
    """The numbers of C4 and E6 on their usual bottles."""
    low_hz, high_hz = RELIABLE_LOW.hz(), RELIABLE_HIGH.hz()
    low = usual_shell(RELIABLE_LOW)
    return Edges(
        cents_per_kelvin=low.cents_per_kelvin(low_hz, ROOM_C),
        cents_per_kpa=low.cents_per_kpa(low_hz),
        gauge_kpa=usual_shell(RELIABLE_HIGH).gauge_kpa(high_hz),
    )


def need_of(
    note: Note,
    volume_ml: float,
    shell: Shell,
    *,
    ceiling_kpa: float = DEFAULT_CEILING_KPA,
    barrel_ml: float = USUAL_BARREL_ML,
    a4_hz: float = STANDARD_A4_HZ,
) -> Need:
    """What a bottle of this shell needs for a note, and whether it holds it."""
    hz = note.hz(a4_hz)
    gauge_kpa = shell.gauge_kpa(hz)
    standing, why = _standing(shell, hz, gauge_kpa, ceiling_kpa)
    if standing in REFUSED:
        return Need(note, hz, volume_ml, None, None, None, None, standing, why)
    per_stroke_kpa = stroke_kpa(barrel_ml, volume_ml)
    return Need(
        note=note,
        hz=hz,
        volume_ml=volume_ml,
        gauge_kpa=gauge_kpa,
        cents_per_kelvin=shell.cents_per_kelvin(hz, ROOM_C),
        cents_per_stroke=shell.cents_per_kpa(hz) * per_stroke_kpa,
        strokes=gauge_kpa / per_stroke_kpa,
        standing=standing,
        why=why,
    )


def _standing(shell: Shell, hz: float, gauge_kpa: float, ceiling_kpa: float) -> tuple[Standing, str]:
    if gauge_kpa <= 0.0:
        return "too_low", "this bottle is too stiff: it sounds higher even without air; take a larger one"
    if gauge_kpa > ceiling_kpa:
        ceiling_psi = kpa_to_psi(ceiling_kpa)
        return "too_high", f"would need more than its ceiling of {ceiling_psi:.0f} psi; take a smaller bottle"
    edges, slack = reliable_edges(), 1.0 + 1e-9
    if gauge_kpa > DEFAULT_CAUTION_KPA * slack:
        return "hard_to_hold", "above the caution pressure: leaks show and caps warp"
    if gauge_kpa > edges.gauge_kpa * slack:
        return "hard_to_hold", "near the ceiling: leaks show and caps warp"
    per_kelvin, per_kpa = shell.cents_per_kelvin(hz, ROOM_C), shell.cents_per_kpa(hz)
    if per_kelvin > edges.cents_per_kelvin * slack or per_kpa > edges.cents_per_kpa * slack:
        return "drifts", "low pressure: every degree and every puff of air lost shows"
    return "reliable", ""


def usual_need(note: Note, *, barrel_ml: float = USUAL_BARREL_ML, a4_hz: float = STANDARD_A4_HZ) -> Need:
    """What the usual bottle for a note needs: the prior, to be replaced by what is heard."""
    volume_ml = usual_volume_ml(note)
    return need_of(note, volume_ml, shell_of_size(note, volume_ml), barrel_ml=barrel_ml, a4_hz=a4_hz)


def need_on_line(
    note: Note, line: ShelfLine, *, barrel_ml: float = USUAL_BARREL_ML, a4_hz: float = STANDARD_A4_HZ
) -> Need:
    """What a bottle of a shelf line needs for a note."""
    shell = line.measured_shell or shell_of_size(note, line.volume_ml)
    return need_of(
        note, line.volume_ml, shell, ceiling_kpa=line.ceiling_kpa, barrel_ml=barrel_ml, a4_hz=a4_hz
    )


def reach_of(volume_ml: float, notes: Sequence[Note], *, barrel_ml: float = USUAL_BARREL_ML) -> list[Need]:
    """The notes that a usual bottle of a size can play, low to high, with what each needs."""
    needs = (need_of(n, volume_ml, shell_of_size(n, volume_ml), barrel_ml=barrel_ml) for n in notes)
    return [need for need in needs if need.standing not in REFUSED]
