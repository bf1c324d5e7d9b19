"""What sounds on a set and is no strike: hiss, talk, steps, pump, valve, knocks, a dropped mallet, applause.

Each is made a minute at a time and stands in an image-source room, its floor at -66 dBFS. Our own invention;
it shares no code with `tests.benchmarks.noises`. What is knocked is still within a tenth of a second (a
fall by 60 dB in 0.02 to 0.08 s, our guess): what rings longer is a bottle for all that a microphone can say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import fftconvolve, iirpeak, lfilter

from tests.strikes import image_rooms

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    Sound = NDArray[np.float64]

RATE_HZ = image_rooms.RATE_HZ
FLOOR_DBFS = -66.0


def _level(low_db: float, high_db: float, rng: np.random.Generator) -> float:
    return float(10 ** (rng.uniform(low_db, high_db) / 20))


def _resonant(sound: Sound, hz: float, sharpness: float) -> Sound:
    above, below = iirpeak(hz, sharpness, fs=RATE_HZ)
    return np.asarray(lfilter(above, below, sound))


def _normal(sound: Sound) -> Sound:
    return sound / max(float(np.max(np.abs(sound))), 1e-9)


def _pulse(seconds: float, rise_s: float, fall_s: float) -> Sound:
    at = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.asarray((1.0 - np.exp(-at / rise_s)) * np.exp(-at / fall_s))


def _rung(
    seconds: float, modes_hz: NDArray[np.float64], falls_s: NDArray[np.float64], rise_s: float
) -> Sound:
    """A thing that was knocked: some modes, soon over."""
    at = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    total = np.zeros(at.size)
    for number, (hz, fall_s) in enumerate(zip(modes_hz, falls_s, strict=True)):
        total += np.exp(-at / fall_s) * np.sin(2 * np.pi * hz * at + number)
    return np.asarray(total * (1.0 - np.exp(-at / rise_s)))


def _hiss(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """Air escaping somewhere: on suddenly or slowly, coloured one way or the other."""
    while True:
        seconds = float(rng.uniform(0.1, 2.5))
        noise = np.diff(rng.standard_normal(round(seconds * RATE_HZ) + 1))
        if rng.random() < 0.5:
            noise = _resonant(noise, float(np.exp(rng.uniform(6.0, 9.0))), float(rng.uniform(0.7, 3.0)))
        shape = _pulse(seconds, float(rng.choice((0.0005, 0.01, 0.2))), seconds / 3)
        yield float(rng.uniform(0.1, 1.5)), _normal(noise[: shape.size] * shape) * _level(-36.0, -9.0, rng)


def _speech(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """Syllables: harmonics under two formants that move, a voice that falls, and a stop before some."""
    voice_hz = float(rng.uniform(85.0, 300.0))
    while True:
        if rng.random() < 0.1:
            voice_hz = float(rng.uniform(85.0, 300.0))
        count = round(float(rng.uniform(0.08, 0.45)) * RATE_HZ)
        mix = np.linspace(0.0, 1.0, count)
        pitch_hz = voice_hz * 2 ** (np.interp(mix, (0, 0.5, 1), rng.normal(0.0, 1.5, 3)) / 12)
        first_hz = np.interp(mix, (0, 1), rng.uniform(250.0, 850.0, 2))
        second_hz = np.interp(mix, (0, 1), rng.uniform(850.0, 2400.0, 2))
        turns, sound = np.cumsum(pitch_hz) / RATE_HZ, np.zeros(count)
        for k in range(1, 24):
            near = 1.0 / (1.0 + ((k * pitch_hz - first_hz) / 80.0) ** 2)
            near += 0.5 / (1.0 + ((k * pitch_hz - second_hz) / 110.0) ** 2)
            sound += near / np.sqrt(k) * np.sin(2 * np.pi * (k * turns + rng.random()))
        sound *= np.minimum(1.0, np.minimum(mix / rng.uniform(0.03, 0.4), (1.0 - mix) / 0.3))
        sound = _normal(sound)
        if rng.random() < 0.4:
            stop = rng.standard_normal(round(0.015 * RATE_HZ)) * _pulse(0.015, 0.0005, 0.004)
            sound[: stop.size] += stop * rng.uniform(0.1, 1.0)
        pause_s = rng.uniform(0.3, 1.2) if rng.random() < 0.2 else rng.uniform(0.0, 0.08)
        yield float(pause_s), sound * _level(-30.0, -8.0, rng)


def _steps(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """A heel on boards: the floor's low modes and grit under the sole."""
    floor_hz = rng.uniform(50.0, 260.0, 4)
    while True:
        if rng.random() < 0.05:
            floor_hz = rng.uniform(50.0, 260.0, 4)
        thump = _rung(0.25, floor_hz, rng.uniform(0.003, 0.012, 4), 0.002)
        grit = rng.standard_normal(thump.size) * _pulse(0.25, 0.01, 0.04) * rng.uniform(0.02, 0.3)
        yield float(rng.normal(0.3, 0.04)), _normal(thump + grit) * _level(-34.0, -10.0, rng)


