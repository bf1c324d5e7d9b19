"""How much pressure may be in a bottle: everything that is not ruled out, and the highest of it. Pure.

A bottle's shell and the pressure in it are believed together, since neither can be heard alone. The law is
f² = (a + b p)/(1 + C p): the pressurised shell (Fung, Sechler & Kaplan 1957), loaded by the gas that moves
with it (Mir, Shakouri & Ashory 2020, SN Applied Sciences 2:134: gas pressure and density both count; an
enclosed gas adds some 0.08 of the mass of a 0.3 mm wall per bar for two waves round the bottle).

A thousand or so thinkable bottles, spread evenly and always the same ones, are held against what is known:

* a fill: from one pitch (or a known pressure) strokes led to another pitch. Boyle's law tells the pressure
  they add. Counting from empty, or from a gauge, is the same thing with a pressure at its beginning;
* a gauge: no strokes at all between a known pressure and a pitch.

Each thinkable bottle misses them by so many standard deviations; one miss counts only so far, since one
strike in fifty is misheard. What misses by no more than the best and three standard deviations is not ruled
out, and the upper bound is the highest pressure of any of these: 99.9 % for a normal error. The pitch itself
is the measure of what is still in the bottle, so nothing fades with time.

Units: Hz, kPa gauge, full strokes as counted; `stroke_kpa` is what one adds by Boyle with the volumes of the
rig file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from rounds.air import KPA_PER_BAR, KPA_PER_PSI, STIFFNESS_SHARE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

POINTS = 2400
WIDER = (4.0, 2.0, 1.0, 1.0)
"""The search begins with wider errors, else it would not find the few bottles that fit many fills."""
RULED_OUT = 3.09**2
"""Misses squared and added up: 99.9 % one-sided of a normal distribution."""
GUARD = 0.6
"""Added to it, for the gaps between the bottles that are thought of."""
MISHEARD = 10.0
"""One fill counts for no more: a strike may be misheard, or strokes miscounted. Our guess."""
MISCOUNTED = 13.0
"""The same of a fill that began empty: its beginning cannot be misheard. Our guess."""
NOT_DONE = 5.0
"""That fewer strokes went in than were asked for, where nobody said. A stiff bottle shows the same. Guess."""
WRONG_UNIT = 6.5
"""That a reading is in bar where psi were meant, or nothing because the head was not seated. Our guess."""
NOTHING_KPA = 10.0
"""A dial that shows no more than this may not have been seated."""
EMPTY_SHARE = (0.15, 0.70)
"""a / f² at the note: what the empty shell alone sounds like. Our guess."""
SLOPE, SLOPE_SD = (0.42, 1.65), 0.10
"""b, gas and all, beside that of a bottle as is usual for the note. Our guess."""
UNLIKE_ANY = 12.0
"""A slope unlike that of any bottle misses by no more: it takes more than a doubt to believe it, but what
strokes and gauges say twice is believed. Our guess."""
LIKELY_SLOPE_SD = 0.35
"""Of its logarithm, for what is likely rather than possible. Our guess."""
GAS_PER_KPA = (0.0, 0.0011)
"""C: none to half as much again as the estimate for a 0.3 mm wall. Our guess."""
NEEDS = (0.3, 40.0)
"""The pressure at the note beside the usual one, at the very most. Our guess."""
DELIVERED = (0.42, 2.4)
"""What a stroke adds beside Boyle's law with the rig's volumes: one may be wrong by half. Our guess."""
USUAL_DELIVERED, DELIVERED_SD = 0.96, 0.10
"""Of the logarithm: strokes fall a little short, and labels are a tenth off. Our guess."""
UNLIKELY_VOLUME = 7.0
"""A volume in the rig file that is plainly wrong misses by no more: it is not ruled out by itself."""
HAND_SD, LEAST_HAND = 0.08, 0.07
"""Error of strokes counted, as a share and in strokes. Common practice, no source."""
HOT = 0.35
"""Pumped quickly the gas is hot: the pitch may show so much more than the strokes leave in the end."""
EAR_CENTS = 4.0
GONE = 1e9


@dataclass(frozen=True)
class Fill:
    """Strokes between a known beginning and a pitch. `at_most`: as many may have gone in.

    `from_hz` or `from_kpa` is where it began, both None where nobody knows (then it is at least empty).
    `gauged`: `from_kpa` was read on a gauge. Most gauge readings are fills of no strokes.
    """

    strokes: float
    to_hz: float
    from_hz: float | None = None
    from_kpa: float | None = None
    at_most: float | None = None
    gauged: bool = False


@dataclass(frozen=True)
class Kind:
    """What is supposed of a bottle before anything is known: its note, and what is usual for it."""

    target_hz: float
    usual_kpa: float
    stroke_kpa: float
    gauge_sd_kpa: float


@dataclass(frozen=True, eq=False)
class Bottles:
    """The thinkable bottles that are not ruled out, as arrays of one length; `weight` adds up to one."""

    kind: Kind
    share: Floats
    gas: Floats
    need_kpa: Floats
    stroke_kpa: Floats
    miss: Floats
    weight: Floats

    def pressures_kpa(self, hz: float) -> Floats:
        """The pressure of each at a pitch; none below empty."""
        return np.maximum(0.0, _pressure(self.kind, self.share, self.gas, self.need_kpa, hz))


@lru_cache(maxsize=512)
def believed(kind: Kind, fills: tuple[Fill, ...], lowest_hz: float | None = None) -> Bottles:
    """The bottles that all fills leave thinkable. `lowest_hz`: the bottle was heard as low as this once."""
    low = np.array([0.05, GAS_PER_KPA[0], math.log(NEEDS[0]), math.log(DELIVERED[0])])
    high = np.array([0.80, GAS_PER_KPA[1], math.log(NEEDS[1]), math.log(DELIVERED[1])])
    for wider in WIDER:
        at = low + (high - low) * _even_points()
        if wider == WIDER[0]:
            at[:, 3] -= at[:, 2]
        miss = _missed(kind, fills, lowest_hz, at, wider)
        inside = at[miss <= max(miss.min() + RULED_OUT + 2.0 * GUARD, np.partition(miss, 40)[40])]
        spread = inside.max(axis=0) - inside.min(axis=0)
        margin = 0.1 * spread + 0.02
        margin[1] = 0.1 * spread[1]
        low, high = inside.min(axis=0) - margin, inside.max(axis=0) + margin
        low[:2], high[:2] = (
            np.maximum(low[:2], (0.02, GAS_PER_KPA[0])),
            np.minimum(high[:2], (0.85, GAS_PER_KPA[1])),
        )
    keep = miss <= miss.min() + RULED_OUT + GUARD
    share, gas, need, ratio = at[keep].T
    need_kpa = kind.usual_kpa * np.exp(need)
    unusual = np.log((1.0 - share) / (1.0 - STIFFNESS_SHARE)) - need
    weight = np.exp(-0.5 * (miss[keep] - miss.min() + (unusual / LIKELY_SLOPE_SD) ** 2))
    return Bottles(
        kind,
        share,
        gas,
        need_kpa,
        kind.stroke_kpa * np.exp(need + ratio),
        miss[keep],
        weight / weight.sum(),
    )


@lru_cache(maxsize=1)
def _even_points() -> Floats:
    """Points spread evenly in four dimensions: an additive recurrence with the root of x⁵ = x + 1."""
    root = 1.1673039782614187
    steps = (1.0 / root) ** np.arange(1, 5)
    points: Floats = (0.5 + np.arange(1, POINTS + 1)[:, None] * steps) % 1.0
    return points


def _pressure(kind: Kind, share: Floats, gas: Floats, need_kpa: Floats, hz: float) -> Floats:
    """Invert the law: p = (f² - a)/(b - C f²), b from the pressure at the note. Negative below empty."""
    relative = (hz / kind.target_hz) ** 2
    slope = ((1.0 - share) + gas * need_kpa) / need_kpa
    return np.minimum((relative - share) / np.maximum(1e-9, slope - gas * relative), GONE)


def _missed(kind: Kind, fills: tuple[Fill, ...], lowest_hz: float | None, at: Floats, wider: float) -> Floats:
    """How far each point misses all that is known, in standard deviations squared."""
    share, gas, need, ratio = at.T
    need_kpa, delivered = kind.usual_kpa * np.exp(need), need + ratio
    slope = (1.0 - share) / need_kpa * kind.usual_kpa / (1.0 - STIFFNESS_SHARE)
    unlike = _beyond(np.log(slope), (math.log(SLOPE[0]), math.log(SLOPE[1])), SLOPE_SD)
    miss = _beyond(share, EMPTY_SHARE, 0.05) + np.minimum(UNLIKE_ANY, unlike)
    off = (delivered - math.log(USUAL_DELIVERED)) / DELIVERED_SD
    miss += np.minimum(off * off, UNLIKELY_VOLUME)
    miss += _beyond(delivered, tuple(map(math.log, DELIVERED)), 0.03)
    if lowest_hz is not None:
        relative = (lowest_hz / kind.target_hz) ** 2
        miss += np.minimum(MISHEARD, _beyond(share, (0.0, relative), 0.03))
    stroke_kpa = kind.stroke_kpa * np.exp(delivered)
    for fill in fills:
        miss += _missed_fill(kind, fill, share, gas, need_kpa, stroke_kpa, wider)
    return miss


def _missed_fill(
    kind: Kind, fill: Fill, share: Floats, gas: Floats, need_kpa: Floats, stroke_kpa: Floats, wider: float
) -> Floats:
    end_kpa = _pressure(kind, share, gas, need_kpa, fill.to_hz)
    if fill.from_hz is not None:
        begin_kpa: Floats | float = _pressure(kind, share, gas, need_kpa, fill.from_hz)
    else:
        begin_kpa = 0.0 if fill.from_kpa is None else fill.from_kpa
    gained_kpa = end_kpa - begin_kpa
    ear_kpa = _ear_kpa(kind, share, gas, need_kpa, fill.to_hz)
    if fill.from_hz is not None:
        ear_kpa = np.hypot(ear_kpa, _ear_kpa(kind, share, gas, need_kpa, fill.from_hz))
    known_kpa = math.inf if fill.from_hz is None and fill.from_kpa is None else 0.0
    other_var = ear_kpa**2 + (kind.gauge_sd_kpa if fill.gauged else 0.0) ** 2

    def missed(strokes: float) -> Floats:
        hand = math.hypot(2.0 * HAND_SD * math.sqrt(strokes), LEAST_HAND) if strokes else 0.0
        sd_kpa = wider * np.sqrt(other_var + (hand * stroke_kpa) ** 2)
        short_kpa = np.maximum(0.0, strokes * stroke_kpa - gained_kpa)
        over_kpa = np.maximum(0.0, gained_kpa - (1.0 + HOT) * strokes * stroke_kpa - known_kpa)
        off: Floats = (short_kpa**2 + over_kpa**2) / sd_kpa**2
        return off

    off = missed(fill.strokes)
    if fill.at_most is not None and fill.at_most > fill.strokes:
        off = np.minimum(off + NOT_DONE, missed(fill.at_most))
    if fill.gauged:
        return np.minimum(off, _misread(fill, end_kpa, stroke_kpa, kind, wider))
    return np.minimum(MISHEARD if fill.from_kpa is None else MISCOUNTED, off)


def _misread(fill: Fill, end_kpa: Floats, stroke_kpa: Floats, kind: Kind, wider: float) -> Floats:
    """The same of a reading that was not what it seemed."""
    read_kpa = fill.from_kpa or 0.0
    if read_kpa <= NOTHING_KPA:
        return np.full_like(end_kpa, WRONG_UNIT)
    begun_kpa = end_kpa - fill.strokes * stroke_kpa
    off = (begun_kpa - read_kpa * KPA_PER_BAR / KPA_PER_PSI) / (wider * 3.0 * kind.gauge_sd_kpa)
    return WRONG_UNIT + off * off


def _ear_kpa(kind: Kind, share: Floats, gas: Floats, need_kpa: Floats, hz: float) -> Floats:
    """What a few cents are worth in pressure at a pitch."""
    relative = (hz / kind.target_hz) ** 2
    slope = ((1.0 - share) + gas * need_kpa) / need_kpa
    return EAR_CENTS * math.log(2.0) / 600.0 * relative / np.maximum(1e-9, slope - gas * relative)


def _beyond(value: Floats, inside: tuple[float, ...], sd: float) -> Floats:
    """Squared standard deviations outside a range, nothing inside."""
    off = np.maximum(0.0, np.maximum(inside[0] - value, value - inside[1])) / sd
    return off * off
