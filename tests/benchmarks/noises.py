"""Sounds that are not strikes and must give no accepted reading: hiss, speech, steps, pump, valve, rattle.

All synthesised from fixed seeds, our own invention: they have the envelope and spectrum of the real
thing in outline. Speech is a glottal pulse train with jitter and a falling pitch, through moving
formants, in syllables.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import butter, lfilter, sosfilt

from rounds.simulation.sound import room, room_noise

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Sound = NDArray[np.float64]

RATE_HZ = 48_000


def _burst(count: int, rise_s: float, fall_s: float) -> Sound:
    """An envelope that rises and falls."""
    seconds = np.arange(count) / RATE_HZ
    return np.minimum(seconds / rise_s, 1.0) * np.exp(-np.maximum(seconds - rise_s, 0.0) / fall_s)


def _band(noise: Sound, low_hz: float, high_hz: float) -> Sound:
    sos = butter(2, (low_hz, high_hz), "bandpass", fs=RATE_HZ, output="sos")
    return np.asarray(sosfilt(sos, noise))


def _place(total: Sound, part: Sound, at: int) -> None:
    end = min(total.size, at + part.size)
    if end > at:
        total[at:end] += part[: end - at]


def hiss(seconds: float, rng: np.random.Generator) -> Sound:
    """White noise that comes and goes."""
    total = np.zeros(round(seconds * RATE_HZ))
    for at_s in np.arange(0.3, seconds, 1.1):
        count = round(rng.uniform(0.2, 0.9) * RATE_HZ)
        level = 10 ** (-rng.uniform(10, 40) / 20)
        _place(total, level * rng.standard_normal(count) * _burst(count, 0.01, 0.4), round(at_s * RATE_HZ))
    return total


def _syllable(rng: np.random.Generator, pitch_hz: float) -> Sound:
    count = round(rng.uniform(0.12, 0.35) * RATE_HZ)
    glide = pitch_hz * (1.0 + 0.1 * rng.standard_normal() * np.linspace(-1, 1, count))
    jitter = 1.0 + 0.01 * np.repeat(rng.standard_normal(count // 200 + 1), 200)[:count]
    phase = np.cumsum(glide * jitter) / RATE_HZ
    pulses = np.diff(np.floor(phase), prepend=0.0)
    voice = lfilter([1.0], [1.0, -0.96], pulses)
    for centre_hz, width_hz in ((rng.uniform(300, 800), 90), (rng.uniform(900, 2300), 120), (2700, 180)):
        radius = np.exp(-np.pi * width_hz / RATE_HZ)
        angle = 2 * np.pi * centre_hz / RATE_HZ
        voice = lfilter([1 - radius], [1, -2 * radius * np.cos(angle), radius**2], voice)
    breath = 0.1 * np.std(voice) * rng.standard_normal(count)
    return np.asarray((voice + breath) * np.sin(np.pi * np.linspace(0, 1, count)) ** 0.6)


def speech(seconds: float, rng: np.random.Generator) -> Sound:
    """Somebody talks, now a low voice, now a high one."""
    total = np.zeros(round(seconds * RATE_HZ))
    at_s = 0.2
    while at_s < seconds:
        phrase_hz = rng.uniform(90, 280)
        for number in range(rng.integers(2, 7)):
            part = _syllable(rng, phrase_hz * (1.0 - 0.03 * number))
            part *= 10 ** (-rng.uniform(8, 25) / 20) / max(float(np.max(np.abs(part))), 1e-9)
            _place(total, part, round(at_s * RATE_HZ))
            at_s += part.size / RATE_HZ + rng.uniform(0.0, 0.06)
        at_s += rng.uniform(0.2, 0.7)
    return total


def steps(seconds: float, rng: np.random.Generator) -> Sound:
    """Somebody walks by: a heel's thump and a scuff."""
    total = np.zeros(round(seconds * RATE_HZ))
    for at_s in np.arange(0.3, seconds, 0.55):
        count = round(0.3 * RATE_HZ)
        thump = _band(rng.standard_normal(count), 50.0, rng.uniform(120, 300)) * _burst(count, 0.004, 0.03)
        scuff = 0.1 * _band(rng.standard_normal(count), 600, 5000) * _burst(count, 0.02, 0.05)
        part = thump + scuff
        part *= 10 ** (-rng.uniform(12, 35) / 20) / max(float(np.max(np.abs(part))), 1e-9)
        _place(total, part, round((at_s + rng.uniform(-0.05, 0.05)) * RATE_HZ))
    return total


