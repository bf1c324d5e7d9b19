"""How far off a reading may be: from the signs that a strike gives to the uncertainty that is printed.

The signs are what the rooms leave open, how far the plain spectral peak disagrees, and how far a second
tone that beats with the first would move the reading. Nothing says how they add up, so their weights
were fitted, on synthesised strikes of other random seeds than the benchmark's, to hold the truth 96 to
97 times in 100 in every condition and to be no wider than that: they are what `python -m
tests.benchmarks.calibration` prints. Signs may be arrays, one value a strike; then so is the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Number: TypeAlias = "float | NDArray[np.float64]"

SHORT_DECAY = (10.0, 24.0)
"""A strike that is soon over leaves the room's answer alone to be heard (nepers a second: from, to)."""
BRIEF_S, LONG_S = 0.2, 0.3
"""Shorter and longer stretches than the final reading's: the provisional one and the update."""
SLOW_HZ = (280.0, 360.0)
"""Slow beats hide in the bass: two tones 20 cents apart turn once or not at all within the strike (full
weight up to the first frequency, none from the second)."""
SLOW_SD_CENTS = 0.4
"""Where the rooms leave this much open, slow beats may hide in full; where next to nothing, none."""
AMBIGUOUS_DB = 4.0
"""Two tones closer in power than this: which one is the stronger cannot be told in a room."""
MAX_SHIFT_CENTS = 40.0
DRY = (0.3, 0.5)
"""Likelihoods that no room is heard from which on that counts, and counts in full: noise hides the
smallest rooms, so it never comes near 1."""
FLOOR_CENTS = 0.0003
"""What is left without noise, room and second tone."""


@dataclass(frozen=True)
class Signs:
    """What tells of the error of one reading (cents, Hz, seconds, nepers a second).

    `dry` is the likelihood that no room is heard, `belief` how far the pair of tones is believed;
    `pair_*` are nought where there is no second tone, `shift_cents` is how far it would move a reading
    that does not believe in it.
    """

    hz: Number
    sd_cents: Number
    peak_cents: Number
    decay: Number
    dry: Number
    length_s: Number = 0.0
    belief: Number = 0.0
    shift_cents: Number = 0.0
    pair_sd_cents: Number = 0.0
    pair_apart_cents: Number = 0.0
    pair_ratio_db: Number = 99.0


@dataclass(frozen=True)
class Weights:
    """What each sign counts."""

    dry: float = 1.89
    wet: float = 1.92
    peak: float = 1.56
    peak_short: float = 0.55
    short: float = 1.5
    brief: float = 1.14
    long: float = 0.99
    slow_cents: float = 6.62
    shift: float = 1.41
    pair: float = 4.44
    pair_floor_cents: float = 0.2
    ambiguous: float = 1.2


FITTED = Weights()


def u95_cents(signs: Signs, weights: Weights = FITTED) -> NDArray[np.float64]:
    """The half width that is to hold the truth 95 times in 100."""
    dry = dryness(signs.dry)
    alone = weights.dry * signs.sd_cents
    single = np.sqrt(dry * np.square(alone) + (1.0 - dry) * np.square(_wet(signs, weights)))
    doubt = np.where(signs.pair_ratio_db < AMBIGUOUS_DB, weights.ambiguous * signs.pair_apart_cents, 0.0)
    pair = np.sqrt(
        np.square(weights.pair * signs.pair_sd_cents) + np.square(doubt) + weights.pair_floor_cents**2
    )
    return np.asarray(np.hypot((1.0 - signs.belief) * single + signs.belief * pair, FLOOR_CENTS))


def dryness(likelihood: Number) -> NDArray[np.float64]:
    """How far a strike counts as one without a room, 0 to 1."""
    return _rise(likelihood, DRY)


def _wet(signs: Signs, weights: Weights) -> NDArray[np.float64]:
    rooms = weights.wet * signs.sd_cents
    short = _rise(signs.decay, SHORT_DECAY)
    rooms *= 1.0 + (weights.short - 1.0) * short
    rooms *= np.where(
        signs.length_s > LONG_S, weights.long, np.where(signs.length_s < BRIEF_S, weights.brief, 1.0)
    )
    slow = weights.slow_cents * np.square(np.minimum(1.0, signs.sd_cents / SLOW_SD_CENTS))
    slow *= 1.0 - _rise(signs.hz, SLOW_HZ)
    shift = weights.shift * np.minimum(signs.shift_cents, MAX_SHIFT_CENTS)
    peak = (weights.peak + (weights.peak_short - weights.peak) * short) * signs.peak_cents
    return np.asarray(np.sqrt(rooms**2 + slow**2 + peak**2 + np.square(shift)))


def _rise(value: Number, between: tuple[float, float]) -> NDArray[np.float64]:
    """From 0 to 1 between two values."""
    low, high = between
    return np.asarray(np.clip((value - low) / (high - low), 0.0, 1.0))
