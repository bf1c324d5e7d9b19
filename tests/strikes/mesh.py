"""Generator 4, for examination only: a stiff ring under tension, hit by a felt mallet, stepped through time.

Nothing was ever fitted on these strikes, and nothing is to be. The ring is a chain of point masses around
a bottle, stepped by finite differences (explicit, 48 kHz); a mallet of its own mass meets it through felt
(force as a power of the compression) and leaves when the ring throws it off, more than once if need be. The
tension grows with the ring's stretch (as Kirchhoff's string's does, from memory), so strong strikes glide.
Extra mass at one place splits each mode in two. What is true follows from the scheme itself: the angles of
the eigenvalues of one linear step. Rooms are velvet noise (sparse signs, from memory), its noise a Voss sum.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import fftconvolve, lfilter

from tests.strikes.strike import Strike

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Sound = NDArray[np.float64]

RATE_HZ = 48_000
POINTS = 20
FELT_POWER = 2.3
AIR = 40.0
"""How much stiffer than its tension the ring is against swelling as a whole: the air inside hardly gives."""
BODY_LOSS = 150.0
"""Nepers a second: the ring swelling or moving as a whole is heard, and damped by what holds it, at once."""
OFF_NODE = 0.5
"""The microphone stands where the main mode is heard at least this much of its loudest."""
AWAY_S = 0.04
"""A mallet that has not touched for so long has left."""
LINEAR_FROM = 2e-5
"""Share of the tension that its own swing may still add (0.02 cents) when the ring is taken as linear."""
LEAD_S, TAIL_S = 0.6, 1.1
CONDITIONS = ("near", "room", "far", "glide 15", "glide 30", "twins", "short ring", "any bottle")
_ROUND = 2 * np.pi * np.arange(POINTS) / POINTS
_AS_A_WHOLE = (1.0 + 2.0 * np.cos(_ROUND[:, None] - _ROUND)) / POINTS
_NORMAL = 4 * np.sin(np.pi / POINTS) ** 2


@dataclass(frozen=True)
class _Ring:
    """Stiffnesses as squared angular frequencies a unit mass, losses in nepers a second."""

    mass: Sound
    tension: float
    bending: float
    bed: float
    loss: float
    loss_above: float
    stretch: float = 0.0


@dataclass(frozen=True)
class _Plan:
    hz: float
    ring_s: float
    direct_db: tuple[float, float] = (8.0, 20.0)
    glide_cents: float = 0.0
    twin_cents: float = 0.0


def make(condition: str, seed: int) -> Strike:
    """Strike number `seed` of a condition."""
    rng = np.random.default_rng([104, CONDITIONS.index(condition), seed])
    plan = _plan(condition, rng)
    ring, ear_at, true_hz = _shaped(plan, rng)
    tone = _struck(ring, plan.glide_cents, ear_at, rng)
    dry = np.concatenate([np.zeros(round(LEAD_S * RATE_HZ)), tone])
    heard = dry + fftconvolve(dry, _velvet(rng, float(rng.uniform(*plan.direct_db))))[: dry.size]
    heard *= 10 ** (-rng.uniform(3.0, 24.0) / 20) / np.max(np.abs(heard))
    noise = _voss(heard.size, rng)
    heard += noise / np.std(noise) * np.max(np.abs(heard)) * 10 ** (-rng.uniform(42.0, 65.0) / 20)
    target_hz = true_hz * 2 ** (float(np.clip(rng.normal(0.0, 45.0), -150.0, 150.0)) / 1200)
    return Strike(
        generator="mesh",
        condition=condition,
        samples=heard.astype(np.float32),
        sample_rate_hz=RATE_HZ,
        at_s=(LEAD_S,),
        true_hz=true_hz,
        target_hz=None if condition == "any bottle" else target_hz,
        glide_cents=plan.glide_cents,
    )


def _plan(condition: str, rng: np.random.Generator) -> _Plan:
    plan = _Plan(
        hz=float(np.exp(rng.uniform(np.log(130.0), np.log(1400.0)))),
        ring_s=float(np.exp(rng.uniform(np.log(0.35), np.log(1.8)))),
    )
    match condition:
        case "near":
            return replace(plan, direct_db=(20.0, 30.0))
        case "far":
            return replace(plan, direct_db=(0.0, 8.0))
        case "glide 15" | "glide 30":
            return replace(plan, direct_db=(8.0, 30.0), glide_cents=float(condition.split()[1]))
        case "twins":
            return replace(plan, direct_db=(8.0, 30.0), twin_cents=float(rng.uniform(2.0, 15.0)))
        case "short ring":
            return replace(plan, direct_db=(8.0, 30.0), ring_s=float(rng.uniform(0.1, 0.25)))
    return plan


def _bend(shape: Sound) -> Sound:
    """How much a shape bends from a circle's arc, along the first axis: n^2 - 1 for n waves."""
    curved = (2 * shape - np.roll(shape, 1, axis=0) - np.roll(shape, -1, axis=0)) / _NORMAL
    return np.asarray(curved - shape)


