"""A table of rooms: how the series of a struck tone scatters around its true course in each of them.

A struck tone in a reverberant room is A exp((iw - a) t) times 1 + R(t): what the room adds, relative
to the direct sound, is a complex random walk whose steps shrink or grow as exp(-2 (b - a) t), with b
the decay of the room and a that of the tone. (Convolve the tone with Polack's decaying noise and
divide by the tone.) Noise comes on top and grows as exp(2 a t) in the same picture. So for a given
strength and fade of the room, the straightened series is Gaussian with a covariance that is known up
to its scale, and generalised least squares does the rest. Rooms are weighed by their likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.baseband import STEPS_PER_WINDOW, noise_correlation

if TYPE_CHECKING:
    from numpy.typing import NDArray

ROOM_T60_S = (0.2, 0.4, 0.8)
"""Rooms considered: from a treated studio to a hall."""
ROOM_TO_NOISE_DB = (-10.0, 0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
"""Steps of the random walk per second against the noise of one value, at the onset."""
DRY_PRIOR = 0.5
"""How often a room adds nothing at all: the microphone at the bottle, or out of doors."""
TRIED = (0, 12, 14)
"""Rooms in which pairs of tones are looked for: none, and two of middling size."""
DRY_DB = 0.0
"""Up to here noise hides what the room adds."""
DECAY_OF_T60 = float(np.log(1000.0))
FINE = 6
"""Steps of the walk are followed this much finer than the series."""


@dataclass(frozen=True)
class Rooms:
    """Every room of the table, for one length, spacing and decay. The first has no reverberation."""

    times_s: NDArray[np.float64]
    inverses: NDArray[np.float64]  # [room, k, k]: of the covariances
    whiteners: NDArray[np.float64]  # [room of TRIED, k, k]: inverse Cholesky factors
    log_volumes: NDArray[np.float64]  # [room]: log determinants of the inverses
    decay: float
    log_priors: NDArray[np.float64]  # [room]
    dry: NDArray[np.float64]  # [room]: 1 where noise hides what the room adds, else 0


@lru_cache(maxsize=128)  # half a megabyte each
def rooms(count: int, first_us: int, step_us: int, decay: float) -> Rooms:
    """The table for a series of `count` values (times in microseconds, so that tables can be kept)."""
    times_s = np.asarray(1e-6 * (first_us + step_us * np.arange(count)), dtype=np.float64)
    whiteners = np.linalg.inv(np.linalg.cholesky(_covariances(times_s, decay)))
    wet = whiteners.shape[0] - 1
    diagonals = np.diagonal(whiteners, axis1=1, axis2=2)
    return Rooms(
        times_s=times_s,
        inverses=whiteners.transpose(0, 2, 1) @ whiteners,
        whiteners=whiteners[list(TRIED)],
        log_volumes=2.0 * np.log(diagonals).sum(axis=1),
        decay=decay,
        log_priors=np.log(np.array([DRY_PRIOR] + [(1.0 - DRY_PRIOR) / wet] * wet)),
        dry=np.array([1.0] + [float(db <= DRY_DB) for db in ROOM_TO_NOISE_DB] * len(ROOM_T60_S)),
    )


def _covariances(times_s: NDArray[np.float64], decay: float) -> NDArray[np.float64]:
    noise = noise_correlation(times_s.size) * np.exp(decay * (times_s[:, None] + times_s[None, :]))
    tables = [noise]
    for t60_s in ROOM_T60_S:
        walk = _walk(times_s, 2.0 * (DECAY_OF_T60 / t60_s - decay))
        tables += [noise + 10 ** (db / 10) * walk for db in ROOM_TO_NOISE_DB]
    return np.array(tables)


def _walk(times_s: NDArray[np.float64], fade: float) -> NDArray[np.float64]:
    """Covariance of the walk as the overlapping windows see it.

    They smooth it, and that must not be taken for a smaller room.
    """
    step_s = float(times_s[1] - times_s[0])
    fine_s = np.arange(0.5, (times_s[-1] + 1.5 * step_s) / step_s * FINE) * (step_s / FINE)
    half_s = 0.5 * STEPS_PER_WINDOW * step_s
    away = (times_s[:, None] - fine_s[None, :]) / half_s
    window = np.where(np.abs(away) < 1.0, 0.5 + 0.5 * np.cos(np.pi * away), 0.0)
    window /= window.sum(axis=1, keepdims=True)
    seen = np.cumsum(window[:, ::-1], axis=1)[:, ::-1]  # a step of the walk moves all that comes after it
    return np.asarray((seen * np.exp(-fade * fine_s) * (step_s / FINE)) @ seen.T)


@dataclass(frozen=True)
class Courses:
    """Tones fitted in every room: amplitudes, and by how much their frequency should move still."""

    amplitudes: NDArray[np.complex128]  # [room, tone]
    moves: NDArray[np.complex128]  # [room, tone]: change of (-decay + i angular frequency), per second
    variances: NDArray[np.float64]  # [room, tone]: of the imaginary part of the moves
    evidence: NDArray[np.float64]  # [room]: log marginal likelihood, up to a constant

    @property
    def weights(self) -> NDArray[np.float64]:
        """How likely each room is, given the tones."""
        likelihood = np.exp(self.evidence - self.evidence.max())
        return np.asarray(likelihood / likelihood.sum())

    @property
    def log_evidence(self) -> float:
        """Of the tones, whatever the room."""
        top = float(self.evidence.max())
        return top + float(np.log(np.exp(self.evidence - top).sum()))


def inverted(normal: NDArray[np.complex128]) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Inverses and log determinants of stacked Hermitian matrices; of two by two without a library call."""
    if normal.shape[-1] != 2:
        return np.asarray(np.linalg.inv(normal)), np.asarray(np.linalg.slogdet(normal)[1])
    first, last, cross = normal[:, 0, 0].real, normal[:, 1, 1].real, normal[:, 0, 1]
    volume = np.maximum(first * last - np.abs(cross) ** 2, 1e-300)
    flat = np.stack([last, -cross, -cross.conj(), first], axis=1) / volume[:, None]
    return flat.reshape(-1, 2, 2), np.log(volume)


