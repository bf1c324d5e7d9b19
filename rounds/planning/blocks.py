"""A good order by a plain rule: one block a pump, the cheapest to lose dropped when one would be late.

Moore (1968) within each block, all orders of the blocks tried. Used where the exact search would
grow beyond all measure.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from rounds.planning.labels import Decision, Way

if TYPE_CHECKING:
    from rounds.planning.families import Families


def in_blocks(families: Families) -> Way:
    """The best way that keeps the visits of each pump together."""
    orders = itertools.permutations(range(len(families.families)))
    return min((_in_order(families, order) for order in orders), key=lambda w: (w.cost, w.ticks))


def _in_order(families: Families, order: tuple[int, ...]) -> Way:
    tick, changes, made = 0, 0, list[Decision]()
    for place in order:
        family = families.families[place]
        charged = family.pump is not None and family.pump != families.mounted
        room = families.horizon - (family.setup if charged else 0)
        block = _block(families, place, tick, room)
        if block:
            made += [Decision(place, visit, True) for visit in block]
            tick += sum(int(family.work[v]) for v in block) + (family.setup if charged else 0)
            changes += charged
    connections = sum(families.families[d.family].pump is not None for d in made)
    weight = families.weight - sum(int(families.families[d.family].weight[d.visit]) for d in made)
    return Way(tuple(made), (weight, connections, changes), tick)


def _block(families: Families, place: int, tick: int, room: int) -> list[int]:
    """Visits of one family from a tick on, earliest due first, without those that do not fit."""
    family = families.families[place]
    block: list[int] = []
    for visit in range(len(family)):
        block.append(visit)
        tick += int(family.work[visit])
        if tick > min(int(family.due[visit]), room):
            worst = max(block, key=lambda v: int(family.work[v]) / int(family.weight[v]))
            block.remove(worst)
            tick -= int(family.work[worst])
    return block
