"""Synthesised strikes under conditions that matter, each with its true pitch; all from fixed seeds.

Every condition but the dry ones stands in a room: the direct-to-reverberant ratio (DRR) is that of a
microphone some steps away (6 to 16 dB), at the bottle (26 dB), or anything between. Noise is pink,
its level given against the RMS of the strike between 12 and 250 ms. The sounds are our own invention.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.reading import Expectation
from rounds.notes import Note, cents, shifted_hz
from rounds.simulation.sound import BOTTLE_PARTIALS, Doublet, Partial, clipped, room, room_noise, struck

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEAD_S = 0.45
"""Room noise, and whatever rang before, ahead of each strike."""
TAIL_S = 0.7
CONDITIONS = (
    "quiet",
    "room 25 dB",
    "set 12 dB",
    "reverberant",
    "close microphone",
    "other ringing",
    "clipping",
    "short ring",
    "loud partial",
    "doublet",
    "bounce",
    "first fill",
)
DRY = ("quiet", "room 25 dB", "set 12 dB")
ROOM_T60_S = (0.25, 0.9)


@dataclass(frozen=True)
class Case:
    """One strike: the sound, where it begins, its pitch, and what the ear is told to expect."""

    condition: str
    samples: NDArray[np.float32]
    sample_rate_hz: int
    onset_index: int
    true_hz: float
    expectation: Expectation


@dataclass(frozen=True)
class _Plan:
    hz: float
    target_hz: float
    half_width_cents: float
    ring_s: float
    rate_hz: int
    drr_db: float | None
    snr_db: float
    partials: tuple[Partial, ...] = BOTTLE_PARTIALS
    doublet: Doublet | None = None
    click_db: float = -12.0


def make(condition: str, number: int, seed: int) -> Case:
    """Case `number` of a condition."""
    rng = np.random.default_rng([seed, CONDITIONS.index(condition), number])
    plan = _plan(condition, rng, 44_100 if number % 2 else 48_000)
    count = round((LEAD_S + TAIL_S) * plan.rate_hz)
    onset = round(LEAD_S * plan.rate_hz)
    dry = np.zeros(count, np.float32)
    dry[onset:] = _struck(plan, rng, count - onset)
    if condition == "bounce":
        dry = _bounced(dry, plan, rng, onset)
    level_db = _rms_db(dry[onset + round(0.012 * plan.rate_hz) : onset + round(0.25 * plan.rate_hz)])
    if condition == "other ringing":
        dry += _other(plan, rng, count)
    heard = dry
    if plan.drr_db is not None:
        heard = room(dry, plan.drr_db, rng.uniform(*ROOM_T60_S), rng, sample_rate_hz=plan.rate_hz)
    heard = heard + room_noise(count, rng, level_db - plan.snr_db, sample_rate_hz=plan.rate_hz)
    heard = heard * 10 ** (rng.uniform(-24.0, 0.0) / 20)
    if condition == "clipping":
        heard = clipped(heard, rng.uniform(3.0, 12.0))
    expectation = Expectation(plan.target_hz, plan.half_width_cents)
    return Case(condition, heard.astype(np.float32), plan.rate_hz, onset, plan.hz, expectation)


def _plan(condition: str, rng: np.random.Generator, rate_hz: int) -> _Plan:
    note = Note(int(rng.integers(48, 92)))
    away_cents = float(np.clip(rng.normal(0.0, 40.0), -180.0, 180.0))
    plan = _Plan(
        hz=shifted_hz(note.hz(), away_cents),
        target_hz=note.hz(),
        half_width_cents=220.0,
        ring_s=float(rng.uniform(0.3, 1.2)),
        rate_hz=rate_hz,
        drr_db=float(rng.uniform(6.0, 26.0)),
        snr_db=float(rng.uniform(25.0, 45.0)),
        partials=tuple(
            Partial(
                p.ratio * float(rng.uniform(0.97, 1.03)), p.level_db + float(rng.uniform(-4, 4)), p.ring_share
            )
            for p in BOTTLE_PARTIALS
        ),
        click_db=float(rng.uniform(-20.0, -6.0)),
    )
    return _changed(condition, plan, rng)


def _changed(condition: str, plan: _Plan, rng: np.random.Generator) -> _Plan:
    match condition:
        case "quiet":
            return replace(plan, drr_db=None, snr_db=50.0)
        case "room 25 dB":
            return replace(plan, drr_db=None, snr_db=25.0)
        case "set 12 dB":
            return replace(plan, drr_db=None, snr_db=12.0)
        case "reverberant":
            return replace(plan, drr_db=float(rng.uniform(6.0, 16.0)), snr_db=40.0)
        case "close microphone":
            return replace(plan, drr_db=26.0, snr_db=40.0)
        case "short ring":
            return replace(plan, ring_s=float(rng.uniform(0.08, 0.2)))
        case "loud partial":
            first = replace(plan.partials[0], level_db=float(rng.uniform(3.0, 9.0)))
            return replace(plan, partials=(first, *plan.partials[1:]))
        case "doublet":
            split = float(rng.uniform(10.0, 30.0)) * float(rng.choice((-1.0, 1.0)))
            return replace(plan, doublet=Doublet(split, float(rng.uniform(-12.0, -1.0))))
        case "first fill":
            hz = shifted_hz(plan.target_hz, float(rng.uniform(-600.0, 600.0)))
            return replace(plan, hz=hz, half_width_cents=700.0)
        case _:
            return plan


def _struck(plan: _Plan, rng: np.random.Generator, count: int) -> NDArray[np.float32]:
    return struck(
        plan.hz,
        rng,
        sample_rate_hz=plan.rate_hz,
        duration_s=count / plan.rate_hz,
        ring_s=plan.ring_s,
        loudness_dbfs=-12.0,
        partials=plan.partials,
        click_db=plan.click_db,
        doublet=plan.doublet,
    )[:count]


def _bounced(
    dry: NDArray[np.float32], plan: _Plan, rng: np.random.Generator, onset: int
) -> NDArray[np.float32]:
    """The mallet touches again 30 to 90 ms later, 3 to 10 dB weaker."""
    second = onset + round(float(rng.uniform(0.03, 0.09)) * plan.rate_hz)
    again = _struck(plan, rng, dry.size - second) * 10 ** (-float(rng.uniform(3.0, 10.0)) / 20)
    both = dry.copy()
    both[second:] += again.astype(np.float32)
    return both


def _other(plan: _Plan, rng: np.random.Generator, count: int) -> NDArray[np.float32]:
    """Another bottle, struck 0.25 to 0.4 s before, up to 8 dB weaker; 1 to 12 semitones away."""
    away = float(rng.uniform(80.0, 1200.0)) * float(rng.choice((-1.0, 1.0)))
    hz = shifted_hz(plan.hz, away)
    begin = round((LEAD_S - float(rng.uniform(0.25, 0.4))) * plan.rate_hz)
    other = replace(plan, hz=hz, ring_s=float(rng.uniform(0.3, 1.2)))
    samples = np.zeros(count, np.float32)
    samples[begin:] = _struck(other, rng, count - begin) * 10 ** (-float(rng.uniform(0.0, 8.0)) / 20)
    return samples


def _rms_db(samples: NDArray[np.float32]) -> float:
    return 20.0 * math.log10(max(float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))), 1e-9))


def off_cents(hz: float | None, case: Case) -> float:
    """Error in cents; infinite when there is no reading."""
    return math.inf if hz is None or hz <= 0.0 else cents(hz, case.true_hz)
