"""Generator 1, a modal bank: a mallet's contact force drives pairs of modes, heard in an image-source room.

The force is a Hertz contact: a pulse (half sine to the power 3/2) that shortens as the fifth root of the
speed (Hertz's law of impact, any handbook of contact mechanics; the durations are our guess). Each mode is
a resonance driven by that force, so a soft or slow mallet wakes the low ones. Modes come in nearly equal
pairs, as on any body of revolution that is not quite round. A main mode may glide: its pitch stands above
its resting value by as much as its amplitude squared (a wall stretched by its own swing).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import fftconvolve, lfilter

from tests.strikes import image_rooms
from tests.strikes.strike import Strike

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE_HZ = image_rooms.RATE_HZ
LEAD_S, TAIL_S = 0.6, 1.1
NEAR_M, ROOM_M, FAR_M = (0, 1, 2), (2, 3, 4), (4, 5, 6)
"""Which of the rooms' distances: 0.1 to 0.4 m, 0.4 to 1.4 m, 1.4 to 3 m."""
CONDITIONS = (
    "near",
    "room",
    "far",
    "glide 15",
    "glide 30",
    "twins",
    "short ring",
    "first fill",
    "any bottle",
)
RATIOS = (1.0, 1.44, 1.93, 2.37, 2.95, 3.71)
FALL_60_DB = float(np.log(1000.0))


@dataclass(frozen=True)
class _Plan:
    hz: float
    target_hz: float | None
    half_width_cents: float = 220.0
    ring_s: float = 0.8
    distances: tuple[int, ...] = ROOM_M
    glide_cents: float = 0.0
    twin_cents: float = 0.0
    twin_db: float = -200.0
    speed: float = 1.0


def make(condition: str, seed: int) -> Strike:
    """Strike number `seed` of a condition, once, in noise 42 to 65 dB under its peak."""
    rng = np.random.default_rng([101, CONDITIONS.index(condition), seed])
    plan = _plan(condition, rng)
    tone = _struck(plan, rng)
    response = image_rooms.responses(seed % image_rooms.ROOMS)[int(rng.choice(plan.distances))]
    dry = np.concatenate([np.zeros(round(LEAD_S * RATE_HZ)), tone])
    heard = fftconvolve(dry, response)[: dry.size]
    heard *= 10 ** (-rng.uniform(3.0, 24.0) / 20) / np.max(np.abs(heard))
    hiss = lfilter([1.0], [1.0, -0.9], rng.standard_normal(heard.size))
    heard += hiss / np.std(hiss) * np.max(np.abs(heard)) * 10 ** (-rng.uniform(42.0, 65.0) / 20)
    return Strike(
        generator="modal",
        condition=condition,
        samples=heard.astype(np.float32),
        sample_rate_hz=RATE_HZ,
        at_s=(LEAD_S,),
        true_hz=plan.hz,
        target_hz=plan.target_hz,
        half_width_cents=plan.half_width_cents,
        glide_cents=plan.glide_cents,
    )


def _plan(condition: str, rng: np.random.Generator) -> _Plan:
    target_hz = 440.0 * 2 ** ((int(rng.integers(48, 90)) - 69) / 12)
    away = float(np.clip(rng.normal(0.0, 45.0), -150.0, 150.0))
    plan = _Plan(
        hz=target_hz * 2 ** (away / 1200),
        target_hz=target_hz,
        ring_s=float(np.exp(rng.uniform(np.log(0.35), np.log(2.0)))),
        speed=float(rng.uniform(0.25, 1.0)),
    )
    match condition:
        case "near":
            return replace(plan, distances=NEAR_M)
        case "far":
            return replace(plan, distances=FAR_M)
        case "glide 15" | "glide 30":
            return replace(plan, distances=NEAR_M + ROOM_M, glide_cents=float(condition.split()[1]))
        case "twins":
            apart = float(rng.uniform(2.0, 15.0)) * float(rng.choice((-1.0, 1.0)))
            twin_db = -float(rng.uniform(2.0, 14.0))
            return replace(plan, distances=NEAR_M + ROOM_M, twin_cents=apart, twin_db=twin_db)
        case "short ring":
            return replace(plan, distances=NEAR_M + ROOM_M, ring_s=float(rng.uniform(0.1, 0.25)))
        case "first fill":
            shifted_hz = target_hz * 2 ** (float(rng.uniform(-550.0, 550.0)) / 1200)
            return replace(plan, hz=shifted_hz, half_width_cents=700.0)
        case "any bottle":
            return replace(plan, target_hz=None)
    return plan


