"""One strike in, one reading out: which tone, how far off, how sure, and what to do when it is not clear.

Conventions: mono samples with full scale at 1, `onset_index` the sample where the mallet touches,
frequencies in Hz, intervals in cents, levels in dB against a full-scale sine. Pure: no clock, no
device. `u95_cents` is meant to hold the truth 95 times in 100; where the room or a second bottle
makes that impossible the verdict is not `clear` and `advice` says what would help.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.beside import of_two
from rounds.hearing.pitch import EARLY_END_S, START_S, Pitch, measure_pitch
from rounds.hearing.reading import ADVICE, Reading
from rounds.hearing.rooms import DECAY_OF_T60
from rounds.hearing.spectrum import HIGH_HZ, LOW_HZ, TOP_HZ, Peak, Spectrum, comb_pitch_hz, spectrum
from rounds.hearing.struckness import Struckness
from rounds.hearing.voice import is_voice
from rounds.notes import cents, shifted_hz

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.events import Verdict
    from rounds.hearing.reading import Expectation, Stage

END_S: dict[Stage, float] = {"provisional": 0.132, "final": 0.388}
"""How much of a strike each stage uses at most (`EARLY_END_S` where it does not ring on); the rest of 150,
260 and 420 ms is for the way to the screen."""
BEFORE_S = 0.22
"""How much before the onset is looked at, for what was ringing already."""
SILENT_DBFS = -80.0
QUIET_DBFS = -55.0
OTHER_BOTTLE_DB = 12.0
"""A tone in the band this far under the loudest one outside is not what was struck."""
MAIN_MODE_DB = 3.0
NEW_TONE_DB = 16.0
"""A tone under the band, louder by the first and risen by the second, is another bottle's main mode."""
STILL_RINGING_DB = -16.0
TONE_DB = 12.0
"""A peak less than this over its surroundings may be noise: the loudest of 100 bins of noise is that high."""
MIN_SNR_DB = 16.0
MAX_U95_CENTS = 10.0
CERTAIN_U95_CENTS = 15.0
"""Steps and words that come in the guise of a strike are never measured this well."""
SAME_TONE_CENTS = 12.0
"""A tone before the strike this close to it is the same bottle, struck again."""
TOO_HIGH = "Its loudest tone is too high for a bottle. Strike the bottle itself, with a soft mallet."
CLIPPED_AT = 0.97
SHORT_RING_DECAY = 30.0


@dataclass(frozen=True)
class _Band:
    low_hz: float
    high_hz: float


@dataclass(frozen=True)
class _Parts:
    """A strike cut up: what rang before, the tone, and their spectra."""

    before: Spectrum | None
    whole: Spectrum
    late: Spectrum
    tone: NDArray[np.float64]
    """All there is from `START_S` on; the spectra are those of its early part."""
    sample_rate_hz: int
    jump_db: float
    """How far the level jumped at the onset."""
    quick: bool = False


def measure(
    samples: NDArray[np.floating],
    sample_rate_hz: int,
    onset_index: int,
    expectation: Expectation,
    *,
    begin_index: int | None = None,
    end_index: int | None = None,
    stage: Stage = "final",
    quick: bool = False,
) -> Reading:
    """Read one strike.

    Args:
        samples: Mono sound around the strike; a little before the onset helps, NaN counts as silence.
        sample_rate_hz: Its rate.
        onset_index: Where in `samples` the mallet touches (for the last time, if it bounced).
        expectation: What is waited for.
        begin_index: Where it touched for the first time, if it bounced.
        end_index: Where the next strike begins, if it does.
        stage: How much of the strike to use.
        quick: Look for neither glide nor pair, as in the provisional stage.
    """
    end = min(samples.size, onset_index + round(END_S[stage] * sample_rate_hz))
    if end_index is not None:
        end = min(end, end_index)
    clean = np.nan_to_num(np.asarray(samples[:end], dtype=np.float64), posinf=0.0, neginf=0.0)
    struck = clean[max(0, onset_index) :]
    peak = float(np.max(np.abs(struck), initial=0.0))
    blank = Reading(
        at_s=onset_index / sample_rate_hz,
        hz=None,
        cents=None,
        u95_cents=None,
        verdict="quiet",
        ring_s=None,
        peak_dbfs=20.0 * math.log10(max(peak, 1e-6)),
        clipped=_is_clipped(struck, peak),
        advice=ADVICE["quiet"],
        stage=stage,
    )
    parts = _cut(clean, sample_rate_hz, onset_index, onset_index if begin_index is None else begin_index)
    if parts is None or blank.fainter_than(SILENT_DBFS):
        return blank
    parts = replace(parts, quick=quick or stage == "provisional")
    reading = _judge(parts, expectation, blank)
    if expectation.beside is None:
        return reading
    return of_two(reading, _judge(parts, expectation.beside, blank), parts.before, parts.whole)


