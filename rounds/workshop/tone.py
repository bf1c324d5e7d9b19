"""The tone of one strike in five numbers, each with a definition that does not move.

Conventions: mono samples with full scale at 1, a few tenths of a second before the strike among
them, `start` the sample of the onset, `end` where the strike ends (the next one, or the end of the
recording), times in seconds after the onset. A number that this strike cannot give (too short, too
noisy) is None, never a guess.

* click: energy above the bottle's partials in the first 20 ms, less what is still there in the next
  20 ms, against the energy of the ring (all above 50 Hz, from 20 ms on, less the noise before the
  strike), in dB. "Above the partials" is above 4.5 times the pitch and above 2 kHz. A definition of
  ours: separating click and attack in time alone cannot go below about −15 dB, because the attack
  of the ring looks like a click, so the click is looked for where the ring is not.
* ring: time to decay by 60 dB, from the −5 to −25 dB part of the backward-integrated energy of the
  main mode (the T20 of ISO 3382-1, on one mode instead of an octave band).
* loudness: momentary, K-weighted, of the 400 ms from the onset (see `rounds.workshop.loudness`).
* brightness: the centroid of the power spectrum of the first 250 ms, above 50 Hz.
* glide: how far the pitch moves from 30 ms to where the main mode has lost 20 dB (at most to 1 s),
  in cents, from a parabola through the phase.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.baseband import demodulate
from rounds.notes import CENTS_PER_NEPER
from rounds.workshop.loudness import k_weighted, momentary_lufs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.baseband import Baseband

CLICK_S = 0.020
LEAD_S = 0.002
"""An onset is found to a millisecond or two; the click is looked for from this much before it."""
PARTIALS_UP_TO = 4.5
CLICK_LEAST_HZ = 2000.0
RUMBLE_HZ = 50.0
"""Below lies the rumble of a room, no bottle."""
BRIGHTNESS_S = 0.250
GLIDE_FROM_S, GLIDE_TO_S, GLIDE_DROP = 0.030, 1.0, 10.0 ** (-20.0 / 20.0)
LEAST_GLIDE_STEPS = 5
RING_FROM_DB, RING_TO_DB = -5.0, -25.0
NOISE_S = (-0.2, -0.01)
"""Where the noise before a strike is taken."""
STANDS_OUT = 0.2
"""A fifth of the noise: the energy of 20 ms of noise of 20 kHz width wanders by a twentieth."""
NOISE_MARGIN = 4.0
"""A decay is followed down to four times (6 dB above) the noise power."""
LONGEST_S = 4.0


@dataclass(frozen=True)
class StrikeSound:
    """One strike with some sound before it: where it starts and ends, its pitch, its click's band."""

    samples: NDArray[np.float64]
    sample_rate_hz: int
    start: int
    end: int
    hz: float
    click_above_hz: float

    def part(self, sound: NDArray[np.float64], from_s: float, to_s: float) -> NDArray[np.float64]:
        """The stretch of a sound aligned with `samples` between two times after the onset."""
        first = max(0, self.start + round(from_s * self.sample_rate_hz))
        last = min(self.end, self.start + round(to_s * self.sample_rate_hz))
        return sound[first : max(first, last)]


@dataclass(frozen=True)
class Tone:
    """The five numbers of one strike; None where the strike does not give it."""

    click_db: float | None
    ring_s: float | None
    loudness_lufs: float | None
    brightness_hz: float | None
    glide_cents: float | None


def tone_of(strike: StrikeSound) -> Tone:
    """Measure one strike."""
    noise = noise_power(strike)
    series = demodulate(strike.part(strike.samples, 0.0, LONGEST_S), strike.sample_rate_hz, strike.hz, 0.0)
    return Tone(
        click_db=click_db(strike),
        ring_s=ring_s(series, noise),
        loudness_lufs=loudness_lufs(strike),
        brightness_hz=brightness_hz(strike),
        glide_cents=glide_cents(series, noise),
    )


def click_above_hz(*pitches_hz: float) -> float:
    """Where the click of bottles of these pitches is looked for: one band for all that are compared."""
    return max(CLICK_LEAST_HZ, PARTIALS_UP_TO * max(pitches_hz))


def _highpassed(strike: StrikeSound, above_hz: float, order: int) -> NDArray[np.float64]:
    from scipy.signal import butter, sosfilt

    sections = butter(order, above_hz, "highpass", fs=strike.sample_rate_hz, output="sos")
    return np.asarray(sosfilt(sections, strike.samples))


def _energy(strike: StrikeSound, sound: NDArray[np.float64], from_s: float, to_s: float) -> float:
    """Energy of a stretch less that of the noise before the strike; 0 where it does not stand out."""
    part, before = strike.part(sound, from_s, to_s), strike.part(sound, *NOISE_S)
    noise = float(before @ before) / max(1, before.size) * part.size
    excess = float(part @ part) - noise
    return excess if excess > STANDS_OUT * noise else 0.0


