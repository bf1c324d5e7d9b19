"""Leaning on the group: each bottle's filter read with its group as the prior, not the general one."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rounds.belief.pooling import Pool, pooled, swapped, told
from rounds.gauss import Gauss
from rounds.rig import GROUPS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.belief.priors import Prior
    from rounds.belief.track import Track

COEFFICIENTS = ("leak", "per_k", "settling", "creep")
"""The filter's coefficients, in the order of its state."""


class Leaning:
    """What the bottles of each group have in common, and filters that lean on it."""

    def __init__(self, priors: Mapping[str, Prior]) -> None:
        self.priors = priors
        self.pools: dict[str, Pool] = {group: Pool() for group in GROUPS}

    def copy(self) -> Leaning:
        """An independent copy."""
        twin = Leaning(self.priors)
        twin.pools = {g: p.copy() for g, p in self.pools.items()}
        return twin

    def readings(self, group: str) -> int:
        """How many readings a group had."""
        return self.pools[group].count

    def count(self, bottle_id: str, tracks: Mapping[str, Track]) -> None:
        """Count a reading; now and then, work out anew what its group has in common."""
        pool = self.pools[self.priors[bottle_id].group]
        if not pool.is_due():
            return
        group = self.priors[bottle_id].group
        mates = [
            (self.priors[i], t) for i, t in tracks.items() if self.priors[i].group == group and t.readings
        ]
        for name in COEFFICIENTS:
            says = (told(_prior(p, name), _posterior(t, name)) for p, t in mates)
            first = _first_of_group(self.priors[bottle_id], name)
            pool.found[name] = pooled(first, (s for s in says if s is not None))

    def coefficient(self, bottle_id: str, name: str, track: Track) -> Gauss:
        """A bottle's coefficient as its own readings and its group tell it."""
        prior = self.priors[bottle_id]
        return swapped(_prior(prior, name), _posterior(track, name), self._group(prior, name))

    def leaned(self, bottle_id: str, track: Track) -> Track:
        """A copy of a bottle's filter that leans on its group."""
        twin = track.copy()
        prior = self.priors[bottle_id]
        for index, name in enumerate(COEFFICIENTS, 1):
            twin.lean(index, _prior(prior, name), self._group(prior, name))
        return twin

    def _group(self, prior: Prior, name: str) -> Gauss:
        return self.pools[prior.group].found.get(name) or _first_of_group(prior, name)


def _posterior(track: Track, name: str) -> Gauss:
    mean, var = {
        "leak": (track.leak, track.a11),
        "per_k": (track.per_k, track.a22),
        "settling": (track.settling, track.a33),
        "creep": (track.creep, track.a44),
    }[name]
    return Gauss(mean, math.sqrt(max(var, 1e-12)))


def _prior(prior: Prior, name: str) -> Gauss:
    by_name: dict[str, Gauss] = {
        "leak": prior.leak_per_min,
        "per_k": prior.per_kelvin,
        "settling": prior.settling,
        "creep": prior.creep,
    }
    return by_name[name]


def _first_of_group(prior: Prior, name: str) -> Gauss:
    return prior.group_leak if name == "leak" else _prior(prior, name)
