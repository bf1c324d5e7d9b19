"""The pitch of the tone at a spectral peak, and how far off it may be.

Meant is the late, steady pitch of the louder main mode. What is heard first is less than that: the mallet
still touches, the first reflections arrive, a hard strike glides. So where the tone rings on, the stretch
from 60 ms on is read (all of it where no room is heard), and the early one only tells how far the two
disagree; where it is soon over, the early stretch is all there is.

Of the stretch four answers are at hand: the fit that knows rooms, the same with a glide, the plain spectral
peak, and the stronger of two tones that beat. In a room fit and peak err in different directions, so for a
tone that rings on their mean is as good as the better one, and steadier on real instruments. Glide and pair
are believed by degrees, so that readings of like strikes do not jump.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.hearing.baseband import demodulate, settled_window_s
from rounds.hearing.certainty import Signs, dryness, u95_cents
from rounds.hearing.doublet import Pair, fit_pair
from rounds.hearing.glide import fit_glide
from rounds.hearing.reading import RINGS_ON_S
from rounds.hearing.refine import Tone, fit, table_for
from rounds.hearing.rooms import DECAY_OF_T60
from rounds.hearing.spectrum import spectrum
from rounds.hearing.struckness import coherence, early
from rounds.notes import CENTS_PER_NEPER, cents, shifted_hz

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband
    from rounds.hearing.glide import Glide

START_S = 0.008
"""The click and the attack are over."""
EARLY_END_S = 0.240
SETTLED_S = 0.060
"""From here on the settled stretch is read."""
SETTLED_LEAST_S = 0.240
"""A settled stretch shorter than this (the next strike came) is not worth more than the early one."""
SEARCH_SHARE = 0.03
"""How far a tone may lie from its peak, as a share of its frequency."""
DRY = 0.3
"""From this likelihood on the room is taken to add nothing, and no pair is looked for."""
PEAK_SHARE = 0.6
PEAK_RING_S = (0.3, 0.6)
"""The peak has no say for tones that ring shorter than the first, and its full share from the second on."""
PEAK_REACH_CENTS = 45.0

GLIDING = 0.1
"""How often a strike glides: a glide is believed as far as it makes the strike likelier. Our guess."""
FORETOLD_SD_CENTS, FORETOLD_SD, FORETOLD_MOST = 2.0, 2.0, 5.0
"""The first moments are known to so many cents, or standard deviations; they count for so much at most."""
SUSPECT_GAIN = 2.0
BELIEF_GAIN = (5.0, 12.0)
"""Log likelihood ratios from which on a pair of tones is allowed for, begins to be believed, and is."""
PAIR_CENTS = (2.0, 42.0)
PAIR_MAX_DB = 15.0
PAIR_MAX_SD = 0.25
"""A pair is believed only where its pitch is known to a quarter of its distance."""
PEAK_BETWEEN = (-0.25, 0.3)
"""... and only where the spectral peak lies by its stronger tone (0) rather than its weaker (1): a
tremolo, a partial's beginning and a room's echo make pairs too, and those do not."""


@dataclass(frozen=True)
class Pitch:
    """A pitch with its uncertainty, and two of the marks of a struck tone (`rounds.hearing.struckness`).

    `glide_cents` is how much higher it began than it stays, where that was found; `beats_cents` the distance
    of a second tone that beats with it, where there is one; `signs` are what the uncertainty was made of.
    """

    hz: float
    u95_cents: float
    decay: float
    coherence: float
    early: float
    glide_cents: float | None
    beats_cents: float | None
    signs: Signs


@dataclass(frozen=True)
class _Stretch:
    """One stretch of a strike and the one steady tone fitted to it."""

    series: Baseband
    peak_hz: float
    single: Tone


def measure_pitch(
    tone: NDArray[np.float64], sample_rate_hz: int, peak_hz: float, *, quick: bool = False
) -> Pitch | None:
    """The pitch near a peak; None when the stretch is too short.

    Args:
        tone: The strike from `START_S` after its onset on.
        sample_rate_hz: Its rate.
        peak_hz: The spectral peak of its early part.
        quick: A mere hint is wanted: neither a glide nor a pair is looked for.
    """
    early_part = tone[: round((EARLY_END_S - START_S) * sample_rate_hz)]
    first = _stretch(demodulate(early_part, sample_rate_hz, peak_hz, START_S), peak_hz)
    if first is None:
        return None
    settled = _settled(tone, sample_rate_hz, first)
    read = settled or first
    answer = _answer(read, first, None if quick else _glide_of(read, first))
    hz = answer.hz
    signs = replace(answer.signs, length_s=tone.size / sample_rate_hz, settled=float(settled is not None))
    pair = None if quick else _pair_of(read)
    belief = 0.0 if pair is None else _belief(pair, read.peak_hz)
    if pair is not None:
        signs = _with_pair(signs, pair, hz, belief)
        hz = shifted_hz(hz, belief * cents(pair.hz, hz))
    return Pitch(
        hz=hz,
        u95_cents=float(u95_cents(signs)),
        decay=first.single.decay,
        coherence=coherence(first.series.values),
        early=early(first.series.values),
        glide_cents=answer.rise_cents if signs.gliding > 0.5 else None,
        beats_cents=abs(cents(pair.hz, pair.other_hz)) if pair is not None and belief > 0.5 else None,
        signs=signs,
    )


def _stretch(series: Baseband, peak_hz: float) -> _Stretch | None:
    single = fit(series, SEARCH_SHARE * peak_hz)
    return None if single is None or not single.hz > 0.0 else _Stretch(series, peak_hz, single)


def _settled(tone: NDArray[np.float64], sample_rate_hz: int, first: _Stretch) -> _Stretch | None:
    """The late stretch of a tone that rings on; None where it does not, or was cut short."""
    skipped = round((SETTLED_S - START_S) * sample_rate_hz)
    if not rings_on(first.single.decay) or tone.size - skipped < SETTLED_LEAST_S * sample_rate_hz:
        return None
    dry = first.single.dry > DRY
    stretch, start_s = (tone, START_S) if dry else (tone[skipped:], SETTLED_S)
    peak_hz = _peak_near(tone[skipped:], sample_rate_hz, first.peak_hz)
    series = demodulate(stretch, sample_rate_hz, peak_hz, start_s, settled_window_s(peak_hz))
    return _stretch(series, peak_hz)


def rings_on(decay: float) -> bool:
    """Whether a tone of this decay (nepers a second) is worth waiting for."""
    return decay * RINGS_ON_S < DECAY_OF_T60


def _peak_near(late: NDArray[np.float64], sample_rate_hz: int, hz: float) -> float:
    found = spectrum(late, sample_rate_hz).peaks(
        shifted_hz(hz, -PEAK_REACH_CENTS), shifted_hz(hz, PEAK_REACH_CENTS)
    )
    return found[0].hz if found else hz


@dataclass(frozen=True)
class _Answer:
    """The pitch of one tone that may glide, the signs of its error, and how much higher it began."""

    hz: float
    signs: Signs
    rise_cents: float


def _glide_of(read: _Stretch, first: _Stretch) -> Glide:
    return fit_glide(read.series, table_for(read.series, read.single.decay), read.single, first=read is first)


def _answer(read: _Stretch, first: _Stretch, glide: Glide | None) -> _Answer:
    single = read.single
    dry = max(single.dry, first.single.dry)
    hz, bent, gliding = _with_peak(single, read.peak_hz, dry), 0.0, 0.0
    if glide is not None:
        gliding = _gliding(glide, 0.0 if read is first else _foretold(glide, single, first))
        bent = gliding * cents(glide.hz, single.hz)
    hz = shifted_hz(hz, bent)
    signs = Signs(
        hz=single.hz,
        sd_cents=_relative(single.sd_hz, single.hz),
        peak_cents=abs(cents(read.peak_hz, single.hz)),
        moved_cents=abs(cents(first.single.hz, hz)),
        moved_sd_cents=_relative(first.single.sd_hz, first.single.hz),
        decay=first.single.decay,
        dry=dry,
        bent_cents=abs(bent),
        glide_sd_cents=_relative((glide or single).sd_hz, single.hz),
        gliding=gliding,
    )
    return _Answer(hz, signs, 0.0 if glide is None else _relative(glide.rise_hz, single.hz))


def _gliding(glide: Glide, foretold: float) -> float:
    """How far a glide is believed, 0 to 1."""
    if glide.rise_hz <= 0.0:
        return 0.0
    odds = GLIDING / (1.0 - GLIDING) * math.exp(min(glide.gain + foretold, 30.0))
    return odds / (1.0 + odds)


def _foretold(glide: Glide, single: Tone, first: _Stretch) -> float:
    """How much better a glide foretells the pitch of the first moments: a log likelihood ratio."""
    known = max(FORETOLD_SD_CENTS, FORETOLD_SD * _relative(first.single.sd_hz, single.hz))
    with_glide = cents(first.single.hz, glide.steady_hz(first.series)) / known
    without = cents(first.single.hz, single.hz) / known
    return min(FORETOLD_MOST, max(-FORETOLD_MOST, 0.5 * (without**2 - with_glide**2)))


def _with_peak(single: Tone, peak_hz: float, dry: float) -> float:
    """The mean of the fit and the peak, as far as the tone rings and a room is heard."""
    low_s, high_s = PEAK_RING_S
    ring_s = DECAY_OF_T60 / max(single.decay, 0.1)
    rings = min(1.0, max(0.0, (ring_s - low_s) / (high_s - low_s)))
    share = PEAK_SHARE * rings * (1.0 - float(dryness(dry)))
    return shifted_hz(single.hz, share * cents(peak_hz, single.hz))


def _pair_of(read: _Stretch) -> Pair | None:
    if read.single.dry > DRY:
        return None
    table = table_for(read.series, read.single.decay)
    return fit_pair(read.series.moved(read.single.hz), table, read.single.evidence)


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


def _with_pair(signs: Signs, pair: Pair, hz: float, belief: float) -> Signs:
    """What a pair adds to the signs; `hz` is the answer without it."""
    if pair.gain < SUSPECT_GAIN:
        return signs
    return replace(
        signs,
        belief=belief,
        shift_cents=abs(cents(pair.hz, hz)),
        pair_sd_cents=_relative(pair.sd_hz, pair.hz),
        pair_apart_cents=abs(cents(pair.hz, pair.other_hz)),
        pair_ratio_db=pair.ratio_db,
    )


def _relative(sd_hz: float, hz: float) -> float:
    return CENTS_PER_NEPER * sd_hz / hz
