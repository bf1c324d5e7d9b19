"""Whether two bottles may hang in each other's place: each sounds like the other's note. Pure.

Only strikes of this round count, before any air: what was pumped since tells nothing of where a bottle hangs.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from rounds.notes import cents

if TYPE_CHECKING:
    from rounds.guide.round import RoundState
    from rounds.rig import Rig

NEAR_CENTS = 25.0
"""So near the other's note. Our guess: a quarter of a semitone."""
LEAST_APART_CENTS = 60.0
"""Notes nearer than this cannot be told apart by it."""


def maybe_swapped(rig: Rig, state: RoundState) -> tuple[str, str] | None:
    """The first two bottles, low to high, each of which was heard near the other's note."""
    changed = state.moved | state.visited
    off = {b: h.cents for b, h in state.heard.items() if b not in changed and abs(h.cents) > NEAR_CENTS}
    low_to_high = [b.id for b in rig.by_pitch if b.id in off]
    for low, high in combinations(low_to_high, 2):
        apart = cents(rig.target_hz(high), rig.target_hz(low))
        crossed = abs(off[low] - apart) <= NEAR_CENTS and abs(off[high] + apart) <= NEAR_CENTS
        if crossed and apart >= LEAST_APART_CENTS:
            return low, high
    return None
