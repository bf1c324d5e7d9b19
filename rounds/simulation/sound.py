"""The sound of a struck bottle, synthesised: a decaying main mode, partials, a mallet click, a room.

Conventions: float32 mono arrays with full scale at 1, ring times are T60 (seconds to fall by 60 dB),
levels in dB. Every function takes its random generator, so the same generator state gives the same
sound. Nothing here clips; use `clipped` for a recorder that does.

The room is decaying Gaussian noise added to the direct sound (Polack's statistical model of late
reverberation, from memory). It matters more than noise: it is what limits the ear.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

DECAY_OF_T60 = math.log(1000.0)
"""A T60 of one second is an amplitude decay of this many nepers a second."""
ATTACK_S = 0.003
"""How long a mallet pushes. Common practice, no source."""
CLICK_S = 0.004


@dataclass(frozen=True)
class Partial:
    """A mode above the main one: frequency ratio, level against the main mode, share of its ring time."""

    ratio: float
    level_db: float
    ring_share: float


@dataclass(frozen=True)
class Doublet:
    """A second mode close to the main one, as a bottle that is not quite round has; the two beat."""

    split_cents: float
    level_db: float


BOTTLE_PARTIALS = (
    Partial(1.59, -10.0, 0.5),
    Partial(2.30, -14.0, 0.35),
    Partial(2.92, -19.0, 0.25),
    Partial(3.65, -24.0, 0.2),
)
"""Invented, near the mode ratios of a tensioned membrane (1.59, 2.14, 2.30, 2.92, 3.65)."""


def _mode(
    hz: float, level_db: float, ring_s: float, count: int, sample_rate_hz: int, phase: float
) -> NDArray[np.float64]:
    seconds = np.arange(count) / sample_rate_hz
    envelope = 10 ** (level_db / 20) * np.exp(-DECAY_OF_T60 / ring_s * seconds)
    envelope *= np.sin(0.5 * np.pi * np.minimum(seconds / ATTACK_S, 1.0)) ** 2
    return np.asarray(envelope * np.sin(2 * np.pi * hz * seconds + phase))


def _click(rng: np.random.Generator, level_db: float, sample_rate_hz: int) -> NDArray[np.float64]:
    count = round(CLICK_S * sample_rate_hz)
    burst = rng.standard_normal(count) * np.hanning(count)
    return np.asarray(burst * 10 ** (level_db / 20))


def struck(
    hz: float,
    rng: np.random.Generator,
    *,
    sample_rate_hz: int = 48_000,
    duration_s: float = 1.2,
    ring_s: float = 0.7,
    loudness_dbfs: float = -12.0,
    partials: tuple[Partial, ...] = BOTTLE_PARTIALS,
    click_db: float = -12.0,
    doublet: Doublet | None = None,
) -> NDArray[np.float32]:
    """One strike from its first sample on, dry. The main mode starts at `loudness_dbfs`.

    `click_db` is the mallet's click against the main mode. Partials above 0.45 of the sample rate
    are left out.
    """
    count = round(duration_s * sample_rate_hz)
    modes = [(hz, 0.0, ring_s)]
    modes += [(hz * p.ratio, p.level_db, ring_s * p.ring_share) for p in partials]
    if doublet is not None:
        modes.append((hz * 2 ** (doublet.split_cents / 1200), doublet.level_db, ring_s))
    sound = np.zeros(count)
    for mode_hz, level_db, mode_ring_s in modes:
        phase = rng.uniform(0, 2 * np.pi)
        if mode_hz < 0.45 * sample_rate_hz:
            sound += _mode(mode_hz, level_db, mode_ring_s, count, sample_rate_hz, phase)
    click = _click(rng, click_db, sample_rate_hz)[:count]
    sound[: click.size] += click
    return (sound * 10 ** (loudness_dbfs / 20)).astype(np.float32)


def room(
    samples: NDArray[np.float32],
    drr_db: float,
    t60_s: float,
    rng: np.random.Generator,
    *,
    sample_rate_hz: int = 48_000,
    gap_s: float = 0.002,
) -> NDArray[np.float32]:
    """The same sound heard in a room; length kept.

    `drr_db` is the direct-to-reverberant energy ratio of the impulse response: about 6 to 16 dB a
    few metres from the bottle, 26 dB with the microphone at it. The first reflection comes `gap_s`
    after the direct sound.
    """
    seconds = np.arange(round(t60_s * sample_rate_hz)) / sample_rate_hz
    tail = rng.standard_normal(seconds.size) * np.exp(-DECAY_OF_T60 / t60_s * seconds)
    tail *= 10 ** (-drr_db / 20) / np.linalg.norm(tail)
    gap = round(gap_s * sample_rate_hz)
    size = 1 << (samples.size + tail.size - 1).bit_length()
    reverberant = np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(tail, size), size)
    heard = samples.astype(np.float64)
    heard[gap:] += reverberant[: samples.size - gap]
    return heard.astype(np.float32)


def room_noise(
    count: int, rng: np.random.Generator, rms_dbfs: float, *, sample_rate_hz: int = 48_000
) -> NDArray[np.float32]:
    """Noise as a room has it: power falls as 1/f from 60 Hz on, flat below."""
    spectrum = np.fft.rfft(rng.standard_normal(max(2, count)))
    hz = np.fft.rfftfreq(max(2, count), 1 / sample_rate_hz)
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(hz, 60.0)), max(2, count))[:count]
    noise *= 10 ** (rms_dbfs / 20) / max(float(np.sqrt(np.mean(noise**2))), 1e-12)
    return noise.astype(np.float32)


def clipped(samples: NDArray[np.float32], over_db: float) -> NDArray[np.float32]:
    """The same sound recorded `over_db` too loud: raised until its peak would pass full scale by that."""
    peak = max(float(np.max(np.abs(samples), initial=0.0)), 1e-9)
    return np.asarray(np.clip(samples * (10 ** (over_db / 20) / peak), -1.0, 1.0), dtype=np.float32)