def _is_clipped(struck: NDArray[np.float64], peak: float) -> bool:
    return peak > CLIPPED_AT and int(np.count_nonzero(np.abs(struck) >= 0.995 * peak)) >= 4


def _cut(
    clean: NDArray[np.float64], sample_rate_hz: int, onset_index: int, begin_index: int
) -> _Parts | None:
    tone = clean[onset_index + round(START_S * sample_rate_hz) :]
    if tone.size < 0.06 * sample_rate_hz:
        return None
    first = max(0, begin_index - round(BEFORE_S * sample_rate_hz))
    before = clean[first : max(first, begin_index - round(0.008 * sample_rate_hz))]
    early = tone[: round((EARLY_END_S - START_S) * sample_rate_hz)]
    return _Parts(
        before=spectrum(before, sample_rate_hz) if before.size > 0.08 * sample_rate_hz else None,
        whole=spectrum(early, sample_rate_hz, TOP_HZ),
        late=spectrum(early[round(0.38 * early.size) :], sample_rate_hz),
        tone=tone,
        sample_rate_hz=sample_rate_hz,
        jump_db=_jump_db(clean, sample_rate_hz, onset_index, begin_index),
    )


def _jump_db(clean: NDArray[np.float64], sample_rate_hz: int, onset_index: int, begin_index: int) -> float:
    """Level of the first 20 ms over that of the 50 ms before; all of it where nothing came before.

    In all that sounds, or in the treble, where hum has no say; a constant offset counts in neither.
    """
    from_index, to_index = (max(0, begin_index - round(s * sample_rate_hz)) for s in (0.06, 0.01))
    first = clean[max(0, onset_index) : onset_index + round(0.02 * sample_rate_hz)]
    before = clean[from_index:to_index]
    if before.size:
        first, before = first - before.mean(), before - before.mean()
    jumps = (
        (_power(f) + 1e-12) / (_power(b) + 1e-12)
        for f, b in ((first, before), (np.diff(first), np.diff(before)))
    )
    return 10.0 * math.log10(max(jumps))


def _power(samples: NDArray[np.float64]) -> float:
    return float(np.mean(np.square(samples))) if samples.size else 0.0


def _band(expectation: Expectation) -> _Band:
    if expectation.target_hz is None:
        return _Band(LOW_HZ, HIGH_HZ)
    width = expectation.half_width_cents
    return _Band(shifted_hz(expectation.target_hz, -width), shifted_hz(expectation.target_hz, width))


def _candidates(parts: _Parts, band: _Band) -> list[Peak]:
    """Tones in the band, best first: level of the whole strike and of its late part, half each.

    The late part keeps a partial that is louder at first, and dies sooner, from being taken.
    """
    half = 0.5 * parts.late.width_hz
    scored = []
    for peak in parts.whole.peaks(band.low_hz, band.high_hz):
        late_db = parts.late.level_at(peak.hz - half, peak.hz + half)
        scored.append(Peak(peak.hz, 0.5 * (peak.level_db + late_db)))
    return sorted(scored, key=lambda p: -p.level_db)


def _choose(parts: _Parts, candidates: list[Peak], expectation: Expectation) -> Peak:
    """Among nearly equal candidates: a known bottle's when any will do, else the one aubio's comb names."""
    near = [p for p in candidates if p.level_db > candidates[0].level_db - 10.0]
    if len(near) == 1:
        return near[0]
    if expectation.target_hz is None:
        known = [p for p in near if any(abs(cents(p.hz, hz)) < 60.0 for hz in expectation.others_hz)]
        return (known or near)[0]
    comb_hz = comb_pitch_hz(parts.tone, parts.sample_rate_hz)
    named = [p for p in near[:3] if comb_hz is not None and abs(cents(p.hz, comb_hz)) < 40.0]
    return (named or near)[0]


