"""How far off a reading may be: from the signs that a strike gives to the uncertainty that is printed.

The signs are what the rooms leave open, with and without a glide; how far the plain spectral peak disagrees;
how far the pitch moved since the first moments; how far a second tone that beats with the first would move
it. Nothing says how they add up, so their weights were fitted, on strikes of several generators that share
no code, to hold the truth 96 to 97 times in 100: they are what `python -m tests.benchmarks.calibration`
prints. Signs may be arrays, one value a strike; then so is the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Number: TypeAlias = "float | NDArray[np.float64]"

BRIEF_S = 0.2
"""A shorter stretch than this is that of the first hint."""
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
    """What the error of one reading is foretold by (cents, Hz, seconds, nepers a second).

    `settled` is 1 where the late stretch was read; `dry` the likelihood that no room is heard; `moved_cents`
    how far the first moments lie from the answer, `moved_sd_cents` how well those are known; `bent_cents` how
    far a glide moved the answer, `glide_sd_cents` how well the pitch is known if there is one; `gliding` and
    `belief` how far glide and pair are believed. `pair_*` are nought where there is no second tone,
    `shift_cents` is how far it would move a reading that does not believe in it.
    """

    hz: Number
    sd_cents: Number
    peak_cents: Number
    decay: Number
    dry: Number
    moved_cents: Number = 0.0
    moved_sd_cents: Number = 0.0
    bent_cents: Number = 0.0
    glide_sd_cents: Number = 0.0
    gliding: Number = 0.0
    settled: Number = 0.0
    length_s: Number = 0.0
    belief: Number = 0.0
    shift_cents: Number = 0.0
    pair_sd_cents: Number = 0.0
    pair_apart_cents: Number = 0.0
    pair_ratio_db: Number = 99.0


@dataclass(frozen=True)
class Weights:
    """What each sign counts."""

    dry: float = 2.9
    dry_bent: float = 2.72
    dry_moved: float = 0.93
    fit: float = 2.3
    peak: float = 1.38
    moved: float = 1.1
    bent: float = 0.88
    glide_fit: float = 1.09
    shift: float = 0.34
    pair: float = 8.0
    early: float = 1.11
    brief: float = 4.05
    ambiguous: float = 1.0
    pair_floor_cents: float = 0.2


FREE = (
    "dry_bent",
    "dry_moved",
    "peak",
    "bent",
    "glide_fit",
    "shift",
    "pair",
    "early",
    "brief",
)
"""Those that are fitted. The others are set by hand: `dry` is half again the 1.96 that noise alone needs;
`fit` and `moved` are as narrow as bars and tines of a soundfont let them be, whose first moments lie
apart. `pair` and `glide_fit` are a quarter and four fifths wider than the fit has them (6.46, 0.6), so that
twins hold nine times in ten."""
FITTED = Weights()


def u95_cents(signs: Signs, weights: Weights = FITTED) -> NDArray[np.float64]:
    """The half width that is to hold the truth 95 times in 100."""
    dry = dryness(signs.dry)
    alone = np.square(weights.dry * signs.sd_cents) + np.square(weights.dry_bent * signs.bent_cents)
    noise = np.square(2.0 * signs.moved_sd_cents)
    alone = alone + weights.dry_moved**2 * np.maximum(np.square(signs.moved_cents) - noise, 0.0)
    single = np.sqrt(dry * alone + (1.0 - dry) * np.square(_wet(signs, weights)))
    doubt = np.where(signs.pair_ratio_db < AMBIGUOUS_DB, weights.ambiguous * signs.pair_apart_cents, 0.0)
    pair = np.sqrt(
        np.square(weights.pair * signs.pair_sd_cents) + np.square(doubt) + weights.pair_floor_cents**2
    )
    believed = np.asarray(signs.belief)
    wide = np.sqrt(np.square((1.0 - believed) * single) + np.square(believed * pair))
    return np.asarray(np.hypot(wide, FLOOR_CENTS))


def dryness(likelihood: Number) -> NDArray[np.float64]:
    """How far a strike counts as one without a room, 0 to 1."""
    low, high = DRY
    return np.asarray(np.clip((likelihood - low) / (high - low), 0.0, 1.0))


def _wet(signs: Signs, weights: Weights) -> NDArray[np.float64]:
    squares = np.square(weights.fit * signs.sd_cents) + np.square(weights.peak * signs.peak_cents)
    squares = squares + np.square(weights.moved * signs.moved_cents)
    squares = squares + np.square(weights.bent * signs.bent_cents)
    squares = squares + np.square(weights.glide_fit * signs.glide_sd_cents)
    squares = squares + np.square(weights.shift * np.minimum(signs.shift_cents, MAX_SHIFT_CENTS))
    brief = np.where(signs.length_s < BRIEF_S, weights.brief, 1.0)
    return np.asarray(np.sqrt(squares) * np.where(signs.settled, 1.0, weights.early) * brief)
