"""The floating reference: the shift of A4 that needs least work, found by trying all shifts.

"Fewest connections" alone is a trap: it puts bottles at the edges of their bands, where each is left
alone and half of them are out. So the sweep asks for the least cost: bottles out in expectation, and
visits at the same price by which it is decided whom to visit. Scores, aims and chances all move with
the shift.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.planning.prospect import after_visit
from rounds.planning.whom import outlook

if TYPE_CHECKING:
    from rounds.planning.prospect import Paths
    from rounds.planning.whom import Flags
    from rounds.rig import Piece, Reference

STEP_CENTS = 0.25
"""The sweep's step: finer than any ear, and than any bottle can be tuned."""


@dataclass(frozen=True)
class Shift:
    """A shift of the reference and the connections it saves against staying where A4 is."""

    cents: float
    saves: int = 0
    refused: str | None = None
    """What fixes the pitch, if something does."""


def fixed_by(pieces: tuple[Piece, ...]) -> str | None:
    """The instrument or backing track that fixes the pitch of the pieces, if any does."""
    return next((p.fixed_by for p in pieces if p.fixed_by is not None), None)


def best_shift(
    paths: Paths, free: Flags, reference: Reference, pieces: tuple[Piece, ...], now_cents: float = 0.0
) -> Shift:
    """The shift within the players' limits that costs least; where A4 is now, if that is as good.

    Args:
        free: bottles that may be visited; the others were accepted already, and only count as they are.
    """
    fixed = fixed_by(pieces)
    if fixed is not None or not reference.floating:
        return Shift(0.0, refused=fixed)
    if not paths.bottles:
        return Shift(now_cents)
    after = after_visit(paths)
    judged = [outlook(paths, shift, after) for shift in _tried(reference, now_cents)]
    costs = np.array([np.where(free, j.costs, j.stay.out).sum() for j in judged])
    best = judged[int(costs.round(9).argmin())]
    return Shift(best.shift_cents, judged[0].connections - best.connections)


def _tried(reference: Reference, now_cents: float) -> list[float]:
    """Shifts in the order of their distance from where A4 is now."""
    steps = np.arange(reference.low_cents, reference.high_cents + STEP_CENTS, STEP_CENTS)
    within = np.minimum(steps, reference.high_cents).tolist()
    return sorted({now_cents, *within}, key=lambda s: (abs(s - now_cents), s))
