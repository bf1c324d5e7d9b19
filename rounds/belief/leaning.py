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

LEAST_PRECISION = 1e-9
COEFFICIENTS = ("leak", "per_k", "settling", "creep")
"""The filter's coefficients, in the order of its state."""
VARIANCES = {"leak": "a11", "per_k": "a22", "settling": "a33", "creep": "a44"}
PRIORS = {"leak": "leak_per_min", "per_k": "per_kelvin", "settling": "settling", "creep": "creep"}
"""Where a filter keeps their variances, and where a prior tells them."""


class Leaning:
    """What the bottles of each group have in common, and filters that lean on it."""

    def __init__(self, priors: Mapping[str, Prior]) -> None:
        self.priors = priors
        self.pools: dict[str, Pool] = {group: Pool() for group in GROUPS}
        self._kept: dict[str, tuple[int, tuple[tuple[int, float, float], ...]]] = {}

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
        group = self.priors[bottle_id].group
        pool = self.pools[group]
        if not pool.is_due():
            return
        priors = {i: p for i, p in self.priors.items() if p.group == group}
        first = next(iter(priors.values()))
        for name in COEFFICIENTS:
            says = []
            for mate, prior in priors.items():
                if tracks[mate].readings:
                    unit = _unit(prior, name)
                    own, found = _prior(prior, name).scaled(1.0 / unit), _posterior(tracks[mate], name)
                    says.append(told(own, found.scaled(1.0 / unit)))
            start = _first_of_group(first, name).scaled(1.0 / _unit(first, name))
            pool.found[name] = pooled(start, (s for s in says if s is not None))
        pool.fits += 1

    def coefficient(self, bottle_id: str, name: str, track: Track) -> Gauss:
        """A bottle's coefficient, from its own readings and from its group."""
        prior = self.priors[bottle_id]
        return swapped(_prior(prior, name), _posterior(track, name), self._group(prior, name))

    def leaned(self, bottle_id: str, track: Track) -> Track:
        """A copy of a bottle's filter that leans on its group."""
        return self._lean(bottle_id, track.copy())

    def leaned_level(self, bottle_id: str, track: Track) -> tuple[float, float]:
        """Level and its variance, the filter leaning on its group."""
        twin = self._lean(bottle_id, track.state())
        return twin.level, twin.a00

    def _lean(self, bottle_id: str, twin: Track) -> Track:
        for index, precision, says in self._leanings(bottle_id):
            twin.lean(index, precision, says)
        return twin

    def _leanings(self, bottle_id: str) -> tuple[tuple[int, float, float], ...]:
        """Each coefficient where the group differs from the prior: how surely, and what the group says."""
        prior = self.priors[bottle_id]
        kept = self._kept.get(bottle_id)
        fits = self.pools[prior.group].fits
        if kept is None or kept[0] != fits:
            found = (
                (index, *_said(_prior(prior, name), self._group(prior, name)))
                for index, name in enumerate(COEFFICIENTS, 1)
            )
            kept = (fits, tuple(f for f in found if abs(f[1]) >= LEAST_PRECISION))
            self._kept[bottle_id] = kept
        return kept[1]

    def _group(self, prior: Prior, name: str) -> Gauss:
        found = self.pools[prior.group].found.get(name)
        return _first_of_group(prior, name) if found is None else found.scaled(_unit(prior, name))


def _said(prior: Gauss, group: Gauss) -> tuple[float, float]:
    """Precision and mean of the reading that would turn a prior into its group's."""
    precision = 1.0 / group.var - 1.0 / prior.var
    if abs(precision) < LEAST_PRECISION:
        return 0.0, 0.0
    return precision, (group.mean / group.var - prior.mean / prior.var) / precision


def _posterior(track: Track, name: str) -> Gauss:
    var: float = getattr(track, VARIANCES[name])
    mean: float = getattr(track, name)
    return Gauss(mean, math.sqrt(max(var, 1e-12)))


def _prior(prior: Prior, name: str) -> Gauss:
    found: Gauss = getattr(prior, PRIORS[name])
    return found


def _unit(prior: Prior, name: str) -> float:
    """In what a group's number is kept: cents per kelvin as a share of what the laws say of each bottle."""
    return prior.per_kelvin.mean if name == "per_k" else 1.0


def _first_of_group(prior: Prior, name: str) -> Gauss:
    return prior.group_leak if name == "leak" else _prior(prior, name)