def _judge(parts: _Parts, expectation: Expectation, blank: Reading) -> Reading:
    band = _band(expectation)
    candidates = _candidates(parts, band)
    loudest = max(_candidates(parts, _Band(LOW_HZ, HIGH_HZ)), key=lambda p: p.level_db, default=None)
    if loudest is None or not candidates:
        return blank
    chosen = _choose(parts, candidates, expectation)
    if chosen.level_db < loudest.level_db - OTHER_BOTTLE_DB:
        return _reading(parts, loudest, expectation, blank, "other_bottle")
    below = _main_mode_below(parts, band, chosen)
    if below is not None:
        return _reading(parts, below, expectation, blank, "other_bottle")
    level_db = parts.whole.level_at(chosen.hz, chosen.hz)
    if parts.whole.level_at(HIGH_HZ, TOP_HZ) > level_db + OTHER_BOTTLE_DB:
        return replace(_reading(parts, chosen, expectation, blank, "unclear"), advice=TOO_HIGH)
    snr_db = level_db - _floor_db(parts, chosen)
    if snr_db < TONE_DB:
        return blank
    verdict: Verdict = "clear"
    if _rang_before(parts, chosen):
        verdict = "two_ringing"
    elif snr_db < MIN_SNR_DB or blank.fainter_than(QUIET_DBFS):
        verdict = "quiet"
    return _reading(parts, chosen, expectation, blank, verdict)


def _main_mode_below(parts: _Parts, band: _Band, chosen: Peak) -> Peak | None:
    """A louder tone under the band that was not there before: what is in the band is its partial."""
    for peak in _candidates(parts, _Band(LOW_HZ, band.low_hz))[:1]:
        rang_db = -200.0 if parts.before is None else parts.before.level_at(0.99 * peak.hz, 1.01 * peak.hz)
        whole_db = parts.whole.level_at(peak.hz, peak.hz)
        if peak.level_db > chosen.level_db + MAIN_MODE_DB and rang_db < whole_db - NEW_TONE_DB:
            return peak
    return None


def _floor_db(parts: _Parts, peak: Peak) -> float:
    return (parts.before or parts.whole).floor_near(peak.hz)


def _rang_before(parts: _Parts, peak: Peak) -> bool:
    """Whether another tone in the neighbourhood was ringing already, loud enough to pull the reading."""
    if parts.before is None:
        return False
    low_hz, high_hz = shifted_hz(peak.hz, -220.0), shifted_hz(peak.hz, 220.0)
    for other in parts.before.peaks(low_hz, high_hz)[:3]:
        stands_out = other.level_db > parts.before.floor_near(other.hz) + MIN_SNR_DB
        loud = other.level_db > peak.level_db + STILL_RINGING_DB
        if loud and stands_out and abs(cents(other.hz, peak.hz)) > SAME_TONE_CENTS:
            return True
    return False


def _reading(
    parts: _Parts, peak: Peak, expectation: Expectation, blank: Reading, verdict: Verdict
) -> Reading:
    pitch = measure_pitch(parts.tone, parts.sample_rate_hz, peak.hz, quick=parts.quick)
    if pitch is None:
        return blank
    crest_db = parts.whole.level_at(peak.hz, peak.hz) - parts.whole.middle_db
    marks = Struckness(pitch.coherence, pitch.early, crest_db, parts.jump_db)
    kind = marks.kind(pitch.decay, beats=pitch.beats_cents is not None)
    if kind == "noise":
        return blank
    if verdict == "clear" and kind == "faint":
        verdict = "quiet"
    voice = is_voice(peak.hz, parts.whole, parts.before)
    if verdict == "clear" and (pitch.u95_cents > MAX_U95_CENTS or kind in ("doubtful", "dull") or voice):
        verdict = "unclear"
    target_hz = expectation.target_hz
    off = None if target_hz is None or verdict == "other_bottle" else cents(pitch.hz, target_hz)
    return Reading(
        at_s=blank.at_s,
        hz=pitch.hz,
        cents=off,
        u95_cents=pitch.u95_cents,
        verdict=verdict,
        ring_s=DECAY_OF_T60 / pitch.decay if pitch.decay > 0.7 else None,
        peak_dbfs=blank.peak_dbfs,
        clipped=blank.clipped,
        advice=_advice(verdict, pitch),
        stage=blank.stage,
        glide_cents=pitch.glide_cents,
        certain=marks.certain and not voice and pitch.u95_cents < CERTAIN_U95_CENTS,
    )


def _advice(verdict: Verdict, pitch: Pitch) -> str:
    if verdict == "unclear" and pitch.beats_cents is not None:
        return (
            f"Two tones {pitch.beats_cents:.0f} cents apart beat in this bottle. Strike it at another place."
        )
    if verdict == "unclear" and pitch.decay > SHORT_RING_DECAY:
        return "It rings too short. Strike it freely, away from the rail, with the microphone close."
    return ADVICE[verdict]
