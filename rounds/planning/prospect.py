"""What becomes of each bottle until the next chance to retune, if left alone and if visited.

All needed bottles at once, as arrays of bottles by moments, because a plan is made anew after
every reading. Cents are off the nominal target; the middle of every band is the shift.

A visit resets the level to where it is aimed; what drifts on is the path that was going to happen
anyway, counted from the end of the visit, and the settling of the new change of pressure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rounds.planning.beliefs_protocol import BeliefsProtocol, Floats
    from rounds.rig import Rig

VISIT_SD_CENTS = 2.5
"""How far from its aim a visit leaves a bottle, sd. Common practice, no source."""
BEFORE_DOWNBEAT_S = 120.0
"""A visit is taken to end about this long before the end of all visits."""
UNTOLD_ROUND_S = 300.0
"""Until the playing starts, when no downbeat is known."""
LAST_CHANGE_CENTS = 60.0
"""A larger change is made in parts; what settles after the visit is that of the last part at most."""
SURE_AT_DOWNBEAT = 0.1
"""Aims with at most this chance to be out at the downbeat are all right there, where there are any."""
EDGE_SHARE = 0.9
"""With no downbeat told, a bottle stands within this share of its tolerance once it has settled. Aimed beyond
it, as one that leaks fast would be, it would not count as in tune, and be visited again and again."""
PASSING_SHARE = 0.35
"""It may pass the edge by this share of its tolerance for the minutes in which that comes back by itself."""
HOLD_SHARE = 0.5
"""Where a downbeat is told, time in tune as long as is looked ahead counts so much beside the block: who
holds longer is visited less. Where none is told it alone counts: nobody knows when the next round comes."""
_PLAYING_POINTS = 7
_BEYOND_MIN = (5.0, 15.0, 30.0, 60.0)
_AIM_POINTS = 61


@dataclass(frozen=True)
class Span:
    """The moments that matter, in minutes from now: a visit's end, the playing, and some time beyond."""

    visit_min: float
    playing_min: Floats
    beyond_min: Floats
    at_once: bool = False
    """No downbeat is told: the playing may start as soon as a bottle is left."""

    @property
    def minutes(self) -> list[float]:
        """All moments in order: now, the visit's end, the playing, beyond."""
        return [0.0, self.visit_min, *self.playing_min.tolist(), *self.beyond_min.tolist()]

    @property
    def playing(self) -> slice:
        """The places of the playing among the moments."""
        return slice(2, 2 + len(self.playing_min))


def span(now_s: float, downbeat_s: float | None, block_s: float, quarantine_s: float) -> Span:
    """The moments for a round that starts now."""
    ready_s = now_s + UNTOLD_ROUND_S if downbeat_s is None else max(now_s, downbeat_s)
    visit_s = max(now_s, ready_s - quarantine_s - BEFORE_DOWNBEAT_S)
    start_min = (ready_s - now_s) / 60.0
    playing = start_min + np.linspace(0.0, block_s / 60.0, _PLAYING_POINTS)
    beyond = playing[-1] + np.array(_BEYOND_MIN)
    return Span((visit_s - now_s) / 60.0, playing, beyond, at_once=downbeat_s is None)


@dataclass(frozen=True)
class Paths:
    """Levels of bottles at the moments of a span, and what a visit would change."""

    bottles: tuple[str, ...]
    when: Span
    means: Floats
    sds: Floats
    half: Floats
    """Tolerance per bottle."""
    drift: Floats
    """Change since the end of a visit."""
    back: Floats
    """Part of it that is the settling of the visit's own change of pressure."""
    grown: Floats
    """Sd of the level at each moment after a visit."""

    @property
    def visit_cents(self) -> Floats:
        """Level at the time of the visit."""
        level: Floats = self.means[:, 1]
        return level

    def only(self, which: NDArray[np.bool_]) -> Paths:
        """Some of the bottles."""
        bottles = tuple(b for b, kept in zip(self.bottles, which, strict=True) if kept)
        arrays = (self.means, self.sds, self.half, self.drift, self.back, self.grown)
        return Paths(bottles, self.when, *(a[which] for a in arrays))

    def with_block(self, points: int) -> Paths:
        """The same moments, of which only so many of the first count as the playing."""
        when = self.when
        moments = np.concatenate([when.playing_min, when.beyond_min])
        cut = replace(when, playing_min=moments[:points], beyond_min=moments[points:])
        return replace(self, when=cut)

    def stay(self, shift_cents: float) -> Chances:
        """Chances to be out if left alone."""
        playing = self.when.playing
        return chances(outside(self.means[:, playing], self.sds[:, playing], self.half[:, None], shift_cents))


@dataclass(frozen=True)
class Chances:
    """Chances to be out, per bottle."""

    downbeat: Floats
    """As the playing starts."""
    worst: Floats
    """At the worst moment of the playing."""
    mean: Floats
    """Mean share of the playing."""

    @property
    def out(self) -> Floats:
        """One number: how much a bottle is out, all three counting alike."""
        return (self.downbeat + self.worst + self.mean) / 3.0


def chances(out: Floats) -> Chances:
    """Chances from those at each moment of the playing (last axis)."""
    return Chances(out[..., 0], out.max(axis=-1), out.mean(axis=-1))