def _struck(plan: _Plan, rng: np.random.Generator) -> NDArray[np.float64]:
    """The sound from the first touch on, its main mode about 1."""
    force = _force(plan, rng)
    count = round(TAIL_S * RATE_HZ)
    main = _mode(plan.hz, plan.ring_s, force, count, plan.glide_cents)
    unit = np.max(np.abs(main[round(0.01 * RATE_HZ) :]))
    total = main / unit
    twin_hz = plan.hz * 2 ** (plan.twin_cents / 1200)
    total += 10 ** (plan.twin_db / 20) / unit * _mode(twin_hz, plan.ring_s, force, count, plan.glide_cents)
    for ratio in RATIOS[1:]:
        total += _upper_pair(plan, ratio, force, count, rng) / unit
    total[: force.size] += _touch(force, rng)
    return np.asarray(total)


def _upper_pair(
    plan: _Plan, ratio: float, force: NDArray[np.float64], count: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """A pair of modes above the main one, up to 20 cents apart, together weaker than it."""
    hz = plan.hz * ratio * float(rng.uniform(0.95, 1.05))
    if hz > 0.4 * RATE_HZ:
        return np.zeros(count)
    ring_s = plan.ring_s * ratio ** -float(rng.uniform(0.5, 1.5))
    other_hz = hz * 2 ** (float(rng.uniform(-20.0, 20.0)) / 1200)
    share, other_share = float(rng.uniform(0.05, 0.7)), float(rng.uniform(0.1, 0.9))
    pair = _mode(hz, ring_s, force, count, 0.0) + other_share * _mode(other_hz, ring_s, force, count, 0.0)
    return np.asarray(share / (1.0 + other_share) * pair)


def _touch(force: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """What is heard of the contact itself: the wall pushed in, and the rub of the mallet's head."""
    push = np.gradient(np.gradient(force))
    rub = force * rng.standard_normal(force.size) * 10 ** (-rng.uniform(14.0, 36.0) / 20)
    return np.asarray(push / np.max(np.abs(push)) * float(rng.uniform(0.0, 0.4)) + rub)


def _force(plan: _Plan, rng: np.random.Generator) -> NDArray[np.float64]:
    contact_s = float(rng.uniform(0.0008, 0.003)) * min(1.0, 440.0 / plan.hz) * plan.speed**-0.2
    count = max(4, round(contact_s * RATE_HZ))
    return np.asarray(np.sin(np.pi * (np.arange(count) + 0.5) / count) ** 1.5)


def _mode(
    hz: float, ring_s: float, force: NDArray[np.float64], count: int, glide_cents: float
) -> NDArray[np.float64]:
    """A resonance driven by the force; its pitch falls as its power does, from `glide_cents` to nothing."""
    seconds = np.arange(count) / RATE_HZ
    decay = FALL_60_DB / ring_s
    cents = glide_cents * np.exp(-2.0 * decay * seconds)
    turns = np.cumsum(hz * 2 ** (cents / 1200)) / RATE_HZ
    free = np.exp(2j * np.pi * turns - decay * seconds)
    driven = np.zeros(count, dtype=complex)
    driven[: force.size] = force / free[: force.size]
    return np.asarray((free * np.cumsum(driven)).imag)
