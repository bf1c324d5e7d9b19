"""Empirical Bayes: what the bottles of a group have in common, learned from all of them.

Each bottle's filter ran under the same prior; its posterior divided by that prior is what its own
readings say. The group's mean and spread follow from those, and a bottle with few readings then
leans on its group (`swap_prior`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.gauss import Gauss

if TYPE_CHECKING:
    from collections.abc import Iterable

SAYS_NOTHING = 0.05
"""A bottle whose variance fell by less than this share of its prior says nothing about its group."""
PRIOR_BOTTLES = 2.0
"""The prior counts as this many bottles when a group's mean and spread are worked out."""
ROUNDS_OF_FIT = 6
OFTEN, SELDOM = 4, 120
"""Readings of a group between two poolings, at first and at last."""


@dataclass(slots=True)
class Told:
    """What one bottle's readings alone say about a number."""

    mean: float
    var: float


class Pool:
    """What the bottles of one group have in common, as last worked out, and when that is due again."""

    __slots__ = ("count", "fits", "found", "waiting")

    def __init__(self) -> None:
        self.found: dict[str, Gauss] = {}
        self.count = 0
        self.waiting = 0
        self.fits = 0
        """How often it was worked out, so that what follows from it can be kept."""

    def copy(self) -> Pool:
        """An independent copy."""
        twin = Pool()
        twin.found, twin.count, twin.waiting, twin.fits = (
            dict(self.found),
            self.count,
            self.waiting,
            self.fits,
        )
        return twin

    def is_due(self) -> bool:
        """Count a reading; a group with many readings changes slowly and is worked out seldom."""
        self.count += 1
        self.waiting += 1
        if self.waiting < min(SELDOM, max(OFTEN, self.count // 20)):
            return False
        self.waiting = 0
        return True


def told(prior: Gauss, posterior: Gauss) -> Told | None:
    """A posterior with its prior divided out; None where the readings said nothing."""
    var, prior_var = posterior.var, prior.var
    if var > (1.0 - SAYS_NOTHING) * prior_var:
        return None
    precision = 1.0 / var - 1.0 / prior_var
    return Told((posterior.mean / var - prior.mean / prior_var) / precision, 1.0 / precision)


def pooled(prior: Gauss, says: Iterable[Told]) -> Gauss:
    """Mean and spread of a group from what its bottles say, held by the prior while they say little.

    A few steps of EM for the random-effects model, with the prior as `PRIOR_BOTTLES` more bottles.
    """
    voices = [(v.mean, v.var) for v in says]
    mean, var = prior.mean, prior.var
    count = len(voices) + PRIOR_BOTTLES
    for _ in range(ROUNDS_OF_FIT if voices else 0):
        total, squares, own = 0.0, 0.0, 0.0
        for voice, voice_var in voices:
            share = var / (var + voice_var)
            centre = share * (voice - mean)
            total += centre
            squares += centre * centre
            own += share * voice_var
        step = (total + PRIOR_BOTTLES * (prior.mean - mean)) / count
        squares += step * (len(voices) * step - 2.0 * total)
        mean += step
        var = (squares + own + PRIOR_BOTTLES * prior.var) / count
    return Gauss(mean, math.sqrt(var))


def swapped(prior: Gauss, posterior: Gauss, group: Gauss) -> Gauss:
    """The posterior as it would be had the group been the prior."""
    precision = max(0.02 / posterior.var, 1.0 / posterior.var - 1.0 / prior.var + 1.0 / group.var)
    weighted = posterior.mean / posterior.var - prior.mean / prior.var + group.mean / group.var
    return Gauss(weighted / precision, math.sqrt(1.0 / precision))