def pump(seconds: float, rng: np.random.Generator) -> Sound:
    """Strokes: a rush of air whose pitch rises, a knock at the end, the rattle of the handle."""
    total = np.zeros(round(seconds * RATE_HZ))
    for at_s in np.arange(0.3, seconds, 1.0):
        count = round(0.45 * RATE_HZ)
        rush = rng.standard_normal(count)
        low = _band(rush, 200, 900)
        high = _band(rush, 700, 3000)
        mix = np.linspace(0, 1, count)
        stroke = ((1 - mix) * low + mix * high) * np.sin(np.pi * mix) ** 0.5
        stroke *= 10 ** (-rng.uniform(15, 35) / 20) / max(float(np.max(np.abs(stroke))), 1e-9)
        _place(total, stroke, round(at_s * RATE_HZ))
        knock = _band(rng.standard_normal(count), 150, 1800) * _burst(count, 0.001, rng.uniform(0.008, 0.025))
        knock *= 10 ** (-rng.uniform(8, 25) / 20) / max(float(np.max(np.abs(knock))), 1e-9)
        _place(total, knock, round((at_s + 0.47) * RATE_HZ))
    return total


def valve(seconds: float, rng: np.random.Generator) -> Sound:
    """Air let out at a valve: a sudden broad hiss with a hump, dying away."""
    total = np.zeros(round(seconds * RATE_HZ))
    for at_s in np.arange(0.3, seconds, 1.3):
        count = round(rng.uniform(0.1, 0.9) * RATE_HZ)
        rush = _band(rng.standard_normal(count), 1500, 9000) + 0.3 * rng.standard_normal(count)
        rush *= _burst(count, 0.002, rng.uniform(0.1, 0.5))
        rush *= 10 ** (-rng.uniform(8, 30) / 20) / max(float(np.max(np.abs(rush))), 1e-9)
        _place(total, rush, round(at_s * RATE_HZ))
    return total


def knocks(seconds: float, rng: np.random.Generator) -> Sound:
    """Things put down on a table: short, dull, a little pitched."""
    total = np.zeros(round(seconds * RATE_HZ))
    for at_s in np.arange(0.3, seconds, 0.8):
        count = round(0.2 * RATE_HZ)
        time_s = np.arange(count) / RATE_HZ
        part = 0.3 * rng.standard_normal(count) * _burst(count, 0.001, 0.006)
        for _ in range(4):
            tone = np.sin(2 * np.pi * rng.uniform(120, 2000) * time_s) * np.exp(
                -time_s / rng.uniform(0.004, 0.012)
            )
            part = part + tone
        part *= 10 ** (-rng.uniform(8, 30) / 20) / max(float(np.max(np.abs(part))), 1e-9)
        _place(total, part, round(at_s * RATE_HZ))
    return total


NOISES: dict[str, Callable[[float, np.random.Generator], Sound]] = {
    "hiss": hiss,
    "speech": speech,
    "footsteps": steps,
    "pump": pump,
    "valve": valve,
    "knocks": knocks,
}


def make_noise(name: str, seconds: float, seed: int) -> NDArray[np.float32]:
    """A stretch of one noise, in a room, over the noise floor of a room."""
    rng = np.random.default_rng([seed, list(NOISES).index(name)])
    dry = NOISES[name](seconds, rng).astype(np.float32)
    return room(dry, 10.0, 0.5, rng) + room_noise(dry.size, rng, -62.0)
