"""Which bottles really leak: each against its group, as a probability.

All bottles lose a little, and a few readings make any of them look bad. So a bottle's own leak (what
its readings say, with the doubt in that) is weighed under two stories: it is one of its group, or
it leaks besides by an amount that is exponentially distributed. The group's rate and spread are
worked out with the leaky ones weighed down, so two leaks do not hide each other.

Rates are cents per minute near the target; negative is losing air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.gauss import Gauss

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.belief.pooling import Told

P_LEAK = 0.03
"""Chance that a bottle has a real leak before anything is heard of it: one of a rig of 34. A guess."""
EXTRA_PER_MIN = 1.0
"""Mean of what a real leak adds: a bottle is out in ten minutes instead of an hour. A guess."""
LEAST_SPREAD = 0.05
"""The spread of a group is never believed smaller."""
PRIOR_BOTTLES = 2.0
"""The prior of the group counts as this many bottles."""
FIRST_WIDER = 1.5
"""The prior's spread is doubted by this factor for the first look."""
_STEPS = 12


@dataclass(frozen=True)
class LeakOdds:
    """A group's leak, and for each of its bottles the probability that it really leaks."""

    group: Gauss
    p_leak: dict[str, float]


def weigh(prior: Gauss, told: Mapping[str, Told | None]) -> LeakOdds:
    """Weigh the bottles of one group against each other; None: its readings say nothing."""
    voices = {i: t for i, t in told.items() if t is not None}
    group = prior
    # Starting from the prior, not from everyone: in a group of three one leak would hide itself.
    p_leak = {i: _probability(t, Gauss(prior.mean, FIRST_WIDER * prior.sd)) for i, t in voices.items()}
    for _ in range(_STEPS):
        group = _group(prior, voices, p_leak, group)
        p_leak = {i: _probability(t, group) for i, t in voices.items()}
    return LeakOdds(group, {i: p_leak.get(i, P_LEAK) for i in told})


def _group(prior: Gauss, voices: dict[str, Told], p_leak: dict[str, float], now: Gauss) -> Gauss:
    """One step of EM for the healthy ones: a random-effects mean and spread."""
    weights = {i: 1.0 - p for i, p in p_leak.items()}
    shares = {i: now.var / (now.var + t.var) for i, t in voices.items()}
    centres = {i: now.mean + shares[i] * (t.mean - now.mean) for i, t in voices.items()}
    count = PRIOR_BOTTLES + sum(weights.values())
    mean = (PRIOR_BOTTLES * prior.mean + sum(w * centres[i] for i, w in weights.items())) / count
    squares = sum(w * ((centres[i] - mean) ** 2 + shares[i] * voices[i].var) for i, w in weights.items())
    var = (PRIOR_BOTTLES * prior.var + squares) / count
    return Gauss(mean, max(LEAST_SPREAD, math.sqrt(var)))


def _probability(told: Told, group: Gauss) -> float:
    """Posterior probability of the leaky story."""
    spread = math.sqrt(group.var + told.var)
    faster = (group.mean - told.mean) / spread
    healthy = -0.5 * faster * faster - math.log(spread) - 0.5 * math.log(2.0 * math.pi)
    odds = math.log(P_LEAK / (1.0 - P_LEAK)) + _log_leaky(faster, spread) - healthy
    return 1.0 / (1.0 + math.exp(-max(-700.0, min(700.0, odds))))


def _log_leaky(faster: float, spread: float) -> float:
    """Log density of a normal plus an exponential delay (the exponentially modified Gaussian)."""
    ratio = spread / EXTRA_PER_MIN
    z = faster - ratio
    if z > -8.0:
        normal_below = 0.5 * math.erfc(-z / math.sqrt(2.0))
        return 0.5 * ratio * ratio - faster * ratio + math.log(normal_below) - math.log(EXTRA_PER_MIN)
    # Far below, erfc underflows: Φ(z) = φ(z)/|z| (1 − 1/z² + ...).
    tail = math.log(1.0 / -z * (1.0 - 1.0 / (z * z)))
    return -0.5 * faster * faster - 0.5 * math.log(2.0 * math.pi) + tail - math.log(EXTRA_PER_MIN)
