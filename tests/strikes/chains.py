"""What stands between a bottle and the program: recorders, connections, and what else sounds in the room.

Each chain takes a strike of any generator and gives what would be heard through it. Mu-law is ITU-T G.711's
curve (from memory); the codecs are libsndfile's own Vorbis and Opus; all else is our guess at what phones,
recorders and wireless links do.
"""

from __future__ import annotations

import io
from dataclasses import replace
from math import gcd
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import fftconvolve, lfilter, resample_poly

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from tests.strikes.strike import Strike

    Sound = NDArray[np.float64]

MU = 255.0
PHONE_HZ, OPUS_HZ = 16_000, 48_000
GAIN_STEP_S = 0.001


def _db(decibels: float) -> float:
    return float(10 ** (decibels / 20))


def _peak(sound: Sound) -> float:
    return max(float(np.max(np.abs(sound))), 1e-9)


def _at_rate(sound: Sound, rate_hz: int, wanted_hz: int) -> Sound:
    common = gcd(rate_hz, wanted_hz)
    return np.asarray(resample_poly(sound, wanted_hz // common, rate_hz // common))


def _companded(sound: Sound, rate_hz: int, _rng: np.random.Generator) -> tuple[Sound, int]:
    """16 kHz, eight bits of mu-law."""
    slow = np.clip(_at_rate(sound, rate_hz, PHONE_HZ), -1.0, 1.0)
    code = np.round(127.0 * np.sign(slow) * np.log1p(MU * np.abs(slow)) / np.log1p(MU)) / 127.0
    return np.sign(code) * np.expm1(np.abs(code) * np.log1p(MU)) / MU, PHONE_HZ


def _levels(sound: Sound, rate_hz: int) -> tuple[Sound, int]:
    """Peak of each millisecond, and how many samples that is."""
    step = round(GAIN_STEP_S * rate_hz)
    padded = np.pad(np.abs(sound), (0, -sound.size % step))
    return padded.reshape(-1, step).max(axis=1), step


def _gained(sound: Sound, gains: Sound, step: int) -> Sound:
    at = np.arange(gains.size) * step
    return np.asarray(sound * np.interp(np.arange(sound.size), at, gains))


def _gain_riding(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """An automatic gain: down within some milliseconds, up again by some dB a tenth of a second."""
    levels, step = _levels(sound, rate_hz)
    target, most = _db(-rng.uniform(9.0, 18.0)), _db(rng.uniform(12.0, 30.0))
    down_share = 1.0 - np.exp(-GAIN_STEP_S / rng.uniform(0.002, 0.02))
    up = _db(rng.uniform(10.0, 60.0) * GAIN_STEP_S)
    gain, gains = most, np.empty(levels.size)
    for k, level in enumerate(levels):
        wanted = min(most, target / max(level, 1e-9))
        gain = gain + down_share * (wanted - gain) if wanted < gain else min(wanted, gain * up)
        gains[k] = gain
    return np.clip(_gained(sound, gains, step), -1.0, 1.0), rate_hz


def _noise_gate(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """Nothing at all under a level; closes slowly."""
    levels, step = _levels(sound, rate_hz)
    opens = _peak(sound) * _db(-rng.uniform(20.0, 34.0))
    hold_s, close_s = rng.uniform(0.02, 0.15), rng.uniform(0.02, 0.2)
    gains, since_s = np.zeros(levels.size), 9.0
    for k, level in enumerate(levels):
        since_s = 0.0 if level > opens else since_s + GAIN_STEP_S
        gains[k] = 1.0 if since_s <= hold_s else max(0.0, 1.0 - (since_s - hold_s) / close_s)
    gains = np.maximum(np.roll(gains, -1), 0.0)
    return np.round(_gained(sound, gains, step) * 32767.0) / 32767.0, rate_hz


def _codec(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """Through Vorbis or Opus at a low rate of bits and back, at 48 kHz."""
    import soundfile

    name = str(rng.choice(("VORBIS", "OPUS")))
    file = io.BytesIO()
    soundfile.write(
        file,
        np.clip(_at_rate(sound, rate_hz, OPUS_HZ), -1.0, 1.0).astype(np.float32),
        OPUS_HZ,
        format="OGG",
        subtype=name,
        compression_level=float(rng.uniform(0.6, 0.95)),
    )
    file.seek(0)
    return np.asarray(soundfile.read(file)[0], dtype=np.float64), OPUS_HZ


def _clipped(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """Recorded 3 to 15 dB too loud."""
    return np.clip(sound / _peak(sound) * _db(rng.uniform(3.0, 15.0)), -1.0, 1.0), rate_hz


def _direct_current(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """An offset, that wanders a little."""
    seconds = np.arange(sound.size) / rate_hz
    offset = rng.uniform(0.02, 0.3) * rng.choice((-1.0, 1.0))
    return 0.7 * sound + offset * (1.0 + 0.05 * np.sin(2 * np.pi * rng.uniform(0.2, 2.0) * seconds)), rate_hz


def _hum(mains_hz: float) -> Callable[[Sound, int, np.random.Generator], tuple[Sound, int]]:
    def humming(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
        seconds = np.arange(sound.size) / rate_hz
        truly_hz = mains_hz * (1.0 + rng.normal(0.0, 0.0004))
        total = np.zeros(sound.size)
        for k in range(1, 31):
            odd = 1.0 if k % 2 else 0.4
            total += (
                odd * rng.uniform(0.1, 1.0) / k * np.sin(2 * np.pi * (k * truly_hz * seconds + rng.random()))
            )
        return sound + total / _peak(total) * _peak(sound) * _db(-rng.uniform(20.0, 36.0)), rate_hz

    return humming


def _talk(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """Three people talk, 15 to 20 dB under the strike (power over the quarter of a second after it)."""
    babble = np.sum([_voice(sound.size, rate_hz, rng) for _ in range(3)], axis=0)
    top = int(np.argmax(np.abs(sound)))
    power = np.mean(np.square(sound[top : top + rate_hz // 4]))
    level = np.sqrt(power / max(float(np.mean(np.square(babble))), 1e-12))
    return sound + babble * level * _db(-rng.uniform(15.0, 20.0)), rate_hz


def _voice(count: int, rate_hz: int, rng: np.random.Generator) -> Sound:
    """A voice as a sum of harmonics whose levels follow two wandering formants, in syllables."""
    seconds = np.arange(count) / rate_hz
    steps = np.arange(0.0, seconds[-1] + 0.3, 0.15)

    def wander(low: float, high: float) -> Sound:
        return np.interp(seconds, steps, rng.uniform(low, high, steps.size))

    pitch_hz = rng.uniform(95.0, 230.0) * wander(0.85, 1.15)
    turns = np.cumsum(pitch_hz) / rate_hz
    first_hz, second_hz = wander(280.0, 800.0), wander(900.0, 2300.0)
    voice = np.zeros(count)
    for k in range(1, 26):
        hz = k * pitch_hz
        level = np.exp(-np.abs(hz - first_hz) / 150.0) + 0.5 * np.exp(-np.abs(hz - second_hz) / 200.0)
        voice += (level + 0.02 / k) * np.sin(2 * np.pi * (k * turns + rng.random()))
    return voice * np.maximum(0.0, wander(-0.5, 1.0))


def _neighbours(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """Six bottles nearby ring along in sympathy: driven by the sound itself, 14 to 30 dB under it."""
    seconds = np.arange(round(0.9 * rate_hz)) / rate_hz
    total = np.zeros(sound.size)
    for _ in range(6):
        hz = float(np.exp(rng.uniform(np.log(130.0), np.log(1500.0))))
        ring = np.exp(-rng.uniform(4.0, 12.0) * seconds) * np.sin(2 * np.pi * hz * seconds)
        one = fftconvolve(sound, ring)[: sound.size]
        total += one / _peak(one) * _peak(sound) * _db(-rng.uniform(14.0, 30.0))
    return sound + total, rate_hz


def _floor(sound: Sound, rate_hz: int, rng: np.random.Generator) -> tuple[Sound, int]:
    """A room whose noise stands at -48 dBFS; the strike peaks at -20 to -3."""
    noise = lfilter([1.0], [1.0, -0.97], rng.standard_normal(sound.size))
    loud = sound / _peak(sound) * _db(-rng.uniform(3.0, 20.0))
    return loud + noise / np.std(noise) * _db(-48.0), rate_hz


CHAINS: dict[str, Callable[[Sound, int, np.random.Generator], tuple[Sound, int]]] = {
    "companded": _companded,
    "gain riding": _gain_riding,
    "noise gate": _noise_gate,
    "codec": _codec,
    "clipped": _clipped,
    "direct current": _direct_current,
    "hum 50": _hum(50.0),
    "hum 60": _hum(60.0),
    "talk": _talk,
    "neighbours": _neighbours,
    "floor -48": _floor,
}
STREAM_START = "stream start"
CONDITIONS = (*CHAINS, STREAM_START)


def through(strike: Strike, condition: str, seed: int) -> Strike:
    """The strike as it comes through a chain."""
    rng = np.random.default_rng([711, CONDITIONS.index(condition), seed])
    if condition == STREAM_START:
        return _from_the_middle(strike, rng)
    sound, rate_hz = CHAINS[condition](strike.samples.astype(np.float64), strike.sample_rate_hz, rng)
    name = f"{strike.condition}, {condition}"
    return replace(strike, condition=name, samples=sound.astype(np.float32), sample_rate_hz=rate_hz)


def _from_the_middle(strike: Strike, rng: np.random.Generator) -> Strike:
    """The stream begins while another bottle rings, 0.3 to 0.5 s before the strike, with a step of offset."""
    rate_hz = strike.sample_rate_hz
    cut = round(max(0.0, strike.at_s[0] - rng.uniform(0.3, 0.5)) * rate_hz)
    sound = strike.samples[cut:].astype(np.float64)
    seconds = np.arange(sound.size) / rate_hz
    hz = strike.true_hz * 2 ** (rng.uniform(200.0, 900.0) * rng.choice((-1.0, 1.0)) / 1200)
    tail = np.exp(-rng.uniform(8.0, 20.0) * seconds) * np.sin(2 * np.pi * (hz * seconds + rng.random()))
    sound += tail * _peak(sound) * _db(-rng.uniform(14.0, 40.0)) + rng.uniform(-0.01, 0.01)
    at_s = tuple(at - cut / rate_hz for at in strike.at_s)
    return replace(
        strike,
        condition=f"{strike.condition}, {STREAM_START}",
        samples=sound.astype(np.float32),
        at_s=at_s,
    )
