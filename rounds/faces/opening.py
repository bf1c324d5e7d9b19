"""Whether the open round is the one asked for.

A killed program started again with the same words goes on with its round. Started with other words (a
later downbeat, another piece) it must not go on with the old one as if nothing had been said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rounds.events import RoundOpened
    from rounds.faces.controller import RoundRequest

SAME_DOWNBEAT_S = 90.0
"""Downbeats this close are one: a time of day has minutes, and clocks are read in between."""
SAME_BLOCK_S = 1.0


FOR_TWO = "This round is for two people; start with --people 1 to tune alone."


def people_of(opened: RoundOpened) -> int:
    """How many tune in a round."""
    return max(1, len(opened.shares))


def is_asked_for(opened: RoundOpened, request: RoundRequest, now_s: float) -> bool:
    """Whether all that a request names is so in an open round. The temperature does not matter."""
    return (
        request.let_down == opened.let_down
        and _downbeat_agrees(opened, request, now_s)
        and (request.block_s is None or abs(request.block_s - opened.block_s) < SAME_BLOCK_S)
        and request.people in (None, people_of(opened))
        and (not request.pieces or set(request.pieces) == set(opened.pieces))
    )


def _downbeat_agrees(opened: RoundOpened, request: RoundRequest, now_s: float) -> bool:
    if request.downbeat_in_s is None:
        return True
    if opened.downbeat_s is None:
        return False
    return abs(now_s + request.downbeat_in_s - opened.downbeat_s) < SAME_DOWNBEAT_S