def _shaped(plan: _Plan, rng: np.random.Generator) -> tuple[_Ring, Sound, float]:
    """A ring with the main mode that is wanted, how its points reach the microphone, and the true pitch."""
    bends = float(_bend(np.cos(2 * _ROUND))[0])
    share = float(rng.uniform(0.0, 0.06))
    unit = (2 * np.pi * plan.hz) ** 2 / (bends + share * bends**2 + 0.05)
    loss, above = np.log(1000.0) / plan.ring_s, float(rng.uniform(0.3, 0.7))
    ring = _Ring(
        mass=np.ones(POINTS),
        tension=unit,
        bending=share * unit,
        bed=0.05 * unit,
        loss=loss * (1.0 - above),
        loss_above=loss * above / (bends + 1.0),
    )
    for _ in range(100):
        if plan.twin_cents:
            ring = _heavier(ring, plan.twin_cents, float(rng.uniform(0.0, 2 * np.pi)))
        ear_at = _ear_from(float(rng.uniform(0.0, 2 * np.pi)))
        pair = _main_pair(ring, ear_at)
        apart_db = 20 * np.log10(max(pair[0][0], 1e-9) / max(pair[1][0], 1e-9))
        off_node = pair[0][0] > OFF_NODE * _main_pair(ring, _ear_from(0.0))[0][0]
        if off_node and (not plan.twin_cents or 2.0 < apart_db < 14.0):
            break
    return ring, ear_at, pair[0][1]


def _ear_from(angle: float) -> Sound:
    """What each point adds at a microphone that stands in that direction."""
    return np.asarray(np.exp(1.5 * np.cos(_ROUND - angle)))


def _heavier(ring: _Ring, apart_cents: float, angle: float) -> _Ring:
    """Mass added around an angle until the main pair lies that far apart (the split grows with the mass)."""
    bump = np.exp(3.0 * (np.cos(_ROUND - angle) - 1.0))
    trial = replace(ring, mass=1.0 + 0.05 * bump)
    (_, one), (_, two) = _main_pair(trial, np.ones(POINTS))
    return replace(ring, mass=1.0 + 0.05 * bump * apart_cents / abs(1200 * np.log2(one / two)))


def _step(ring: _Ring) -> Sound:
    """One linear step of the scheme as a matrix over the present and the past shape."""
    one, dt = np.eye(POINTS), 1.0 / RATE_HZ
    stiff = ring.tension * _bend(one) + ring.bending * _bend(_bend(one)) + ring.bed * one
    stiff += AIR * ring.tension / POINTS
    lost = 2.0 * dt * (ring.loss * one + ring.loss_above * (_bend(one) + one) + BODY_LOSS * _AS_A_WHOLE)
    now = 2.0 * one - dt**2 * stiff / ring.mass[:, None] - lost
    return np.block([[now, lost - one], [one, np.zeros((POINTS, POINTS))]])


def _two_waves(values: Sound, shapes: Sound) -> NDArray[np.int_]:
    """Which two of the scheme's modes have two waves round the ring."""
    waves = np.abs(np.exp(-2j * _ROUND) @ shapes[:POINTS]) + np.abs(np.exp(2j * _ROUND) @ shapes[:POINTS])
    return np.argsort(-waves / np.linalg.norm(shapes[:POINTS], axis=0) * (values.imag > 0.0))[:2]


def _main_pair(ring: _Ring, ear_at: Sound) -> list[tuple[float, float]]:
    """Loudness at the microphone and pitch of the two modes with two waves round the ring, louder first."""
    values, shapes = np.linalg.eig(_step(ring))
    pushes = np.linalg.inv(shapes)[:, 0]
    found = []
    for k in _two_waves(values, shapes):
        loud = abs(pushes[k] * (ear_at @ shapes[:POINTS, k]))
        found.append((float(loud), float(np.angle(values[k]) * RATE_HZ / (2 * np.pi))))
    return sorted(found, reverse=True)


@dataclass(frozen=True)
class _Mallet:
    """Its mass in points of the ring, its speed a second, and how hard its felt is."""

    mass: float
    speed: float
    felt: float


