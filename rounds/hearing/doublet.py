"""Two tones closer together than a reading resolves by eye: a bottle that is not quite round beats.

Both are fitted at once, in each of a few rooms: a grid over pairs of frequencies (every pair has a
closed form), then damped Gauss-Newton steps on the two frequencies and their common decay. Whether
two are better than one is for the caller to judge from `gain`: in a room a second tone always
explains a little.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from rounds.hearing.refine import sd_hz, straightened
from rounds.hearing.rooms import Courses, Rooms, courses

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband

T = TypeVar("T", np.float64, np.complex128)
REACH = 0.025
"""Half width of the grid as a share of the frequency: 43 cents."""
GRID_HZ = 0.9
"""Well under the resolution of a quarter of a second."""
MIN_GRID = 25
POLISHED = 2
WORTH_POLISHING = 2.0
"""Log likelihood ratio on the grid below which there is no second tone to look for."""
MIN_TURNS = 0.2
"""Two tones that turn against each other by less than this within the stretch cannot be told apart."""
ROUNDS = 5
MIN_GAIN = 1e-3
"""A step that gains less than this share is the last."""
MAX_STEP_S = 2 * np.pi


@dataclass(frozen=True)
class Pair:
    """The stronger tone, the weaker one, and how sure.

    `gain` is the log likelihood ratio against one tone, whatever the room; `ratio_db` the power of
    the stronger over the weaker.
    """

    hz: float
    other_hz: float
    sd_hz: float
    ratio_db: float
    gain: float


def fit_pair(series: Baseband, table: Rooms, single_evidence: float) -> Pair | None:
    """The best pair of tones near the carrier, held against a single one; None when there is none."""
    straight = straightened(series, table)
    models = [_Model(whiten, table.times_s, whiten @ straight) for whiten in table.whiteners]
    grid = _grid(REACH * series.carrier_hz)
    turns = np.exp(1j * np.outer(table.times_s, grid))
    starts = [_best_on_grid(model, grid, turns) for model in models]
    if max(model.gain(start.left) for model, start in zip(models, starts, strict=True)) < WORTH_POLISHING:
        return None
    ranked = sorted(zip(models, starts, strict=True), key=lambda both: -both[0].log_likelihood(both[1].left))
    polished = [_polish(model, start.at) for model, start in ranked[:POLISHED]]
    length_s = float(table.times_s[-1] - table.times_s[0])
    apart = [at for at in polished if abs(at[0] - at[1]) * length_s > 2 * np.pi * MIN_TURNS]
    if not apart:
        return None
    found = [(at, courses(table, straight, 1j * at[:2] - at[2])) for at in apart]
    at, course = max(found, key=lambda one: one[1].log_evidence)
    return _pair(series, at, course, single_evidence)


@dataclass(frozen=True)
class _Start:
    at: NDArray[np.float64]
    left: float


def _polish(model: _Model, at: NDArray[np.float64]) -> NDArray[np.float64]:
    left = model.residual(at)
    for _ in range(ROUNDS):
        step = model.step(at)
        for share in (1.0, 0.3, 0.1):
            trial = at + share * step
            trial_left = model.residual(trial)
            if trial_left < (1.0 - MIN_GAIN) * left:
                at, left = trial, trial_left
                break
        else:
            break
    return at


def _pair(series: Baseband, at: NDArray[np.float64], found: Courses, single_evidence: float) -> Pair:
    strength = found.weights @ np.abs(found.amplitudes) ** 2
    strong, weak = (0, 1) if strength[0] >= strength[1] else (1, 0)
    return Pair(
        hz=series.carrier_hz + float(at[strong]) / (2 * np.pi),
        other_hz=series.carrier_hz + float(at[weak]) / (2 * np.pi),
        sd_hz=sd_hz(found, strong),
        ratio_db=10.0 * float(np.log10(strength[strong] / max(float(strength[weak]), 1e-30))),
        gain=found.log_evidence - single_evidence,
    )


class _Model:
    """Two tones with a common decay; parameters are two angular frequencies and a change of decay."""

    def __init__(
        self, whiten: NDArray[np.float64], times_s: NDArray[np.float64], values: NDArray[np.complex128]
    ) -> None:
        self.whiten, self.times_s, self.values = whiten, times_s, values
        self._log_volume = 2.0 * float(np.sum(np.log(np.diag(whiten))))

    def log_likelihood(self, left: float) -> float:
        """Of the room, for what is left over, the scale free."""
        return self._log_volume - (self.values.size - 2) * float(np.log(max(left, 1e-300)))

    def gain(self, left: float) -> float:
        """Log likelihood ratio of what two tones leave over what one leaves, in this room."""
        line = np.stack([np.ones(self.times_s.size), self.times_s], axis=1).astype(np.complex128)
        single = float(np.sum(np.abs(self._solve(self.whiten @ line)[1]) ** 2))
        return (self.values.size - 2) * float(np.log(max(single, 1e-300) / max(left, 1e-300)))

    def _tones(self, at: NDArray[np.float64]) -> NDArray[np.complex128]:
        return np.exp(np.outer(self.times_s, 1j * at[:2] - at[2]))

    def _solve(
        self, columns: NDArray[np.complex128]
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        amplitudes = _least_squares(columns, self.values)
        return amplitudes, self.values - columns @ amplitudes

    def residual(self, at: NDArray[np.float64]) -> float:
        """What both tones leave."""
        return float(np.sum(np.abs(self._solve(self.whiten @ self._tones(at))[1]) ** 2))

    def _jacobian(self, at: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.complex128]]:
        """Real Jacobian with the amplitudes projected out (Kaufman), and the residual."""
        tones = self._tones(at)
        columns = self.whiten @ tones
        amplitudes, rest = self._solve(columns)
        moved = self.times_s[:, None] * tones * amplitudes
        change = self.whiten @ np.stack([1j * moved[:, 0], 1j * moved[:, 1], -moved.sum(axis=1)], axis=1)
        change = change - columns @ _least_squares(columns, change)
        return np.concatenate([change.real, change.imag]), rest

    def step(self, at: NDArray[np.float64]) -> NDArray[np.float64]:
        """One Gauss-Newton step, its length limited."""
        jacobian, rest = self._jacobian(at)
        move = _least_squares(jacobian, np.concatenate([rest.real, rest.imag]))
        return np.asarray(np.clip(move, -MAX_STEP_S, MAX_STEP_S))


def _least_squares(columns: NDArray[T], values: NDArray[T]) -> NDArray[T]:
    """By normal equations with a whiff of damping: a few well-scaled columns, and many calls."""
    adjoint = columns.conj().T
    normal = adjoint @ columns
    diagonal = normal.ravel()[:: normal.shape[0] + 1]
    diagonal += 1e-10 * float(diagonal.sum().real)
    return np.asarray(np.linalg.solve(normal, adjoint @ values), dtype=columns.dtype)


def _grid(reach_hz: float) -> NDArray[np.float64]:
    count = max(MIN_GRID, 2 * round(reach_hz / GRID_HZ) + 1)
    return np.asarray(2 * np.pi * np.linspace(-reach_hz, reach_hz, count))


@lru_cache(maxsize=64)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Every two points of a grid that are not neighbours."""
    return np.triu_indices(count, 2)


def _best_on_grid(model: _Model, grid: NDArray[np.float64], turns: NDArray[np.complex128]) -> _Start:
    tones = model.whiten @ turns
    shared = tones.conj().T @ tones
    found = tones.conj().T @ model.values
    power = np.abs(found) ** 2
    own = np.real(np.diag(shared))
    i, j = _pairs(grid.size)
    cross = shared[i, j]
    explained = own[j] * power[i] + own[i] * power[j] - 2.0 * np.real(found[i].conj() * cross * found[j])
    volume = own[i] * own[j] - np.abs(cross) ** 2
    explained /= np.maximum(volume, 1e-6 * own[i] * own[j])
    best = int(np.argmax(explained))
    total = float(np.sum(np.abs(model.values) ** 2))
    return _Start(np.array([grid[i[best]], grid[j[best]], 0.0]), total - float(explained[best]))
