"""Loudness by ITU-R BS.1770-4: K-weighting, mean square, and the gate over whole programmes.

Conventions: samples with full scale at 1, shape (frames,) or (frames, channels) with left, right and
centre weighted 1; loudness in LUFS (the same number as LKFS).

A struck bottle is shorter than the gate's blocks are many: gated loudness of a file depends on how
long the pauses are. So a strike is measured as *momentary loudness*, ungated, over the 400 ms from
its onset (the window of EBU Tech 3341); the gated number of the whole recording is given beside it
for those who deliver recordings, and is never used to compare strikes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

BLOCK_S = 0.4
HOP_S = 0.1
"""Gating blocks of 400 ms overlap by 75 %."""
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
OFFSET_DB = -0.691
"""Makes a full-scale 997 Hz sine in one front channel read −3.01 LUFS."""


@dataclass(frozen=True)
class Biquad:
    """One filter stage: numerator and denominator, the latter starting with 1."""

    b: tuple[float, float, float]
    a: tuple[float, float, float]


# The recommendation prints the two stages for 48 kHz only. These are the analogue prototypes whose
# bilinear transform gives the printed coefficients back (a test holds that); other rates follow.
_SHELF_HZ, _SHELF_DB, _SHELF_Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
_HIGHPASS_HZ, _HIGHPASS_Q = 38.13547087602444, 0.5003270373238773
_SHELF_BEND = 0.4996667741545416


def k_weighting(sample_rate_hz: int) -> tuple[Biquad, Biquad]:
    """The two stages of K-weighting at a sample rate: head shelf, then high-pass."""
    return _shelf(sample_rate_hz), _highpass(sample_rate_hz)


def _shelf(sample_rate_hz: int) -> Biquad:
    k = math.tan(math.pi * _SHELF_HZ / sample_rate_hz)
    high = 10.0 ** (_SHELF_DB / 20.0)
    bend = high**_SHELF_BEND
    a0 = 1.0 + k / _SHELF_Q + k * k
    return Biquad(
        b=(
            (high + bend * k / _SHELF_Q + k * k) / a0,
            2.0 * (k * k - high) / a0,
            (high - bend * k / _SHELF_Q + k * k) / a0,
        ),
        a=(1.0, 2.0 * (k * k - 1.0) / a0, (1.0 - k / _SHELF_Q + k * k) / a0),
    )


def _highpass(sample_rate_hz: int) -> Biquad:
    k = math.tan(math.pi * _HIGHPASS_HZ / sample_rate_hz)
    a0 = 1.0 + k / _HIGHPASS_Q + k * k
    return Biquad(
        b=(1.0, -2.0, 1.0),
        a=(1.0, 2.0 * (k * k - 1.0) / a0, (1.0 - k / _HIGHPASS_Q + k * k) / a0),
    )


def k_weighted(samples: NDArray[np.floating], sample_rate_hz: int) -> NDArray[np.float64]:
    """The samples through both stages."""
    from scipy.signal import lfilter

    sound = np.asarray(samples, dtype=np.float64)
    for stage in k_weighting(sample_rate_hz):
        sound = lfilter(stage.b, stage.a, sound, axis=0)
    return sound


def _power(weighted: NDArray[np.float64]) -> float:
    """Mean square summed over channels."""
    return float(np.sum(np.mean(np.square(weighted), axis=0)))


def lufs_of_power(power: float) -> float:
    """Loudness of a summed mean square; −inf for silence."""
    return OFFSET_DB + 10.0 * math.log10(power) if power > 0.0 else -math.inf


def momentary_lufs(weighted: NDArray[np.float64], sample_rate_hz: int, start: int) -> float | None:
    """Loudness of the 400 ms from `start` of K-weighted samples; None where there are not that many."""
    stop = start + round(BLOCK_S * sample_rate_hz)
    if start < 0 or stop > len(weighted):
        return None
    return lufs_of_power(_power(weighted[start:stop]))


def integrated_lufs(samples: NDArray[np.floating], sample_rate_hz: int) -> float:
    """Gated loudness of a whole recording; −inf where nothing passes the gate."""
    weighted = k_weighted(samples, sample_rate_hz)
    block, hop = round(BLOCK_S * sample_rate_hz), round(HOP_S * sample_rate_hz)
    starts = range(0, len(weighted) - block + 1, hop)
    powers = np.array([_power(weighted[s : s + block]) for s in starts])
    kept = powers[powers > _power_of_lufs(ABSOLUTE_GATE_LUFS)]
    if kept.size == 0:
        return -math.inf
    gate = float(np.mean(kept)) * 10.0 ** (RELATIVE_GATE_LU / 10.0)
    return lufs_of_power(float(np.mean(kept[kept > gate])))


def _power_of_lufs(lufs: float) -> float:
    return math.pow(10.0, (lufs - OFFSET_DB) / 10.0)
