"""Peaks of a stretch of sound between 90 and 2600 Hz, and aubio's coarse pitch.

Conventions: float64 samples, levels in dB against a full-scale sine, Hann window, zero-padded to at
least twice. The spectrum finds which tone is meant; `rounds.hearing.refine` measures it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.detectors import PitchDetector, comb_detector

if TYPE_CHECKING:
    from numpy.typing import NDArray

LOW_HZ = 90.0
HIGH_HZ = 2600.0
TOP_HZ = 8000.0
"""How far up a louder tone is looked for: what sounds loudest above the bottles was none."""
PADDING = 2
COMB_FRAME = 4096
"""aubio's fcomb wants a power of two; 4096 is its most exact size on struck bottles."""
COMB_HOP = COMB_FRAME // 4
COMB_HOPS = 5
"""It measures by how far the phase went since the frame before: four hops fill a frame, the fifth gives the
pitch. With fewer the answer would hang on the strike before."""


@dataclass(frozen=True)
class Peak:
    """A spectral peak: its frequency by a parabola through the log spectrum, and its level."""

    hz: float
    level_db: float


@dataclass(frozen=True)
class Spectrum:
    """Level against frequency, `step_hz` apart from 0 Hz on."""

    level_db: NDArray[np.float64]
    step_hz: float
    width_hz: float
    """Half width of the main lobe: nothing closer than this is resolved."""

    def peaks(self, low_hz: float, high_hz: float) -> list[Peak]:
        """Local maxima between two frequencies, loudest first."""
        first = max(1, math.ceil(low_hz / self.step_hz))
        last = min(self.level_db.size - 2, math.floor(high_hz / self.step_hz))
        if last <= first:
            return []
        level = self.level_db
        inner = level[first : last + 1]
        rising = inner > level[first - 1 : last]
        falling = inner >= level[first + 1 : last + 2]
        found = first + np.flatnonzero(rising & falling)
        found = found[np.argsort(-level[found])]
        return [self._peak(int(k)) for k in found[:12]]

    def _peak(self, k: int) -> Peak:
        left, top, right = (float(v) for v in self.level_db[k - 1 : k + 2])
        bend = left - 2.0 * top + right
        shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
        return Peak((k + shift) * self.step_hz, top - 0.25 * (left - right) * shift)

    def level_at(self, low_hz: float, high_hz: float) -> float:
        """The loudest level between two frequencies."""
        first, last = round(low_hz / self.step_hz), round(high_hz / self.step_hz)
        part = self.level_db[max(0, first) : last + 1]
        return float(part.max()) if part.size else -200.0

    @property
    def middle_db(self) -> float:
        """Median level between 100 and 2500 Hz."""
        part = self.level_db[round(100.0 / self.step_hz) : round(2500.0 / self.step_hz)]
        return float(np.median(part)) if part.size else -200.0

    def floor_near(self, hz: float) -> float:
        """Median level within a third of an octave either side: the noise a tone at hz stands in."""
        first, last = round(hz * 0.794 / self.step_hz), round(hz * 1.26 / self.step_hz)
        part = self.level_db[first : last + 1]
        return float(np.median(part)) if part.size else -200.0


@lru_cache(maxsize=32)
def _hann(size: int) -> NDArray[np.float64]:
    return np.hanning(size + 2)[1:-1]


def spectrum(samples: NDArray[np.float64], sample_rate_hz: int, up_to_hz: float = HIGH_HZ) -> Spectrum:
    """The spectrum of a stretch, up to a little above `up_to_hz`."""
    size = max(16, samples.size)
    window = _hann(samples.size)
    fft_size = 1 << (PADDING * size - 1).bit_length()
    bins = np.fft.rfft(samples * window, fft_size)[
        : math.ceil(1.05 * up_to_hz * fft_size / sample_rate_hz) + 2
    ]
    power = np.abs(bins) ** 2 * (2.0 / max(float(window.sum()), 1.0)) ** 2
    return Spectrum(
        level_db=10.0 * np.log10(power + 1e-20),
        step_hz=sample_rate_hz / fft_size,
        width_hz=2.0 * sample_rate_hz / size,
    )


@lru_cache(maxsize=8)
def _comb(sample_rate_hz: int) -> PitchDetector:
    return comb_detector(sample_rate_hz, frame=COMB_FRAME, hop=COMB_HOP)


def comb_pitch_hz(samples: NDArray[np.float64], sample_rate_hz: int) -> float | None:
    """aubio's fcomb pitch of the first 5120 samples; None when it finds none or the stretch is short."""
    if samples.size < COMB_HOPS * COMB_HOP:
        return None
    hops = samples[: COMB_HOPS * COMB_HOP].astype(np.float32).reshape(COMB_HOPS, COMB_HOP)
    comb = _comb(sample_rate_hz)
    hz = [float(comb(hop)[0]) for hop in hops][-1]
    return hz if hz > 0.0 else None
