"""Rooms by the image-source method of pyroomacoustics: shoe boxes, a bottle and a microphone at a distance.

Allen & Berkley 1979, Image method for efficiently simulating small-room acoustics, as implemented in
pyroomacoustics (an outside library). Each room is worked out once a process.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE_HZ = 48_000
ROOMS = 24
DISTANCES_M = (0.1, 0.2, 0.4, 0.8, 1.4, 2.1, 3.0)
MAX_ORDER = 36
"""Reflections followed: some 0.4 s of a living room's tail; later ones are under its noise."""
LENGTH_S = 0.9


@cache
def responses(room: int) -> tuple[NDArray[np.float64], ...]:
    """Impulse responses of room number `room`, one a distance, direct sound at sample 0."""
    import pyroomacoustics as pra

    rng = np.random.default_rng([1979, room])
    sides_m = rng.uniform((3.2, 3.2, 2.4), (9.0, 7.5, 4.2))
    absorption, order = pra.inverse_sabine(float(rng.uniform(0.25, 0.9)), sides_m)
    box = pra.ShoeBox(
        sides_m, fs=RATE_HZ, materials=pra.Material(absorption), max_order=min(order, MAX_ORDER)
    )
    bottle_m = np.array([*rng.uniform(0.25, 0.5, 2) * sides_m[:2], rng.uniform(0.8, 1.4)])
    box.add_source(bottle_m)
    box.add_microphone_array(np.array([_place(bottle_m, d, sides_m, rng) for d in DISTANCES_M]).T)
    box.compute_rir()
    return tuple(_from_direct(box.rir[k][0], d) for k, d in enumerate(DISTANCES_M))


def _place(
    bottle_m: NDArray[np.float64], distance_m: float, sides_m: NDArray[np.float64], rng: np.random.Generator
) -> NDArray[np.float64]:
    """A place that far from the bottle, a hand's breadth or more from every wall."""
    for _ in range(500):
        way = rng.standard_normal(3) * (1.0, 1.0, 0.4)
        there = bottle_m + distance_m * way / np.linalg.norm(way)
        if np.all(there > 0.1) and np.all(there < sides_m - 0.1):
            return np.asarray(there)
    raise ValueError(f"no place {distance_m} m from the bottle in a room of {sides_m} m")


def _from_direct(response: NDArray[np.float64], distance_m: float) -> NDArray[np.float64]:
    """Cut at the direct sound, whose level becomes 1."""
    first = int(np.argmax(np.abs(response) > 0.5 * np.max(np.abs(response))))
    cut = response[max(0, first - 20) : first + round(LENGTH_S * RATE_HZ)]
    return np.asarray(cut * 4.0 * np.pi * distance_m)
