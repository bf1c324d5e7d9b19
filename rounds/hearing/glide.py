"""A tone whose pitch glides down to where it stays: struck hard, a wall is stretched for a moment.

Added pitch follows the square of the amplitude, as tension does in strings and membranes (Morse & Ingard
1968, Theoretical Acoustics, from memory), so it fades twice as fast as the tone: the phase gains
-g exp(-2 a t) / 2a. The fit is that of one tone (`rounds.hearing.refine`) with this one real number g added,
drawn to nought by how large glides usually are; rooms are averaged as there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.refine import DECAY_REACH, Tone, straightened
from rounds.hearing.rooms import inverted
from rounds.notes import CENTS_PER_NEPER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband
    from rounds.hearing.rooms import Rooms

MIN_RATE = 6.0
"""Slower than this (a second) a glide is not told from a pitch that is simply higher."""
MOST_RISE = 4.0
"""In usual glides: what is larger is no glide, and linear steps towards it may run away."""
NO_GAIN = -20.0


@dataclass(frozen=True)
class _Search:
    """How a glide is looked for; everything but the steps in usual glides."""

    usual_cents: float
    """Glides at the onset, one standard deviation. Our guess."""
    starts: tuple[float, ...]
    """Where the steps begin: at a steady tone alone they often end beside the best."""
    steps: int
    at_rest: float
    """A fit whose last step was longer has found nothing."""


LATE = _Search(25.0, (0.0, 1.0), 4, 0.3)
FIRST = _Search(15.0, (0.0,), 3, math.inf)
"""In the first moments much else bends: a few steps from no glide keep readings of like strikes alike."""


@dataclass(frozen=True)
class Glide:
    """The late pitch, and by how much the tone was higher at its onset (standard deviations in Hz).

    `gain` is the log likelihood ratio against a steady tone, whatever the room and the size of the glide.
    """

    hz: float
    sd_hz: float
    rise_hz: float
    gain: float
    rate: float = MIN_RATE
    """How fast it fades, a second."""

    def steady_hz(self, series: Baseband) -> float:
        """What one steady tone, fitted to a stretch of this strike, would find."""
        course = -np.exp(-self.rate * series.times_s) / self.rate
        return self.hz + self.rise_hz * _slope(course, series)


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


def fit_glide(series: Baseband, table: Rooms, single: Tone, *, first: bool = False) -> Glide:
    """Let a fitted tone glide: the likeliest of the fits that came to rest, or the steady tone.

    `first`: the series is that of the first moments.
    """
    straight = straightened(series, table)
    turn = 2 * np.pi * (single.hz - series.carrier_hz)
    search = FIRST if first else LATE
    usual = 2 * np.pi * search.usual_cents / CENTS_PER_NEPER * single.hz
    rate = max(MIN_RATE, 2.0 * single.decay)
    course = -np.exp(-rate * table.times_s) / rate
    slope = _slope(course, series)
    best = Glide(single.hz, single.sd_hz, 0.0, NO_GAIN)
    for start in search.starts:
        rise = start * usual
        at = _walked(table, straight, course, (turn - rise * slope, rise), usual, search)
        if at is not None and at.log_evidence - single.evidence > best.gain:
            hz = series.carrier_hz + at.turned / (2 * np.pi)
            gain = at.log_evidence - single.evidence
            best = Glide(hz, at.sd_hz, at.risen / (2 * np.pi), gain, rate)
    return best


def _slope(course: NDArray[np.float64], series: Baseband) -> float:
    """How much of a rise looks like a higher pitch."""
    power = np.square(np.abs(series.values))
    share = power / max(float(power.sum()), 1e-300)
    away = series.times_s - share @ series.times_s
    return float((share * away) @ course / (share @ away**2))


@dataclass(frozen=True)
class _Found:
    turned: float
    risen: float
    sd_hz: float
    log_evidence: float


def _walked(
    table: Rooms,
    straight: NDArray[np.complex128],
    course: NDArray[np.float64],
    start: tuple[float, float],
    usual: float,
    search: _Search,
) -> _Found | None:
    """Where linear steps lead from a turn and a rise; None where they come to no rest."""
    (turn, rise), fading, limit = start, 0.0, MOST_RISE * usual
    for _ in range(search.steps):
        tone = np.exp((1j * turn - fading) * table.times_s + 1j * rise * course)
        step = _step(table, straight, tone, course, rise, usual)
        weights, before = step.weights, (turn, rise)
        turn += float(np.clip(weights @ step.turn, -limit, limit))
        fading = float(np.clip(fading + weights @ step.fading, -DECAY_REACH, DECAY_REACH))
        rise = float(np.clip(rise + weights @ step.rise, -limit, limit))
    if abs(turn - before[0]) + abs(rise - before[1]) > search.at_rest * usual:
        return None
    variance = weights @ (step.variance + (step.turn - weights @ step.turn) ** 2)
    top = float(step.evidence.max())
    evidence = top + float(np.log(np.exp(step.evidence - top).sum()))
    return _Found(turn, rise, float(np.sqrt(variance)) / (2 * np.pi), evidence)


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
    inverse, log_normal = inverted(normal)
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
