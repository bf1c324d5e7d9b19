"""The pitch of the tone at a spectral peak, and how far off it may be.

The uncertainty has three parts: what the rooms leave (`Tone.sd_hz`), how far the plain spectral peak
disagrees, and how far a pair of beating tones, where it explains the strike better, would move the
reading. Their weights were fitted on synthesised strikes (other random seeds than the benchmark's) so
that the result holds the truth 95 times in 100; the benchmark checks that for each condition.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.hearing.baseband import demodulate
from rounds.hearing.doublet import Pair, fit_pair
from rounds.hearing.refine import Tone, fit, table_for
from rounds.hearing.struckness import coherence, early
from rounds.notes import CENTS_PER_NEPER, cents

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband

SEARCH_SHARE = 0.03
"""How far a tone may lie from its peak, as a share of its frequency."""
DRY = 0.3
"""From this likelihood on the room is taken to add nothing."""
DRY_WEIGHT = 1.95
WET_WEIGHT = 2.4
PEAK_WEIGHT = 0.9
BASS_HZ = 260.0
BASS_FACTOR = 1.5
SLOW_HZ = 320.0
SLOW_CENTS = 5.0
SLOW_SD_CENTS = 0.7
"""Slow beats hide in the bass: two tones 20 cents apart turn once or not at all within the strike. Where
the room leaves this much open, a reading below this frequency may be off by so much for that alone."""
SHORT_DECAY = (12.0, 36.0)
SHORT_FACTOR = 2.3
"""A strike that is soon over leaves the room's answer alone to be heard (nepers a second: from, to)."""
LONG_S = 0.3
LONG_FACTOR = 1.3
"""The later part of a long stretch is more room than tone."""
FLOOR_CENTS = 0.003

SUSPECT_GAIN = 2.0
CERTAIN_GAIN = 15.0
"""Log likelihood ratios from which on a pair of tones is allowed for, and believed."""
PAIR_CENTS = (8.0, 42.0)
PAIR_MAX_DB = 15.0
PAIR_AMBIGUOUS_DB = 4.0
"""Two tones closer in power than this: which one is the stronger cannot be told in a room."""
PAIR_FLOOR_CENTS = 0.2
PAIR_WEIGHT = 6.0
PAIR_SHIFT_WEIGHT = 1.1
PAIR_MAX_SHIFT_CENTS = 40.0
PAIR_MAX_SD = 0.25
"""A pair is believed only where its pitch is known to a quarter of its distance."""


@dataclass(frozen=True)
class Pitch:
    """A pitch with its uncertainty, and two of the marks of a struck tone (`rounds.hearing.struckness`).

    `beats_cents` is the distance of a second tone that beats with it, where there is one.
    """

    hz: float
    u95_cents: float
    decay: float
    coherence: float
    early: float
    beats_cents: float | None = None


def measure_pitch(
    tone: NDArray[np.float64], sample_rate_hz: int, start_s: float, peak_hz: float, *, clipped: bool
) -> Pitch | None:
    """The pitch near a peak; None when the stretch is too short.

    Args:
        tone: The strike without its attack.
        sample_rate_hz: Its rate.
        start_s: How long after the onset it begins.
        peak_hz: The spectral peak.
        clipped: A clipped strike does not decay as it should, which looks like beating.
    """
    series = demodulate(tone, sample_rate_hz, peak_hz, start_s)
    single = fit(series, SEARCH_SHARE * peak_hz)
    if single is None or not single.hz > 0.0:
        return None
    marks = coherence(series.values), early(series.values)
    if single.dry > DRY:
        u95 = math.hypot(DRY_WEIGHT * _relative(single.sd_hz, single.hz), FLOOR_CENTS)
        return Pitch(single.hz, u95, single.decay, *marks)
    pair = None if clipped else _pair(series.moved(single.hz), single)
    if pair is not None and _believed(pair):
        apart = abs(cents(pair.hz, pair.other_hz))
        return Pitch(pair.hz, _pair_u95(pair), single.decay, *marks, beats_cents=apart)
    shift = 0.0
    if pair is not None and pair.gain > SUSPECT_GAIN:
        shift = min(abs(cents(pair.hz, single.hz)), PAIR_MAX_SHIFT_CENTS)
    return Pitch(
        single.hz, _wet_u95(single, peak_hz, shift, tone.size / sample_rate_hz), single.decay, *marks
    )


def _relative(sd_hz: float, hz: float) -> float:
    return CENTS_PER_NEPER * sd_hz / hz


def _pair(series: Baseband, single: Tone) -> Pair | None:
    return fit_pair(series, table_for(series, single.decay), single.evidence)


def _believed(pair: Pair) -> bool:
    apart = abs(cents(pair.hz, pair.other_hz))
    return (
        pair.gain > CERTAIN_GAIN
        and PAIR_CENTS[0] < apart < PAIR_CENTS[1]
        and pair.ratio_db < PAIR_MAX_DB
        and _relative(pair.sd_hz, pair.hz) < PAIR_MAX_SD * apart
    )


def _pair_u95(pair: Pair) -> float:
    apart = abs(cents(pair.hz, pair.other_hz))
    doubt = 1.2 * apart if pair.ratio_db < PAIR_AMBIGUOUS_DB else 0.0
    return math.hypot(PAIR_WEIGHT * _relative(pair.sd_hz, pair.hz), doubt, PAIR_FLOOR_CENTS)


def _wet_u95(single: Tone, peak_hz: float, shift_cents: float, length_s: float) -> float:
    factor = BASS_FACTOR if single.hz < BASS_HZ else 1.0
    factor *= LONG_FACTOR if length_s > LONG_S else 1.0
    low, high = SHORT_DECAY
    factor *= 1.0 + (SHORT_FACTOR - 1.0) * min(1.0, max(0.0, (single.decay - low) / (high - low)))
    sd_cents = _relative(single.sd_hz, single.hz)
    slow = SLOW_CENTS * min(1.0, sd_cents / SLOW_SD_CENTS) if single.hz < SLOW_HZ else 0.0
    return math.hypot(
        WET_WEIGHT * factor * sd_cents,
        slow,
        PEAK_WEIGHT * cents(peak_hz, single.hz),
        PAIR_SHIFT_WEIGHT * shift_cents,
        FLOOR_CENTS,
    )
