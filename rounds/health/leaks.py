"""Which bottles really leak: each against its group, as a probability.

All bottles lose a little, and a few readings make any of them look bad. So what a bottle's readings say is
weighed under two stories: it loses as bottles of its group do, or it leaks besides. What bottles of a group
lose differs by factors, not by amounts, so their rates are log-normal; by how much the logarithms differ is
alike in all groups, so that a group of three leans on the others. Every usual rate and every spread on a
grid is tried and weighted by how well it explains all bottles of the rig, the leaky ones under their own
story: two leaks do not hide each other, and what is not known of a group counts as doubt.

A single pair of readings may be wrong altogether, so one alone accuses nobody.

Rates are cents per minute near the target; negative is losing air, and `LOST` has what is lost as positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.gauss import Gauss

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from rounds.health.rates import Rate
    from rounds.rig import Group

    Floats = NDArray[np.float64]

P_LEAK = 0.08
"""Chance that a bottle has a real leak before anything is heard of it: three of a rig of 40. A guess."""
HALF_LEAK_LESS = 3.0
"""Half of all leaks add less than this many times what the group usually loses; the rest more, with a long
tail (a Lomax distribution of shape 1). A guess."""
LEAST_USUAL = 0.08
"""Leaks are counted in no smaller unit, cents a minute: less is out in two hours, and nobody's trouble."""
USUAL_DOUBT = 0.7
"""Sd of the logarithm of what a group usually loses, about the first guess."""
SPREADS = (0.3, 0.4, 0.5, 0.65, 0.85)
USUAL_SPREAD, SPREAD_DOUBT = 0.5, 0.25
"""Sd of the logarithm between sound bottles of a group, and of the logarithm of that. A guess."""
WRONG_SHARE, WRONG_CENTS = 0.02, 60.0
"""One pair in fifty is wrong altogether, by so much (sd)."""
LOST: Floats = np.geomspace(0.005, 40.0, 96)
_LOG_LOST = np.log(LOST)
_STEP = float(_LOG_LOST[1] - _LOG_LOST[0])
_AROUND: Floats = np.linspace(-2.1, 2.1, 29)
"""Usual rates tried, as logarithms beside the first guess."""


@dataclass(frozen=True)
class LeakOdds:
    """A group's leak, and for each of its bottles the probability that it really leaks."""

    group: Gauss
    p_leak: dict[str, float]


def weigh(
    usual: Mapping[Group, float], rates: Mapping[Group, Mapping[str, Sequence[Rate]]]
) -> dict[Group, LeakOdds]:
    """Weigh the bottles of a rig.

    Args:
        usual: by group, the first guess of what its bottles lose, cents a minute.
        rates: by group and bottle, what its pairs of readings say.
    """
    likely = {g: _likelihoods(list(of.values())) for g, of in rates.items()}
    stories = {g: [_stories(likely[g], usual[g], s) for s in SPREADS] for g in rates}
    log_spread = np.sum([[_log_sum(s.log_group) for s in of] for of in stories.values()], axis=0)
    guess = np.log(np.array(SPREADS) / USUAL_SPREAD) / SPREAD_DOUBT
    spread_weights = _normed(log_spread - 0.5 * guess * guess)
    return {g: _odds(list(rates[g]), usual[g], stories[g], spread_weights) for g in rates}


@dataclass(frozen=True)
class _Stories:
    """One group under one spread: for each usual rate its log probability, and how likely each bottle
    leaks."""

    spread: float
    log_group: Floats
    p_leak: Floats
    """Bottles by usual rates."""


def _stories(likely: Floats, usual: float, spread: float) -> _Stories:
    centres = math.log(usual) + _AROUND
    off = (_LOG_LOST[:, None] - centres) / spread
    sound = likely @ (np.exp(-0.5 * off * off) / (spread * math.sqrt(2.0 * math.pi)) * _STEP)
    leaky = likely @ (_leaky_density(np.exp(centres)) * _STEP)
    both = (1.0 - P_LEAK) * sound + P_LEAK * leaky + 1e-300
    log_prior = -0.5 * (_AROUND / USUAL_DOUBT) ** 2
    return _Stories(spread, log_prior + np.log(both).sum(axis=0), P_LEAK * leaky / both)


def _leaky_density(usual: Floats) -> Floats:
    """Density over the logarithm of what a leaky bottle loses (rows), for usual rates (columns)."""
    unit = HALF_LEAK_LESS * np.maximum(LEAST_USUAL, usual)
    besides = LOST[:, None] - usual
    return np.where(besides > 0.0, unit / (unit + np.maximum(0.0, besides)) ** 2 * LOST[:, None], 0.0)


def _likelihoods(bottles: Sequence[Sequence[Rate]]) -> Floats:
    """How likely each rate of `LOST` makes the pairs of each bottle, the best rate counting 1."""
    rows = np.zeros((len(bottles), len(LOST)))
    for row, pairs in zip(rows, bottles, strict=True):
        for pair in pairs:
            row += np.log(_pair(pair))
        row -= row.max()
    return np.exp(rows)


def _pair(pair: Rate) -> Floats:
    wrong_var = pair.var + (WRONG_CENTS / pair.minutes) ** 2
    off2 = (pair.per_min + LOST) ** 2
    right = (1.0 - WRONG_SHARE) * np.exp(-0.5 * off2 / pair.var) / math.sqrt(pair.var)
    return np.asarray(right + WRONG_SHARE * np.exp(-0.5 * off2 / wrong_var) / math.sqrt(wrong_var) + 1e-300)


def _odds(bottles: list[str], usual: float, stories: list[_Stories], spread_weights: Floats) -> LeakOdds:
    rates = usual * np.exp(_AROUND)
    p_leak, mean, square = np.zeros(len(bottles)), 0.0, 0.0
    for of, weight in zip(stories, spread_weights, strict=True):
        weights = weight * _normed(of.log_group)
        p_leak += of.p_leak @ weights
        mean += float(weights @ rates) * math.exp(0.5 * of.spread**2)
        square += float(weights @ rates**2) * math.exp(2.0 * of.spread**2)
    group = Gauss(-mean, math.sqrt(max(0.0, square - mean * mean)))
    return LeakOdds(group, dict(zip(bottles, map(float, p_leak), strict=True)))


def _log_sum(logs: Floats) -> float:
    return float(logs.max() + np.log(np.exp(logs - logs.max()).sum()))


def _normed(logs: Floats) -> Floats:
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())
