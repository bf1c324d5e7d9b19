"""The neighbourhood of one frequency as a short complex series, slow enough to do statistics on.

Conventions: `carrier_hz` is the frequency that becomes zero; the series is taken at even steps with
a Hann window around each centre; times are seconds after the onset. The window is short enough to
follow a strike's decay and long enough to keep the next partial (1.4 times the carrier) out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEPS_PER_WINDOW = 3
"""At a third of a Hann window neighbours still share a third of their noise; the model knows it."""


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
    """Length of the window for a carrier: 40 ms in the bass, 20 ms above, 12 ms at the top."""
    if carrier_hz < 260.0:
        return 0.040
    return 0.020 if carrier_hz < 700.0 else 0.012


def demodulate(
    samples: NDArray[np.float64], sample_rate_hz: int, carrier_hz: float, start_s: float
) -> Baseband:
    """The series around a carrier; `samples[0]` lies `start_s` after the onset."""
    hop = round(window_s(carrier_hz) / STEPS_PER_WINDOW * sample_rate_hz)
    length = STEPS_PER_WINDOW * hop
    hann = np.hanning(length + 2)[1:-1]
    if samples.size < length:
        return Baseband(np.zeros(0, np.complex128), carrier_hz, start_s, hop / sample_rate_hz)
    turn = np.exp(-2j * np.pi * carrier_hz / sample_rate_hz * np.arange(samples.size))
    frames = sliding_window_view(samples * turn, length)[::hop]
    values = frames @ hann * (2.0 / hann.sum())
    return Baseband(values, carrier_hz, start_s + 0.5 * length / sample_rate_hz, hop / sample_rate_hz)


def noise_correlation(count: int) -> NDArray[np.float64]:
    """Correlation of white noise between the values of a series, from the overlap of their windows."""
    hop = 256
    hann = np.hanning(STEPS_PER_WINDOW * hop + 2)[1:-1]
    lags = [float(hann[: hann.size - lag * hop] @ hann[lag * hop :]) for lag in range(STEPS_PER_WINDOW)]
    row = np.zeros(count)
    row[: len(lags)] = np.array(lags[:count]) / lags[0]
    index = np.arange(count)
    return np.asarray(row[np.abs(index[:, None] - index[None, :])])
