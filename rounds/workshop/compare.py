"""Two recordings side by side: bottles, caps or mallets, by the strikes each holds.

Every number comes with the 95 % interval of its mean over the strikes of its file (Student's t), and
the difference B − A with Welch's. Such an interval speaks of the strikes, not of the microphone's
place or the room: only recordings made the same way may be compared, and no interval knows whether
they were. One strike has no interval, and then no difference is called one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from rounds.errors import RoundsError
from rounds.hearing.reading import Expectation
from rounds.hearing.recording import strikes
from rounds.notes import cents
from rounds.workshop.loudness import integrated_lufs
from rounds.workshop.tone import LONGEST_S, StrikeSound, click_above_hz, tone_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from rounds.hearing.reading import Reading
    from rounds.hearing.sources import Source
    from rounds.workshop.tone import Tone

LONGEST_RECORDING_S = 600.0
BEFORE_S = 0.3
"""Kept before a strike: its noise, and time for filters to settle."""
SAME_BOTTLE_CENTS = 100.0
"""Strikes further from the file's middle pitch are another bottle's, and left out."""
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Measure:
    """One line of the comparison: a field of `Tone`, its words, and what a higher number is called."""

    field: str
    label: str
    unit: str
    digits: int
    higher: str


MEASURES = (
    Measure("click_db", "click against ring", "dB", 1, "clicks more"),
    Measure("ring_s", "ring time (T60)", "s", 3, "rings longer"),
    Measure("loudness_lufs", "loudness, 400 ms", "LUFS", 1, "is louder"),
    Measure("brightness_hz", "brightness", "Hz", 0, "is brighter"),
    Measure("glide_cents", "glide while ringing", "cents", 2, "rises more in pitch"),
)


@dataclass(frozen=True)
class Interval:
    """A mean, the half width of its 95 % interval (None: too few strikes), and how many strikes gave it."""

    mean: float
    half_width: float | None
    count: int


@dataclass(frozen=True)
class Recording:
    """The strikes of one file that were used, their pitch, and what was left out."""

    name: str
    sample_rate_hz: int
    pitches_hz: tuple[float, ...]
    tones: tuple[Tone, ...]
    left_out: int
    clipped: int
    integrated_lufs: float | None
    """Gated loudness of the whole file by ITU-R BS.1770-4; None for silence."""

    @property
    def hz(self) -> float:
        """The middle pitch."""
        return median(self.pitches_hz)

    def values(self, measure: Measure) -> list[float]:
        """What the strikes gave for a measure."""
        found = (getattr(tone, measure.field) for tone in self.tones)
        return [float(v) for v in found if v is not None]


@dataclass(frozen=True)
class Contrast:
    """One measure of both recordings; `difference` is B − A."""

    measure: Measure
    a: Interval | None
    b: Interval | None
    difference: Interval | None

    @property
    def differs(self) -> bool:
        """Whether the interval of the difference leaves out zero, and the difference shows in its digits.

        Recordings made alike can differ by less than anybody hears, and surely.
        """
        d = self.difference
        if d is None or d.half_width is None:
            return False
        return abs(d.mean) > d.half_width and round(d.mean, self.measure.digits) != 0.0


@dataclass(frozen=True)
class Comparison:
    """Both recordings and every measure."""

    a: Recording
    b: Recording
    click_above_hz: float
    contrasts: tuple[Contrast, ...]


@dataclass(frozen=True)
class Heard:
    """A recording in memory and the usable strikes in it."""

    name: str
    samples: NDArray[np.float64]
    sample_rate_hz: int
    used: tuple[Reading, ...]
    ends: tuple[int, ...]
    left_out: int


class _Array:
    """Samples in memory as a source."""

    def __init__(self, samples: NDArray[np.float32], sample_rate_hz: int) -> None:
        self._samples = samples
        self.sample_rate_hz = sample_rate_hz

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        yield self._samples

    def close(self) -> None:
        pass


def hear(source: Source, name: str, target_hz: float | None = None) -> Heard:
    """Find the strikes of a recording.

    Raises:
        RoundsError: it is too long, or holds no clear strike.
    """
    samples = _collect(source, name)
    readings = list(strikes(_Array(samples, source.sample_rate_hz), Expectation(target_hz)))
    used = _of_one_bottle([r for r in readings if r.verdict == "clear" and r.hz is not None])
    if not used:
        raise RoundsError(f"{name}: no clear strike was heard; strike alone, close to the microphone.")
    starts = [round(r.at_s * source.sample_rate_hz) for r in readings]
    end_of = dict(pairwise([*starts, samples.size]))
    return Heard(
        name=name,
        samples=samples.astype(np.float64),
        sample_rate_hz=source.sample_rate_hz,
        used=tuple(used),
        ends=tuple(end_of[round(r.at_s * source.sample_rate_hz)] for r in used),
        left_out=len(readings) - len(used),
    )


def _collect(source: Source, name: str) -> NDArray[np.float32]:
    blocks, frames = [np.zeros(0, np.float32)], 0
    for block in source.blocks():
        blocks.append(block)
        frames += block.size
        if frames > LONGEST_RECORDING_S * source.sample_rate_hz:
            minutes = LONGEST_RECORDING_S / 60.0
            raise RoundsError(f"{name}: longer than {minutes:.0f} minutes; cut out the strikes to compare.")
    return np.concatenate(blocks)


def _of_one_bottle(readings: Sequence[Reading]) -> list[Reading]:
    if not readings:
        return []
    middle_hz = median(r.hz or math.nan for r in readings)
    return [r for r in readings if abs(cents(r.hz or math.nan, middle_hz)) <= SAME_BOTTLE_CENTS]


def measure_all(heard: Heard, above_hz: float) -> Recording:
    """The tones of a recording, clicks looked for above a frequency."""
    gated = integrated_lufs(heard.samples, heard.sample_rate_hz)
    sounds = [_cut(heard, r, end, above_hz) for r, end in zip(heard.used, heard.ends, strict=True)]
    return Recording(
        name=heard.name,
        sample_rate_hz=heard.sample_rate_hz,
        pitches_hz=tuple(s.hz for s in sounds),
        tones=tuple(tone_of(s) for s in sounds),
        left_out=heard.left_out,
        clipped=sum(r.clipped for r in heard.used),
        integrated_lufs=gated if math.isfinite(gated) else None,
    )


def _cut(heard: Heard, reading: Reading, end: int, above_hz: float) -> StrikeSound:
    """One strike with a little before it, so that nothing is filtered twice."""
    rate = heard.sample_rate_hz
    onset = round(reading.at_s * rate)
    first = max(0, onset - round(BEFORE_S * rate))
    last = min(end, onset + round(LONGEST_S * rate))
    return StrikeSound(
        samples=heard.samples[first:last],
        sample_rate_hz=rate,
        start=onset - first,
        end=last - first,
        hz=reading.hz or math.nan,
        click_above_hz=above_hz,
    )


def compare(a: Heard, b: Heard) -> Comparison:
    """Measure both the same way and set them side by side."""
    above_hz = click_above_hz(*(r.hz or 0.0 for r in (*a.used, *b.used)))
    first, second = measure_all(a, above_hz), measure_all(b, above_hz)
    contrasts = tuple(contrast(m, first.values(m), second.values(m)) for m in MEASURES)
    return Comparison(first, second, above_hz, contrasts)


def contrast(measure: Measure, a: Sequence[float], b: Sequence[float]) -> Contrast:
    """One measure of both, with intervals."""
    return Contrast(measure, mean_interval(a), mean_interval(b), difference_interval(a, b))


def mean_interval(values: Sequence[float]) -> Interval | None:
    """Mean and its Student interval; None without values, no half width for one."""
    if not values:
        return None
    n = len(values)
    mean = float(np.mean(values))
    if n < 2:
        return Interval(mean, None, n)
    error = float(np.std(values, ddof=1)) / math.sqrt(n)
    return Interval(mean, _student(n - 1.0) * error, n)


def difference_interval(a: Sequence[float], b: Sequence[float]) -> Interval | None:
    """Mean of b less mean of a and Welch's interval (variances need not be equal)."""
    if not a or not b:
        return None
    mean = float(np.mean(b) - np.mean(a))
    count = min(len(a), len(b))
    if count < 2:
        return Interval(mean, None, count)
    va, vb = float(np.var(a, ddof=1)) / len(a), float(np.var(b, ddof=1)) / len(b)
    if va + vb == 0.0:
        return Interval(mean, 0.0, count)
    freedom = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    return Interval(mean, _student(freedom) * math.sqrt(va + vb), count)


def _student(freedom: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + 0.5 * CONFIDENCE))
