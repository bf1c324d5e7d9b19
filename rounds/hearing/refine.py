"""The frequency of one decaying tone in a room, with the uncertainty that the room leaves.

The tone is straightened by its decay and fitted in every room of the table at once; the rooms are
averaged by their likelihood (`rounds.hearing.rooms`). One method then covers both ends: early samples
count where the room outlives the tone, late ones where the tone outlives the room, all where there is
only noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.baseband import decay_of
from rounds.hearing.rooms import Courses, Rooms, courses, rooms

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband

DECAY_STEP, FAST_STEP, FAST = 2.0, 4.0, 12.0
"""Decays are rounded to this (nepers a second, the second above the third), so that tables can be kept."""
TIME_STEP_US = 10
"""Times are rounded to this for the same reason: two sample rates then share a table."""
DECAY_REACH = 4.0
"""How far the decay may move still: the tables' steps, and what noise does to its first estimate."""
STEPS = 3
MIN_COUNT = 6


@dataclass(frozen=True)
class Tone:
    """One tone as fitted: standard deviation in Hz, decay in nepers a second.

    `evidence` is the log likelihood of the one tone, whatever the room.
    """

    hz: float
    sd_hz: float
    decay: float
    evidence: float
    dry: float
    """How likely it is that the room adds nothing that noise does not hide, 0 to 1."""


def table_for(series: Baseband, decay: float) -> Rooms:
    """The rooms for a series with a decay."""
    step = DECAY_STEP if decay < FAST else FAST_STEP
    kept = step * round(decay / step)
    first_us, step_us = (
        TIME_STEP_US * round(1e6 * s / TIME_STEP_US) for s in (series.first_s, series.step_s)
    )
    return rooms(series.values.size, first_us, step_us, kept)


def straightened(series: Baseband, table: Rooms) -> NDArray[np.complex128]:
    """The series with the table's decay taken out."""
    return np.asarray(series.values * np.exp(table.decay * table.times_s))


def fit(series: Baseband, half_width_hz: float) -> Tone | None:
    """The tone within `half_width_hz` of the carrier; None when the series is too short."""
    if series.values.size < MIN_COUNT:
        return None
    decay = decay_of(series)
    table = table_for(series, decay)
    straight = straightened(series, table)
    limit = 2 * np.pi * half_width_hz
    turn = fading = 0.0
    for _ in range(STEPS):
        found = courses(table, straight, np.array([1j * turn - fading]))
        turn += float(np.clip(mean_move(found, 0), -limit, limit))
        fading = float(np.clip(fading - found.weights @ found.moves[:, 0].real, -DECAY_REACH, DECAY_REACH))
    return Tone(
        hz=series.carrier_hz + turn / (2 * np.pi),
        sd_hz=sd_hz(found, 0),
        decay=decay,
        evidence=found.log_evidence,
        dry=float(found.weights @ table.dry),
    )


def mean_move(found: Courses, tone: int) -> float:
    """The change of angular frequency, averaged over the rooms."""
    return float(found.weights @ found.moves[:, tone].imag)


def sd_hz(found: Courses, tone: int) -> float:
    """Standard deviation of a tone's frequency: within the rooms, and between them."""
    moves = found.moves[:, tone].imag
    variance = found.variances[:, tone] + (moves - found.weights @ moves) ** 2
    return float(np.sqrt(found.weights @ variance)) / (2 * np.pi)
