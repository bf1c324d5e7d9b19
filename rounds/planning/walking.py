"""In which order to walk past bottles that are only struck."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.rig import Rig


def walking_order(rig: Rig, bottles: Iterable[str], at_bottle: str | None) -> tuple[str, ...]:
    """Rails in turn, nearest first, each from the end that is nearer."""
    places = [rig.bottle(b) for b in bottles]
    here = rig.bottle(at_bottle) if at_bottle is not None and rig.has_bottle(at_bottle) else None
    rails = sorted({b.rail for b in places}, key=lambda r: (abs(r - here.rail) if here else 0, r))
    order: list[str] = []
    at_cm = here.position_cm if here else 0.0
    for rail in rails:
        row = sorted((b for b in places if b.rail == rail), key=lambda b: (b.position_cm, b.id))
        if abs(row[-1].position_cm - at_cm) < abs(row[0].position_cm - at_cm):
            row.reverse()
        order += [b.id for b in row]
        at_cm = row[-1].position_cm
    return tuple(order)
