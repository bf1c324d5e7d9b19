"""A tone whose pitch glides down (or up) to where it stays: struck hard, a wall is stretched for a moment.

Added pitch follows the square of the amplitude, as tension does in strings and membranes (Morse & Ingard
1968, Theoretical Acoustics, from memory), so it fades twice as fast as the tone: the phase gains
-g exp(-2 a t) / 2a. The fit is that of one tone (`rounds.hearing.refine`) with this one real number g added,
drawn to nought by how large glides usually are; rooms are averaged as there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.refine import DECAY_REACH, Tone, straightened

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband
    from rounds.hearing.rooms import Rooms

USUAL_SHARE = 15.0 / 1731.0
"""Glides at the onset, one standard deviation, as a share of the frequency: 15 cents. Our guess."""
MIN_RATE = 8.0
"""Slower than this (a second) a glide is not told from a pitch that is simply higher."""
STEPS = 3
MOST_RISE = 4.0
"""In usual glides: what is larger is no glide, and linear steps towards it may run away."""


@dataclass(frozen=True)
class Glide:
    """The late pitch, and by how much the tone was higher at its onset (standard deviations in Hz).

    `gain` is the log likelihood ratio against a steady tone, whatever the room and the size of the glide.
    """

    hz: float
    sd_hz: float
    rise_hz: float
    gain: float


@dataclass(frozen=True)
class _Step:
    """One linear step in every room: changes of angular frequency, decay and rise, and how likely each is."""

    turn: NDArray[np.float64]
    fading: NDArray[np.float64]
    rise: NDArray[np.float64]
    variance: NDArray[np.float64]
    evidence: NDArray[np.float64]

    @property
    def weights(self) -> NDArray[np.float64]:
        likelihood = np.exp(self.evidence - self.evidence.max())
        return np.asarray(likelihood / likelihood.sum())


def fit_glide(series: Baseband, table: Rooms, single: Tone) -> Glide:
    """Let a fitted tone glide."""
    straight = straightened(series, table)
    turn = 2 * np.pi * (single.hz - series.carrier_hz)
    usual = 2 * np.pi * USUAL_SHARE * single.hz
    rate = max(MIN_RATE, 2.0 * single.decay)
    course = -np.exp(-rate * table.times_s) / rate
    fading = rise = 0.0
    for _ in range(STEPS):
        tone = np.exp((1j * turn - fading) * table.times_s + 1j * rise * course)
        step = _step(table, straight, tone, course, rise, usual)
        weights = step.weights
        limit = MOST_RISE * usual
        turn += float(np.clip(weights @ step.turn, -limit, limit))
        fading = float(np.clip(fading + weights @ step.fading, -DECAY_REACH, DECAY_REACH))
        rise = float(np.clip(rise + weights @ step.rise, -limit, limit))
    variance = weights @ (step.variance + (step.turn - weights @ step.turn) ** 2)
    top = float(step.evidence.max())
    evidence = top + float(np.log(np.exp(step.evidence - top).sum()))
    return Glide(
        hz=series.carrier_hz + turn / (2 * np.pi),
        sd_hz=float(np.sqrt(variance)) / (2 * np.pi),
        rise_hz=rise / (2 * np.pi),
        gain=evidence - single.evidence,
    )


def _step(
    table: Rooms,
    straight: NDArray[np.complex128],
    tone: NDArray[np.complex128],
    course: NDArray[np.float64],
    rise: float,
    usual: float,
) -> _Step:
    """Generalised least squares of amplitude, slope and rise; the rise is real and has a prior."""
    columns = np.stack([tone, tone * table.times_s, 1j * tone * course, straight], axis=1)
    flat = table.inverses @ np.concatenate([columns.real, columns.imag], axis=1)
    products = columns.conj().T @ (flat[:, :, :4] + 1j * flat[:, :, 4:])
    normal, bent = products[:, :2, :2], products[:, :2, 2:]
    inverse = np.linalg.inv(normal)
    both = inverse @ bent
    rest = products[:, 2:, 2:] - bent.conj().transpose(0, 2, 1) @ both
    amplitude = both[:, 0, 1]
    size = np.abs(amplitude) ** 2
    known = np.maximum(rest[:, 0, 0].real * size, 1e-300)
    slope = (rest[:, 0, 1] * amplitude.conj()).real
    freedom = straight.size - 2
    left = np.maximum(rest[:, 1, 1].real - slope**2 / known, 1e-300)
    scale = left / (freedom - 0.5)
    precision, prior = 2.0 * known / scale, usual**-2.0
    move = (2.0 * slope / scale - prior * rise) / (precision + prior)
    left = left + known * (move - slope / known) ** 2 + 0.5 * scale * prior * (rise + move) ** 2
    fitted = both[:, :, 1] - both[:, :, 0] * (move * amplitude)[:, None]
    moves = fitted[:, 1] / fitted[:, 0]
    lever = (both[:, 1, 0] * amplitude / fitted[:, 0]).imag
    variance = scale * inverse[:, 1, 1].real / (2.0 * np.abs(fitted[:, 0]) ** 2)
    _, log_normal = np.linalg.slogdet(normal)
    return _Step(
        turn=moves.imag,
        fading=-moves.real,
        rise=move,
        variance=variance + lever**2 / (precision + prior),
        evidence=table.log_priors
        + table.log_volumes
        - log_normal
        - freedom * np.log(left)
        - 0.5 * np.log1p(precision / prior),
    )
