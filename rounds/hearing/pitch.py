"""The pitch of the tone at a spectral peak, and how far off it may be.

Three answers are at hand: the fit that knows rooms, the plain spectral peak, and the stronger of two
tones that beat. The fit is the best one in theory and leans on the first moments of a strike; the peak
weighs all of it evenly. In a room they err in different directions, so for a tone that rings on their
mean is as good as the better one, and steadier on real instruments, whose first moments hold more than
a click. The pair is believed by degrees, so that readings of like strikes do not jump.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.hearing.baseband import demodulate
from rounds.hearing.certainty import Signs, dryness, u95_cents
from rounds.hearing.doublet import Pair, fit_pair
from rounds.hearing.refine import Tone, fit, table_for
from rounds.hearing.rooms import DECAY_OF_T60
from rounds.hearing.struckness import coherence, early
from rounds.notes import CENTS_PER_NEPER, cents, shifted_hz

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SEARCH_SHARE = 0.03
"""How far a tone may lie from its peak, as a share of its frequency."""
DRY = 0.3
"""From this likelihood on the room is taken to add nothing, and no pair is looked for."""
PEAK_SHARE = 0.6
PEAK_RING_S = (0.3, 0.6)
"""The peak has no say for tones that ring shorter than the first, and its full share from the second on."""

SUSPECT_GAIN = 2.0
BELIEF_GAIN = (5.0, 12.0)
"""Log likelihood ratios from which on a pair of tones is allowed for, begins to be believed, and is."""
PAIR_CENTS = (8.0, 42.0)
PAIR_MAX_DB = 15.0
PAIR_MAX_SD = 0.25
"""A pair is believed only where its pitch is known to a quarter of its distance."""
PEAK_BETWEEN = (-0.25, 0.3)
"""... and only where the spectral peak lies by its stronger tone (0) rather than its weaker (1): a
tremolo, a partial's beginning and a room's echo make pairs too, and those do not."""


@dataclass(frozen=True)
class Pitch:
    """A pitch with its uncertainty, and two of the marks of a struck tone (`rounds.hearing.struckness`).

    `beats_cents` is the distance of a second tone that beats with it, where there is one; `signs` are
    what the uncertainty was made of.
    """

    hz: float
    u95_cents: float
    decay: float
    coherence: float
    early: float
    beats_cents: float | None
    signs: Signs


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
    hz = _with_peak(single, peak_hz)
    pair = None
    if not clipped and single.dry <= DRY:
        pair = fit_pair(series.moved(single.hz), table_for(series, single.decay), single.evidence)
    belief = 0.0 if pair is None else _belief(pair, peak_hz)
    signs = _signs(single, peak_hz, hz, pair, belief)
    signs = replace(signs, length_s=tone.size / sample_rate_hz)
    if pair is not None:
        hz = shifted_hz(hz, belief * cents(pair.hz, hz))
    return Pitch(
        hz=hz,
        u95_cents=float(u95_cents(signs)),
        decay=single.decay,
        coherence=coherence(series.values),
        early=early(series.values),
        beats_cents=abs(cents(pair.hz, pair.other_hz)) if pair is not None and belief > 0.5 else None,
        signs=signs,
    )


def _with_peak(single: Tone, peak_hz: float) -> float:
    """The mean of the fit and the peak, as far as the tone rings and a room is heard."""
    low_s, high_s = PEAK_RING_S
    ring_s = DECAY_OF_T60 / max(single.decay, 0.1)
    rings_on = min(1.0, max(0.0, (ring_s - low_s) / (high_s - low_s)))
    share = PEAK_SHARE * rings_on * (1.0 - float(dryness(single.dry)))
    return shifted_hz(single.hz, share * cents(peak_hz, single.hz))


def _belief(pair: Pair, peak_hz: float) -> float:
    """How far a pair is believed, 0 to 1."""
    apart = cents(pair.other_hz, pair.hz)
    if not PAIR_CENTS[0] < abs(apart) < PAIR_CENTS[1] or pair.ratio_db > PAIR_MAX_DB:
        return 0.0
    known = _relative(pair.sd_hz, pair.hz) < PAIR_MAX_SD * abs(apart)
    if not known or not PEAK_BETWEEN[0] < cents(peak_hz, pair.hz) / apart < PEAK_BETWEEN[1]:
        return 0.0
    low, high = BELIEF_GAIN
    return min(1.0, max(0.0, (pair.gain - low) / (high - low)))


def _signs(single: Tone, peak_hz: float, hz: float, pair: Pair | None, belief: float) -> Signs:
    """The signs; `hz` is the answer without a pair."""
    alone = Signs(
        hz=single.hz,
        sd_cents=_relative(single.sd_hz, single.hz),
        peak_cents=abs(cents(peak_hz, single.hz)),
        decay=single.decay,
        dry=single.dry,
    )
    if pair is None or pair.gain < SUSPECT_GAIN:
        return alone
    return replace(
        alone,
        belief=belief,
        shift_cents=abs(cents(pair.hz, hz)),
        pair_sd_cents=_relative(pair.sd_hz, pair.hz),
        pair_apart_cents=abs(cents(pair.hz, pair.other_hz)),
        pair_ratio_db=pair.ratio_db,
    )


def _relative(sd_hz: float, hz: float) -> float:
    return CENTS_PER_NEPER * sd_hz / hz
