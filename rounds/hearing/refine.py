"""The frequency of one decaying tone in a room, with the uncertainty that the room leaves.

A struck tone in a reverberant room is A exp((iw - a) t) times 1 + R(t): what the room adds, relative
to the direct sound, is a complex random walk whose steps shrink or grow as exp(-2 (b - a) t), with b
the decay of the room and a that of the tone. (Convolve the tone with Polack's decaying noise and
divide by the tone.) Noise comes on top and grows as exp(2 a t) in the same picture. So for a given
strength and fade of the room the series is Gaussian, and the frequency has a generalised least
squares solution; its residual says how well it is known. We solve it for a small table of rooms and
average them by their likelihood. One method then covers both ends: early samples count where the
room outlives the tone, late ones where the tone outlives the room, all where there is only noise.

The cost function of every room is a trigonometric polynomial in the frequency, so its minimum over
the whole band costs one FFT and two Newton steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.baseband import noise_correlation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband

ROOM_T60_S = (0.2, 0.4, 0.8)
"""Rooms considered: from a treated studio to a hall."""
ROOM_TO_NOISE_DB = (-20.0, 0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
"""Steps of the random walk per second against the noise of one value, at the onset."""
DECAY_STEP = 4.0
"""Decays are rounded to this (nepers a second), so that tables can be kept."""
MAX_DECAY = 80.0
GRID = 512
DECAY_OF_T60 = float(np.log(1000.0))


@dataclass(frozen=True)
class Tone:
    """One tone as fitted: standard deviation in Hz, decay in nepers a second, amplitude at the onset.

    `fit_db` is the tone's power against what the model leaves unexplained.
    """

    hz: float
    sd_hz: float
    decay: float
    amplitude: float
    fit_db: float


@dataclass(frozen=True)
class _Rooms:
    """Precomputed for one length, step and decay: banded forms of every room's cost, and its constants."""

    bands: NDArray[np.float64]  # [room, k, lag]: Q[k, k + lag]
    log_prior: NDArray[np.float64]


def _covariances(times_s: NDArray[np.float64], decay: float) -> NDArray[np.float64]:
    noise = noise_correlation(times_s.size) * np.exp(decay * (times_s[:, None] + times_s[None, :]))
    earlier = np.minimum(times_s[:, None], times_s[None, :])
    tables = []
    for t60_s in ROOM_T60_S:
        fade = 2.0 * (DECAY_OF_T60 / t60_s - decay)
        walk = earlier if abs(fade) < 1e-9 else -np.expm1(-fade * earlier) / fade
        tables += [noise + 10 ** (db / 10) * walk for db in ROOM_TO_NOISE_DB]
    return np.array(tables)


@lru_cache(maxsize=256)
def _rooms(count: int, first_us: int, step_us: int, decay: float) -> _Rooms:
    times_s = np.asarray(1e-6 * (first_us + step_us * np.arange(count)), dtype=np.float64)
    covariances = _covariances(times_s, decay)
    inverses = np.linalg.inv(covariances)
    ones = inverses.sum(axis=2)
    total = ones.sum(axis=1)
    forms = inverses - ones[:, :, None] * ones[:, None, :] / total[:, None, None]
    lags = np.arange(count)
    reach = lags[:, None] + lags[None, :]
    inside = reach < count
    bands = np.where(inside, forms[:, lags[:, None], np.minimum(reach, count - 1)], 0.0)
    _, logdet = np.linalg.slogdet(covariances)
    return _Rooms(bands, -logdet - np.log(total))


def decay_of(series: Baseband) -> float:
    """Decay of the envelope in nepers a second, by least squares weighted with the power."""
    power = np.abs(series.values) ** 2
    times_s = series.times_s
    level = np.log(np.maximum(np.abs(series.values), 1e-12))
    weight = power / max(float(power.sum()), 1e-30)
    mean_t, mean_level = weight @ times_s, weight @ level
    spread = weight @ (times_s - mean_t) ** 2
    slope = (weight @ ((times_s - mean_t) * (level - mean_level))) / max(float(spread), 1e-12)
    return float(np.clip(-slope, 0.0, MAX_DECAY))


def _lag_products(values: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """[k, lag]: conj(v[k]) v[k + lag], zero past the end."""
    padded = np.concatenate([values, np.zeros(values.size - 1, values.dtype)])
    shifted = np.lib.stride_tricks.sliding_window_view(padded, values.size)
    return np.asarray(np.conj(values)[:, None] * shifted)


def fit(series: Baseband, half_width_hz: float) -> Tone | None:
    """The tone within `half_width_hz` of the carrier; None when the series is too short."""
    count = series.values.size
    if count < 6:
        return None
    decay = decay_of(series)
    kept = DECAY_STEP * round(decay / DECAY_STEP)
    rooms = _rooms(count, round(1e6 * series.first_s), round(1e6 * series.step_s), kept)
    straight = series.values * np.exp(kept * series.times_s)
    products = _lag_products(straight)
    costs = np.einsum("rkm,km->rm", rooms.bands, products)
    costs[:, 1:] *= 2.0
    hz, best, curvature = _minima(costs, series.step_s, half_width_hz)
    freedom = count - 1
    variance = best / (freedom * np.maximum(curvature, 1e-30))
    evidence = rooms.log_prior - freedom * np.log(np.maximum(best, 1e-300)) + 0.5 * np.log(variance)
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    mean = float(weight @ hz)
    spread = float(weight @ (variance + (hz - mean) ** 2))
    amplitude = float(np.abs(np.mean(straight * np.exp(-2j * np.pi * mean * series.times_s))))
    residual = float(weight @ best) / freedom
    fit_db = 10 * float(np.log10(max(amplitude**2, 1e-30) / max(residual, 1e-30)))
    return Tone(series.carrier_hz + mean, spread**0.5, decay, amplitude, fit_db)


def _minima(
    costs: NDArray[np.complex128], step_s: float, half_width_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Per room: offset of the lowest cost (Hz), that cost, and its second derivative (per Hz²) / 2."""
    turn = 2 * np.pi * step_s
    grid = np.real(np.fft.fft(costs, GRID, axis=1))
    offsets = np.fft.fftfreq(GRID, step_s)
    allowed = np.abs(offsets) <= max(half_width_hz, 1.5 / (GRID * step_s))
    grid[:, ~allowed] = np.inf
    at = offsets[np.argmin(grid, axis=1)]
    lags = np.arange(costs.shape[1])
    for _ in range(3):
        waves = costs * np.exp(-1j * turn * at[:, None] * lags)
        slope = (waves @ (-1j * turn * lags)).real
        bend = (waves @ (-((turn * lags) ** 2))).real
        move = np.where(bend > 0, -slope / np.where(bend > 0, bend, 1.0), 0.0)
        at = at + np.clip(move, -0.5 / (GRID * step_s), 0.5 / (GRID * step_s))
    waves = costs * np.exp(-1j * turn * at[:, None] * lags)
    return at, waves.sum(axis=1).real, np.maximum((waves @ (-((turn * lags) ** 2))).real, 0.0)
