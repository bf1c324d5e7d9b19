"""The neighbourhood of one frequency as a short complex series, slow enough to do statistics on.

Conventions: `carrier_hz` is the frequency that becomes zero; the series is taken at even steps with
a Hann window around each centre; times are seconds after the onset. The window is short enough to
follow a strike's decay and long enough to keep the next partial (1.4 times the carrier) out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEPS_PER_WINDOW = 3
"""At a third of a Hann window neighbours still share a third of their noise; the model knows it."""
MAX_DECAY = 100.0


@dataclass(frozen=True)
class Baseband:
    """A demodulated stretch: `values[k]` is the complex amplitude at `first_s + k * step_s`."""

    values: NDArray[np.complex128]
    carrier_hz: float
    first_s: float
    step_s: float

    def moved(self, carrier_hz: float) -> Baseband:
        """The same stretch around a carrier close by; the windows stay those of the old one."""
        turn = np.exp(-2j * np.pi * (carrier_hz - self.carrier_hz) * self.times_s)
        return Baseband(self.values * turn, carrier_hz, self.first_s, self.step_s)

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Centres of the windows, seconds after the onset."""
        return np.asarray(self.first_s + self.step_s * np.arange(self.values.size), dtype=np.float64)


def window_s(carrier_hz: float) -> float:
    """Length of the window for a carrier: 26 ms in the bass, 20 ms above, 12 ms at the top."""
    if carrier_hz < 260.0:
        return 0.026
    return 0.020 if carrier_hz < 700.0 else 0.012


def settled_window_s(carrier_hz: float) -> float:
    """The same once the attack is over: longer windows are fewer, and nothing is left to be followed."""
    return 0.030 if carrier_hz < 700.0 else 0.020


def demodulate(
    samples: NDArray[np.float64],
    sample_rate_hz: int,
    carrier_hz: float,
    start_s: float,
    length_s: float | None = None,
) -> Baseband:
    """The series around a carrier, in windows of `length_s`; `samples[0]` lies `start_s` after the onset."""
    hop = round((length_s or window_s(carrier_hz)) / STEPS_PER_WINDOW * sample_rate_hz)
    length = STEPS_PER_WINDOW * hop
    hann = np.hanning(length + 2)[1:-1]
    if samples.size < length:
        return Baseband(np.zeros(0, np.complex128), carrier_hz, start_s, hop / sample_rate_hz)
    step = -2j * np.pi * carrier_hz / sample_rate_hz
    tuned = hann * np.exp(step * np.arange(length))
    frames = sliding_window_view(samples, length)[::hop]
    # Real products, then one turn a window: a complex wave over all samples would take longer.
    parts = frames @ np.stack([tuned.real, tuned.imag], axis=1)
    turns = np.exp(step * hop * np.arange(parts.shape[0]))
    values = (parts[:, 0] + 1j * parts[:, 1]) * turns * (2.0 / hann.sum())
    centre = 0.5 * (length - 1)
    series = Baseband(values, carrier_hz, start_s + centre / sample_rate_hz, hop / sample_rate_hz)
    return replace(series, values=values - _mirror(series, hann, sample_rate_hz, start_s))


def decay_of(series: Baseband) -> float:
    """Decay of the envelope in nepers a second, by least squares weighted with the power squared.

    Noise alone would ask for the power. Where the room outlives the tone, what is left later on is the
    room's decay and not the tone's, and must count less.
    """
    size = np.abs(series.values)
    times_s = series.times_s
    level = np.log(np.maximum(size, 1e-12))
    weight = (size / max(float(size.max()), 1e-12)) ** 4
    weight /= max(float(weight.sum()), 1e-30)
    mean_t, mean_level = weight @ times_s, weight @ level
    spread = weight @ (times_s - mean_t) ** 2
    slope = (weight @ ((times_s - mean_t) * (level - mean_level))) / max(float(spread), 1e-12)
    return float(np.clip(-slope, 0.0, MAX_DECAY))


def _mirror(
    series: Baseband, hann: NDArray[np.float64], sample_rate_hz: int, start_s: float
) -> NDArray[np.complex128]:
    """What the tone's negative frequency leaves in the windows.

    A real tone is half at +f and half at -f, which lies 2f below the carrier: in the bass the windows
    damp it by 70 dB only, more than the noise at 40 dB and better. Its course is known from the tone's.
    """
    away_s = (np.arange(hann.size) - 0.5 * (hann.size - 1)) / sample_rate_hz
    damped = hann * np.exp(-decay_of(series) * away_s)
    leak = damped @ np.exp(-4j * np.pi * series.carrier_hz * away_s) / damped.sum()
    turned = np.exp(-4j * np.pi * series.carrier_hz * (series.times_s - start_s))
    return np.asarray(leak * turned * series.values.conj())


def noise_correlation(count: int) -> NDArray[np.float64]:
    """Correlation of white noise between the values of a series, from the overlap of their windows."""
    hop = 256
    hann = np.hanning(STEPS_PER_WINDOW * hop + 2)[1:-1]
    lags = [float(hann[: hann.size - lag * hop] @ hann[lag * hop :]) for lag in range(STEPS_PER_WINDOW)]
    row = np.zeros(count)
    row[: len(lags)] = np.array(lags[:count]) / lags[0]
    index = np.arange(count)
    return np.asarray(row[np.abs(index[:, None] - index[None, :])])
