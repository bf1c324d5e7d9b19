"""Which pieces can be played as the bottles are now, and which notes to leave out of the others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rounds.belief.in_or_out import LIKELY_OUT
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.belief import Beliefs
    from rounds.notes import Note
    from rounds.rig import Piece, Rig


@dataclass(frozen=True)
class Playable:
    """One piece at one moment. Notes low to high; `leave_out`: out of tune, never heard, or no bottle."""

    piece: str
    notes: int
    leave_out: tuple[Note, ...]

    @property
    def whole(self) -> bool:
        """Whether every note of it can be played."""
        return not self.leave_out

    def document(self) -> dict[str, Any]:
        """As commands print it."""
        return {"piece": self.piece, "notes": self.notes, "leave_out": [n.name for n in self.leave_out]}

    def sentence(self) -> str:
        """`11 of 14 of Forty Damp Matches play; leave out C3, D3 and E3`."""
        if self.whole:
            return f"all {self.notes} of {self.piece} play"
        playing = self.notes - len(self.leave_out)
        names = in_words([note.name for note in self.leave_out])
        return f"{playing} of {self.notes} of {self.piece} play; leave out {names}"


def playable(
    rig: Rig,
    beliefs: Beliefs,
    at_s: float,
    shift_cents: float = 0.0,
    pieces: Sequence[Piece] | None = None,
) -> tuple[Playable, ...]:
    """Some pieces of a rig, all when none is named, as its bottles are believed to be at a moment.

    A note plays when one bottle of it is likelier in its band than out; where two bottles share a note the
    other one may be left alone.
    """
    sounding = {
        bottle.note
        for bottle in rig.bottles
        if beliefs.heard(bottle.id)
        and beliefs.level(bottle.id, at_s).outside(bottle.tolerance_cents, shift_cents) < LIKELY_OUT
    }
    return tuple(_of(piece, sounding) for piece in (rig.pieces if pieces is None else pieces))


def _of(piece: Piece, sounding: set[Note]) -> Playable:
    return Playable(piece.name, len(piece.notes), tuple(n for n in piece.notes if n not in sounding))