def courses(table: Rooms, straight: NDArray[np.complex128], exponents: NDArray[np.complex128]) -> Courses:
    """Fit tones exp(s t), their amplitude and a small change of s free, in every room at once."""
    tones = np.exp(np.outer(table.times_s, exponents))
    number = exponents.size
    columns = np.concatenate([tones, tones * table.times_s[:, None]], axis=1)
    both = np.concatenate([columns, straight[:, None]], axis=1)
    width = both.shape[1]
    # Real matrices times real and imaginary parts side by side: numpy would copy them to complex.
    flat = table.inverses @ np.concatenate([both.real, both.imag], axis=1)
    weighted = flat[:, :, :width] + 1j * flat[:, :, width:]
    products = both.conj().T @ weighted
    normal, found, total = products[:, :-1, :-1], products[:, :-1, -1], products[:, -1, -1].real
    inverse, log_normal = inverted(normal)
    fitted = (inverse @ found[:, :, None])[:, :, 0]
    freedom = max(straight.size - 2 * number, 1)
    left = np.maximum(total - np.einsum("rp,rp->r", found.conj(), fitted).real, 1e-300)
    amplitudes, slopes = fitted[:, :number], fitted[:, number:]
    spread = np.diagonal(inverse, axis1=1, axis2=2).real[:, number:]
    return Courses(
        amplitudes=amplitudes,
        moves=slopes / amplitudes,
        variances=left[:, None] / freedom * spread / (2.0 * np.abs(amplitudes) ** 2),
        evidence=table.log_priors + table.log_volumes - log_normal - freedom * np.log(left),
    )