def _struck(ring: _Ring, glide_cents: float, ear_at: Sound, rng: np.random.Generator) -> Sound:
    """The sound from the first touch on: what the microphone hears is how the ring is accelerated."""
    mass, contact_s = float(rng.uniform(0.5, 5.0)), float(rng.uniform(0.0008, 0.003))
    contact_s *= min(1.0, 2.0 * np.pi * 500.0 / np.sqrt(3.0 * ring.tension))
    speed = 2.9 / contact_s
    mallet = _Mallet(mass, speed, 0.5 * (FELT_POWER + 1.0) * mass * speed**2)
    if glide_cents:
        swing = _main_swing(ring, _hit(ring, mallet, round(0.02 * RATE_HZ)))
        ring = replace(ring, stretch=(2 ** (glide_cents / 600) - 1.0) / swing)
    count = round(TAIL_S * RATE_HZ)
    shapes = _hit(ring, mallet, count)
    way = np.concatenate([[0.0, 0.0], shapes @ ear_at, _left_alone(ring, shapes, ear_at, count)])
    sound = np.diff(way, 2)
    rub = rng.standard_normal(round(0.002 * RATE_HZ)) * 10 ** (-rng.uniform(12.0, 34.0) / 20)
    sound[: rub.size] += rub * np.hanning(rub.size) * np.max(np.abs(sound))
    return np.asarray(sound)


def _main_swing(ring: _Ring, shapes: Sound) -> float:
    """How much longer the main pair alone makes the ring when the mallet has left, over a turn."""
    values, modes = np.linalg.eig(_step(ring))
    shares = np.linalg.solve(modes, np.concatenate([shapes[-1], shapes[-2]]))
    swings = [2.0 * shares[k] * modes[:POINTS, k] for k in _two_waves(values, modes)]
    return float(sum(0.5 * (_lengthened(s.real) + _lengthened(s.imag)) for s in swings))


def _lengthened(shape: Sound) -> float:
    """How much longer a shape makes the ring (in the second order)."""
    slope = shape - np.roll(shape, 1)
    return float(slope @ slope / _NORMAL / POINTS)


def _hit(ring: _Ring, mallet: _Mallet, count: int) -> Sound:
    """Shape after shape (one a row) while the mallet is about, or the tension moves; `count` at most."""
    linear, bend, dt = _step(ring)[:POINTS], _bend(np.eye(POINTS)), 1.0 / RATE_HZ
    tightening = dt**2 * ring.tension * ring.stretch / ring.mass
    state, shapes = np.zeros(2 * POINTS), np.zeros((count, POINTS))
    head, speed, touched = 0.0, mallet.speed, 0
    for step in range(count):
        now = state[:POINTS]
        coming = linear @ state
        tighter = _lengthened(now) if ring.stretch else 0.0
        if tighter:
            coming -= tightening * tighter * (bend @ now)
        pressed = head - now[0]
        if pressed > 0.0:
            push, touched = mallet.felt * float(pressed) ** FELT_POWER, step
            coming[0] += dt**2 * push / ring.mass[0]
            speed -= dt * push / mallet.mass
        head += dt * speed
        state[POINTS:] = now
        state[:POINTS] = coming
        shapes[step] = coming
        if step - touched > AWAY_S * RATE_HZ and tighter * ring.stretch < LINEAR_FROM:
            return shapes[: step + 1]
    return shapes


def _left_alone(ring: _Ring, shapes: Sound, ear_at: Sound, count: int) -> Sound:
    """What follows at the microphone, the ring being linear from there on: a sum of its modes."""
    values, modes = np.linalg.eig(_step(ring))
    shares = np.linalg.solve(modes, np.concatenate([shapes[-1], shapes[-2]])) * (ear_at @ modes[:POINTS])
    steps = np.arange(1, count - len(shapes) + 1)
    heard = np.abs(shares) > 1e-9 * np.max(np.abs(shares))
    powers = np.log(values[heard].astype(complex))
    return np.asarray(sum((c * np.exp(p * steps)).real for c, p in zip(shares[heard], powers, strict=True)))


def _velvet(rng: np.random.Generator, direct_db: float) -> Sound:
    """A room without its direct sound: some echoes, then a bright tail and a dull one that lasts longer."""
    fall_60_s = float(rng.uniform(0.25, 0.9))
    count = round(fall_60_s * RATE_HZ)
    seconds = np.arange(count) / RATE_HZ
    tail = np.zeros(count)
    for share, dull in ((0.5, 0.0), (1.0, 0.8)):
        signs = np.zeros(count)
        at = np.arange(round(0.004 * RATE_HZ), count - 24, 24)
        at += rng.integers(0, 24, at.size)
        signs[at] = rng.choice((-1.0, 1.0), at.size)
        tail += lfilter([1.0 - dull], [1.0, -dull], signs * np.exp(-6.9 * seconds / (share * fall_60_s)))
    for at_s in rng.uniform(0.002, 0.03, 6):
        tail[round(at_s * RATE_HZ)] += rng.choice((-1.0, 1.0)) * rng.uniform(1.0, 3.0)
    return np.asarray(tail * 10 ** (-direct_db / 20) / np.linalg.norm(tail))


def _voss(count: int, rng: np.random.Generator) -> Sound:
    """Noise as a sum of steps, each held twice as long as the one before."""
    total = rng.standard_normal(count)
    for octave in range(1, 12):
        held = 1 << octave
        total += np.repeat(rng.standard_normal(count // held + 1), held)[:count]
    return total
