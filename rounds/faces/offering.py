"""What a single key may take: each moment offers one thing at most. Pure.

A strike moves the round on by itself, so where one is waited for nothing is offered.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from rounds.wording.shown import MOVES_AIR

if TYPE_CHECKING:
    from rounds.faces.view import View

Offer = Literal["", "open_round", "end_round", "gauge", "done", "swapped"]


def offered(view: View) -> Offer:
    """The one thing that can be taken now: an act confirmed, a gauge typed, a round begun or ended."""
    told = view.instruction
    if view.mode == "take":
        return ""
    if view.mode == "between":
        return "open_round"
    if view.maybe_swapped is not None:
        return "swapped"
    if told.act == "gauge":
        return "gauge"
    if told.act == "disconnect" or (told.act in MOVES_AIR and (told.strokes or view.is_let_down)):
        return "done"
    return "end_round" if view.phase == "done" and told.act == "none" else ""