def _pump(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """A stroke: air rushes ever higher, the valve clicks, the piston knocks home and its tube answers."""
    tube_hz = float(rng.uniform(250.0, 900.0))
    while True:
        count = round(float(rng.uniform(0.25, 0.6)) * RATE_HZ)
        pieces = [
            _resonant(rng.standard_normal(count // 8), hz, 3.0) * 10 ** (k / 16)
            for k, hz in enumerate(np.geomspace(tube_hz, 4.0 * tube_hz, 8))
        ]
        rush = _normal(np.concatenate(pieces)) * rng.uniform(0.05, 0.5)
        modes = tube_hz * np.array([1.0, 2.02, 3.1, 0.31]) * rng.uniform(0.97, 1.03, 4)
        knock = _rung(0.2, modes, rng.uniform(0.003, 0.012, 4), 0.0005)
        yield float(rng.uniform(0.1, 0.6)), np.concatenate([rush, _normal(knock)]) * _level(-30.0, -8.0, rng)


def _valve(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """A pin pressed: a burst of air, a click before it, and at times a whistle above it."""
    while True:
        seconds = float(rng.uniform(0.05, 1.2))
        shape = _pulse(seconds, 0.001, float(rng.uniform(0.05, 0.5)))
        air = np.diff(rng.standard_normal(shape.size + 1)) * shape
        if rng.random() < 0.3:
            at = np.arange(shape.size) / RATE_HZ
            whistle_hz = float(rng.uniform(2000.0, 6000.0)) * (1.0 - 0.1 * at / seconds)
            air += 0.5 * shape * np.sin(2 * np.pi * np.cumsum(whistle_hz) / RATE_HZ)
        click = _rung(0.03, rng.uniform(1000.0, 5000.0, 3), rng.uniform(0.001, 0.004, 3), 0.0002)
        yield (
            float(rng.uniform(0.3, 1.5)),
            np.concatenate([click * 0.3, _normal(air)]) * _level(-32.0, -8.0, rng),
        )


def _knocks(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """Things put down on boxes and tables."""
    while True:
        modes_hz = np.exp(rng.uniform(np.log(90.0), np.log(2500.0), 5))
        knock = _rung(0.3, modes_hz, rng.uniform(0.002, 0.012, 5), float(rng.uniform(0.0002, 0.002)))
        yield float(rng.uniform(0.2, 1.2)), _normal(knock) * _level(-32.0, -6.0, rng)


def _dropped_mallet(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """A stick falls: it bounces ever sooner and weaker, its bending modes short, and rolls away."""
    while True:
        bar = float(rng.uniform(350.0, 800.0)) * np.array([1.0, 2.76, 5.4, 8.93])
        falls_s, gap_s, level, parts = rng.uniform(0.003, 0.012, 4), float(rng.uniform(0.15, 0.4)), 1.0, []
        while gap_s > 0.015:
            part = _rung(gap_s, bar * rng.uniform(0.99, 1.01), falls_s, 0.0003)
            parts.append(level * part)
            gap_s, level = gap_s * rng.uniform(0.5, 0.75), level * rng.uniform(0.4, 0.8)
        roll = rng.standard_normal(round(0.5 * RATE_HZ)) * np.repeat(rng.random(50), round(0.01 * RATE_HZ))
        parts.append(0.02 * _resonant(roll, float(bar[0]), 4.0))
        yield float(rng.uniform(0.5, 2.5)), _normal(np.concatenate(parts)) * _level(-30.0, -6.0, rng)


def _applause(rng: np.random.Generator) -> Iterator[tuple[float, Sound]]:
    """From one pair of hands to a hall: claps, each a short burst that a hollow of the hands colours."""
    while True:
        people, seconds = int(rng.choice((1, 2, 5, 20))), float(rng.uniform(2.0, 8.0))
        total = np.zeros(round((seconds + 0.2) * RATE_HZ))
        for _ in range(people):
            hollow_hz, sharpness = float(rng.uniform(500.0, 2400.0)), float(rng.uniform(1.5, 6.0))
            every_s, at_s, level = (
                float(rng.uniform(0.2, 0.45)),
                float(rng.uniform(0.0, 0.4)),
                rng.uniform(0.2, 1.0),
            )
            while at_s < seconds:
                burst = rng.standard_normal(round(0.06 * RATE_HZ)) * _pulse(0.06, 0.0004, 0.004)
                clap = _normal(_resonant(burst, hollow_hz * float(rng.uniform(0.9, 1.1)), sharpness))
                total[round(at_s * RATE_HZ) :][: clap.size] += level * clap
                at_s += every_s * float(rng.normal(1.0, 0.06))
        yield float(rng.uniform(0.3, 2.0)), _normal(total) * _level(-24.0, -6.0, rng)


NOISES: dict[str, Callable[[np.random.Generator], Iterator[tuple[float, Sound]]]] = {
    "hiss": _hiss,
    "speech": _speech,
    "steps": _steps,
    "pump": _pump,
    "valve": _valve,
    "knocks": _knocks,
    "dropped mallet": _dropped_mallet,
    "applause": _applause,
}


def minute(name: str, number: int, *, seconds: float = 60.0) -> NDArray[np.float32]:
    """Minute `number` of a noise, at 48 kHz, in one of the rooms at some distance."""
    rng = np.random.default_rng([303, list(NOISES).index(name), number])
    dry, at = np.zeros(round(seconds * RATE_HZ)), round(0.5 * RATE_HZ)
    for pause_s, part in NOISES[name](rng):
        at += round(max(0.0, pause_s) * RATE_HZ)
        if at >= dry.size:
            break
        dry[at : at + part.size] += part[: dry.size - at]
        at += part.size
    response = image_rooms.responses(number % image_rooms.ROOMS)[int(rng.integers(2, 7))]
    heard = fftconvolve(dry, response)[: dry.size]
    heard *= _level(-12.0, -1.0, rng) / max(float(np.max(np.abs(heard))), 1e-9)
    floor = lfilter([1.0], [1.0, -0.95], rng.standard_normal(dry.size))
    return np.asarray(heard + floor / np.std(floor) * 10 ** (FLOOR_DBFS / 20), dtype=np.float32)