def click_db(strike: StrikeSound) -> float | None:
    """Click against ring energy; None where no click stands out, or no ring is left."""
    if strike.click_above_hz > 0.4 * strike.sample_rate_hz:
        return None
    high = _highpassed(strike, strike.click_above_hz, 8)
    first = _energy(strike, high, -LEAD_S, CLICK_S)
    left = _energy(strike, high, CLICK_S, 2.0 * CLICK_S + LEAD_S)
    ring = _energy(strike, _highpassed(strike, RUMBLE_HZ, 2), CLICK_S, LONGEST_S)
    if first <= 2.0 * left or ring <= 0.0:
        return None
    return 10.0 * math.log10((first - left) / ring)


def noise_power(strike: StrikeSound) -> float:
    """Power of the main mode's band before the strike, in the units of a demodulated series."""
    before = strike.part(strike.samples, *NOISE_S)
    values = demodulate(before, strike.sample_rate_hz, strike.hz, NOISE_S[0]).values
    return float(np.mean(np.abs(values) ** 2)) if values.size else 0.0


def ring_s(series: Baseband, noise: float) -> float | None:
    """Time to decay by 60 dB; None where 25 dB of decay are not to be seen."""
    power = np.abs(series.values) ** 2
    if power.size < 4:
        return None
    peak = int(np.argmax(power))
    under = np.flatnonzero(power[peak:] < NOISE_MARGIN * noise)
    kept = power[peak : peak + int(under[0])] if under.size else power[peak:]
    curve = _backward_integral(np.maximum(kept - noise, 0.0))
    level_db = 10.0 * np.log10(np.maximum(curve / max(float(curve[0]), 1e-300), 1e-30))
    used = (level_db <= RING_FROM_DB) & (level_db >= RING_TO_DB)
    if level_db[-1] > RING_TO_DB or np.count_nonzero(used) < 3:
        return None
    slope_db = float(np.polyfit(np.flatnonzero(used) * series.step_s, level_db[used], 1)[0])
    return -60.0 / slope_db if slope_db < 0.0 else None


def _backward_integral(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Schroeder's backward integral, with the tail that was cut off added as if the decay went on."""
    sums = np.cumsum(power[::-1])[::-1]
    half = power.size // 2
    early, late = float(power[:half].sum()), float(power[half : 2 * half].sum())
    if late <= 0.0 or late >= early:
        return np.asarray(sums)
    return np.asarray(sums + late * late / (early - late))


def loudness_lufs(strike: StrikeSound) -> float | None:
    """Momentary loudness of the 400 ms from the onset; None where the strike is shorter."""
    weighted = k_weighted(strike.samples[: strike.end], strike.sample_rate_hz)
    return momentary_lufs(weighted, strike.sample_rate_hz, strike.start)


def brightness_hz(strike: StrikeSound) -> float | None:
    """Centroid of the power spectrum of the first 250 ms; None where the strike is shorter."""
    sound = strike.part(strike.samples, 0.0, BRIGHTNESS_S)
    if sound.size < round(BRIGHTNESS_S * strike.sample_rate_hz):
        return None
    power = np.abs(np.fft.rfft(sound * np.hanning(2 * sound.size)[sound.size :])) ** 2
    hz = np.fft.rfftfreq(sound.size, 1.0 / strike.sample_rate_hz)
    kept = hz >= RUMBLE_HZ
    total = float(power[kept].sum())
    return float(power[kept] @ hz[kept]) / total if total > 0.0 else None


def glide_cents(series: Baseband, noise: float) -> float | None:
    """How far the pitch moves over the ring; positive: it rises. None where the ring is too short."""
    size, times_s = np.abs(series.values), series.times_s
    if size.size == 0:
        return None
    least = max(GLIDE_DROP * float(size.max()), math.sqrt(NOISE_MARGIN * noise))
    last_s = min(GLIDE_TO_S, _faded_s(size, times_s, least))
    used = (times_s >= GLIDE_FROM_S) & (times_s < last_s)
    if np.count_nonzero(used) < LEAST_GLIDE_STEPS:
        return None
    phase = np.unwrap(np.angle(series.values[used]))
    bend, slope, _ = np.polyfit(times_s[used], phase, 2, w=size[used])
    middle_hz = series.carrier_hz + (slope + bend * (GLIDE_FROM_S + last_s)) / (2.0 * math.pi)
    return float(CENTS_PER_NEPER * bend * (last_s - GLIDE_FROM_S) / math.pi / middle_hz)


def _faded_s(size: NDArray[np.float64], times_s: NDArray[np.float64], least: float) -> float:
    """When a decaying series falls below a size (after the attack); its end where it does not."""
    below = np.flatnonzero((times_s >= GLIDE_FROM_S) & (size < least))
    if below.size == 0 or below[0] == 0:
        return float(times_s[-1])
    after = int(below[0])
    levels = np.log(np.maximum(size[after - 1 : after + 1], 1e-300))
    return float(np.interp(math.log(least), levels[::-1], times_s[after - 1 : after + 1][::-1]))
