"""What becomes of each bottle until the next chance to retune, if left alone and if visited.

All needed bottles at once, as arrays of bottles by moments, because a plan is made anew after
every reading. Cents are off the nominal target; the middle of every band is the shift.

A visit resets the level to where it is aimed; what drifts on is the path that was going to happen
anyway, counted from the end of the visit, and the settling of the new change of pressure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.planning.knows import Floats, Knows
    from rounds.rig import Rig

VISIT_SD_CENTS = 2.5
"""How far from its aim a visit leaves a bottle, sd. Common practice, no source."""
BEFORE_DOWNBEAT_S = 120.0
"""A visit is taken to end about this long before the end of all visits."""
UNTOLD_ROUND_S = 300.0
"""Until the playing starts, when no downbeat is known."""
_WINDOW_POINTS = 7
_BEYOND_MIN = (5.0, 15.0, 30.0, 60.0)
_AIM_POINTS = 41


@dataclass(frozen=True)
class Span:
    """The moments that matter, in minutes from now: a visit's end, the playing, and some time beyond."""

    visit_min: float
    playing_min: Floats
    beyond_min: Floats

    @property
    def minutes(self) -> list[float]:
        """All moments in order: now, the visit's end, the playing, beyond."""
        return [0.0, self.visit_min, *self.playing_min.tolist(), *self.beyond_min.tolist()]


def span(now_s: float, downbeat_s: float | None, block_s: float, quarantine_s: float) -> Span:
    """The moments for a round that starts now."""
    ready_s = now_s + UNTOLD_ROUND_S if downbeat_s is None else max(now_s, downbeat_s)
    visit_s = max(now_s, ready_s - quarantine_s - BEFORE_DOWNBEAT_S)
    start_min = (ready_s - now_s) / 60.0
    playing = start_min + np.linspace(0.0, block_s / 60.0, _WINDOW_POINTS)
    return Span((visit_s - now_s) / 60.0, playing, playing[-1] + np.array(_BEYOND_MIN))


@dataclass(frozen=True)
class Outlook:
    """Chances per bottle. `stay_*`: left alone; `after_*`: visited, at the best aim."""

    bottles: tuple[str, ...]
    now_cents: Floats
    now_sd: Floats
    stay_worst: Floats
    """Largest chance to be out at a moment of the playing."""
    stay_mean: Floats
    """Mean share of the playing spent out."""
    after_worst: Floats
    after_mean: Floats
    aim_cents: Floats
    change_cents: Floats
    """From the level at the visit to the aim; negative means air must come out."""
    hold_s: Floats
    """From the visit's end until it is more likely out than in."""

    @property
    def worth(self) -> Floats:
        """What a visit betters: the mean of the two chances."""
        return 0.5 * (self.stay_worst + self.stay_mean - self.after_worst - self.after_mean)


def outlook(
    rig: Rig, beliefs: Knows, bottles: Sequence[str], now_s: float, when: Span, shift_cents: float
) -> Outlook:
    """Look ahead for bottles that were heard."""
    means, sds = _paths(beliefs, bottles, now_s, when)
    half = np.array([rig.bottle(b).tolerance_cents for b in bottles])
    playing = slice(2, 2 + len(when.playing_min))
    stay = _outside(means[:, playing], sds[:, playing], half[:, None], shift_cents)
    drift, grown = _after_visit(beliefs, bottles, means, sds, shift_cents)
    aims, chances = _best_aim(drift, grown, half, shift_cents, playing)
    return Outlook(
        bottles=tuple(bottles),
        now_cents=means[:, 0],
        now_sd=sds[:, 0],
        stay_worst=stay.max(axis=1, initial=0.0),
        stay_mean=stay.mean(axis=1),
        after_worst=chances.max(axis=1, initial=0.0),
        after_mean=chances.mean(axis=1),
        aim_cents=aims,
        change_cents=aims - means[:, 1],
        hold_s=_holds(aims[:, None] + drift, grown, half, shift_cents, when),
    )


def _paths(beliefs: Knows, bottles: Sequence[str], now_s: float, when: Span) -> tuple[Floats, Floats]:
    minutes = when.minutes
    means = np.empty((len(bottles), len(minutes)))
    sds = np.empty_like(means)
    for i, bottle in enumerate(bottles):
        means[i], sds[i] = beliefs.path(bottle, now_s, minutes)
    return means, sds


def _outside(means: Floats, sds: Floats, half: Floats, centre: float) -> Floats:
    from scipy.special import ndtr  # slow to import, and faces must start fast

    wide = np.maximum(sds, 1e-6)
    chance: Floats = ndtr((centre - half - means) / wide) + ndtr((means - centre - half) / wide)
    return chance


def _after_visit(
    beliefs: Knows, bottles: Sequence[str], means: Floats, sds: Floats, shift_cents: float
) -> tuple[Floats, Floats]:
    """Drift since the end of the visit and its sd, at every moment of the span."""
    settled = [beliefs.settling(b, shift_cents - m) for b, m in zip(bottles, means[:, 1], strict=True)]
    back = np.array([s.mean for s in settled]).reshape(-1, 1)
    back_var = np.array([s.var for s in settled]).reshape(-1, 1)
    drift = means - means[:, 1:2] + back
    grown = np.maximum(0.0, sds**2 - sds[:, 1:2] ** 2)
    return drift, np.sqrt(VISIT_SD_CENTS**2 + back_var + grown)


def _best_aim(
    drift: Floats, grown: Floats, half: Floats, shift_cents: float, playing: slice
) -> tuple[Floats, Floats]:
    """The aim with the least chance to be out, and the chances over the playing."""
    window = drift[:, playing]
    middle = shift_cents - 0.5 * (window.max(axis=1, initial=-np.inf) + window.min(axis=1, initial=np.inf))
    aims = middle[:, None] + half[:, None] * np.linspace(-1.0, 1.0, _AIM_POINTS)
    levels = aims[:, :, None] + window[:, None, :]
    chances = _outside(levels, grown[:, None, playing], half[:, None, None], shift_cents)
    best = (chances.max(axis=2) + chances.mean(axis=2)).argmin(axis=1)
    rows = np.arange(len(best))
    return aims[rows, best], chances[rows, best]


def _holds(levels: Floats, grown: Floats, half: Floats, shift_cents: float, when: Span) -> Floats:
    """Seconds from the visit's end until a bottle is more likely out than in (the span's end at most)."""
    minutes = np.array(when.minutes[1:]) - when.visit_min
    out = _outside(levels[:, 1:], grown[:, 1:], half[:, None], shift_cents) > 0.5
    chance = _outside(levels[:, 1:], grown[:, 1:], half[:, None], shift_cents)
    holds = np.full(len(levels), minutes[-1])
    for i in np.flatnonzero(out.any(axis=1)):
        j = int(out[i].argmax())
        holds[i] = minutes[j] if j == 0 else np.interp(0.5, chance[i, j - 1 : j + 1], minutes[j - 1 : j + 1])
    return np.maximum(0.0, holds * 60.0)