def look_ahead(
    rig: Rig,
    beliefs: BeliefsProtocol,
    bottles: Sequence[str],
    now_s: float,
    when: Span,
    temp_c: float | None = None,
) -> Paths:
    """Ask the beliefs for the paths of bottles."""
    minutes = when.minutes
    means = np.empty((len(bottles), len(minutes)))
    sds = np.empty_like(means)
    for i, bottle in enumerate(bottles):
        means[i], sds[i] = beliefs.path(bottle, now_s, minutes, temp_c)
    last = np.clip(-means[:, 1], -LAST_CHANGE_CENTS, LAST_CHANGE_CENTS).tolist()
    settled = [beliefs.settling(b, change) for b, change in zip(bottles, last, strict=True)]
    back = np.array([s.mean for s in settled]).reshape(-1, 1)
    back_var = np.array([s.var for s in settled]).reshape(-1, 1)
    after = np.arange(len(minutes)) > 1
    return Paths(
        bottles=tuple(bottles),
        when=when,
        means=means,
        sds=sds,
        half=np.array([rig.bottle(b).tolerance_cents for b in bottles]),
        drift=means - means[:, 1:2] + back * after,
        back=back[:, 0],
        grown=np.sqrt(VISIT_SD_CENTS**2 + back_var * after + np.maximum(0.0, sds**2 - sds[:, 1:2] ** 2)),
    )


def outside(means: Floats, sds: Floats, half: Floats, centre: Floats | float) -> Floats:
    """Chance to lie outside a band."""
    from scipy.special import ndtr  # slow to import, and faces must start fast

    wide = np.maximum(sds, 1e-6)
    chance: Floats = ndtr((centre - half - means) / wide) + ndtr((means - centre - half) / wide)
    return chance


@dataclass(frozen=True)
class AfterVisit:
    """Per bottle: the best aim off the middle of the band, and what it leads to."""

    aim_cents: Floats
    out: Floats
    """How much a bottle is out, as `Chances.out`."""
    downbeat: Floats
    """Chance to be out at the downbeat."""
    hold_s: Floats
    """From the visit's end until it is more likely out than in (the span's end at most)."""


def after_visit(paths: Paths) -> AfterVisit:
    """The aim that centres what is going to happen in the band; the same for every shift.

    First of all the bottle is in tune at the downbeat; a bottle that drifts fast would else be aimed
    so that it comes in tune some time later. Where no downbeat is told it is in tune at once, but for what
    settles back. What it does after the block decides between aims that serve the block alike.
    """
    count, playing = len(paths.when.playing_min), slice(paths.when.playing.start, None)
    drift, grown = paths.drift[:, playing], paths.grown[:, playing]
    block = drift[:, :count]
    middle = -0.5 * (block.max(axis=1) + block.min(axis=1))
    low = np.minimum(middle, -drift[:, 0]) - paths.half
    high = np.maximum(middle, -drift[:, 0]) + paths.half
    if paths.when.at_once:
        low, high = _within_edges(paths, low), _within_edges(paths, high)
    aims = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _AIM_POINTS)
    levels = aims[:, :, None] + drift[:, None, :]
    lies_out = outside(levels, grown[:, None, :], paths.half[:, None, None], 0.0)
    found = chances(lies_out[..., :count])
    surely = np.maximum(SURE_AT_DOWNBEAT, found.downbeat.min(axis=1, keepdims=True))
    out = found.out
    later = _mean_in_time(paths.when, lies_out)
    cost = later if paths.when.at_once else out + HOLD_SHARE * later
    best = np.where(found.downbeat <= surely, cost, np.inf).argmin(axis=1)
    rows = np.arange(len(best))
    aim = aims[rows, best]
    return AfterVisit(aim, out[rows, best], found.downbeat[rows, best], _holds(paths, aim))


def _mean_in_time(when: Span, lies_out: Floats) -> Floats:
    """Mean chance to be out over all the time looked ahead, the moments standing for unequal stretches."""
    moments = np.concatenate([when.playing_min, when.beyond_min])
    weights = np.gradient(moments)
    mean: Floats = lies_out @ (weights / weights.sum())
    return mean


def _within_edges(paths: Paths, aims: Floats) -> Floats:
    """Aims that leave a bottle in its band once its change has settled."""
    edge, passing = EDGE_SHARE * paths.half, PASSING_SHARE * paths.half
    low = -edge - np.clip(paths.back, 0.0, passing)
    high = edge - np.clip(paths.back, -passing, 0.0)
    return np.asarray(np.clip(aims, low, high))


def _holds(paths: Paths, aims: Floats) -> Floats:
    """From the visit's end until the bottle, in tune at the downbeat, is more likely out than in."""
    first = paths.when.playing.start
    minutes = np.array(paths.when.minutes[first:]) - paths.when.visit_min
    levels = aims[:, None] + paths.drift[:, first:]
    chance = outside(levels, paths.grown[:, first:], paths.half[:, None], 0.0)
    holds = np.full(len(aims), minutes[-1])
    for i in np.flatnonzero((chance > 0.5).any(axis=1)):
        j = int((chance[i] > 0.5).argmax())
        holds[i] = minutes[j] if j == 0 else np.interp(0.5, chance[i, j - 1 : j + 1], minutes[j - 1 : j + 1])
    return np.maximum(0.0, holds * 60.0)
