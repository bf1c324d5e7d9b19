"""Generator 2, real instruments: sampled bars and tines, and glasses, shifted by exact resampling.

The instruments are those of the FluidR3 soundfont (MIT licence) as FluidSynth plays them, and the CC0
recordings of water glasses where their folder stands beside the project. A sample's own pitch is measured by
a long spectrum of what rings on; only samples are used on which three such stretches agree. Then each strike
is the sample resampled by a ratio of whole numbers, so that its pitch is known as well as the sample's.
Rooms are Schroeder's (1962, Natural sounding artificial reverberation, from memory): combs and all-passes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import fftconvolve, resample_poly

from tests.strikes.strike import Strike

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Sound = NDArray[np.float64]

FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
GLASSES = Path(os.environ.get("ROUNDS_RECORDINGS", Path(__file__).parents[3] / "shared" / "recordings"))
RATE_HZ = 48_000
LEAD_S, TAIL_S, NOTE_S = 0.6, 1.1, 1.5
AGREE_CENTS = 0.8
"""Stretches of a sample that differ by more than this leave its pitch open: it is not used."""
STRETCHES_S = ((0.12, 0.9), (0.12, 0.5), (0.3, 1.2))
CONDITIONS = ("dry", "near", "room", "any bottle", "glass", "glass in a room")
PLAYED = {
    8: (72, 79, 84, 91, 96),
    9: (79, 84, 88, 91),
    10: (72, 79, 84, 91),
    11: (53, 57, 60, 65, 69, 72, 77),
    12: (48, 52, 55, 57, 60, 64, 67, 72),
    13: (72, 77, 84),
    108: (67,),
}
"""General MIDI programs, counted from 0 (celesta, glockenspiel, music box, vibraphone, marimba, xylophone,
kalimba), and notes of them."""


@dataclass(frozen=True)
class _Sample:
    name: str
    sound: Sound
    """From its first touch on."""
    hz: float
    known_to_cents: float


def missing(condition: str) -> str | None:
    """What this machine lacks for a condition, in words; None where nothing."""
    if condition.startswith("glass"):
        return None if GLASSES.is_dir() else f"needs the recordings of glasses in {GLASSES}"
    if shutil.which("fluidsynth") is None or not FONT.exists():
        return "needs fluidsynth and the FluidR3 soundfont (Debian: fluidsynth, fluid-soundfont-gm)"
    return None


def make(condition: str, seed: int) -> Strike:
    """Strike number `seed` of a condition: a sample, shifted by up to 60 cents, in a room or none."""
    rng = np.random.default_rng([102, CONDITIONS.index(condition), seed])
    samples = _glasses() if condition.startswith("glass") else _instruments()
    sample = samples[int(rng.integers(len(samples)))]
    down = int(rng.integers(966, 1036))
    tone = resample_poly(sample.sound, 1000, down)[: round(TAIL_S * RATE_HZ)]
    true_hz = sample.hz * down / 1000
    dry = np.zeros(round((LEAD_S + TAIL_S) * RATE_HZ))
    dry[round(LEAD_S * RATE_HZ) :][: tone.size] = tone
    heard = _in_its_room(dry, condition, rng)
    heard *= 10 ** (-rng.uniform(3.0, 24.0) / 20) / np.max(np.abs(heard))
    heard += rng.laplace(0.0, np.max(np.abs(heard)) * 10 ** (-rng.uniform(50.0, 70.0) / 20), heard.size)
    target_hz = true_hz * 2 ** (float(np.clip(rng.normal(0.0, 45.0), -150.0, 150.0)) / 1200)
    return Strike(
        generator="sampled",
        condition=condition,
        samples=heard.astype(np.float32),
        sample_rate_hz=RATE_HZ,
        at_s=(LEAD_S,),
        true_hz=true_hz,
        target_hz=None if condition == "any bottle" else target_hz,
        known_to_cents=sample.known_to_cents,
    )


def _in_its_room(dry: Sound, condition: str, rng: np.random.Generator) -> Sound:
    if condition in ("dry", "glass"):
        return dry
    reverberant_db = rng.uniform(18.0, 28.0) if condition == "near" else rng.uniform(5.0, 18.0)
    tail = _schroeder(float(rng.uniform(0.25, 0.9)), int(rng.integers(1 << 30)))
    tail *= 10 ** (-reverberant_db / 20) / np.linalg.norm(tail)
    return np.asarray(dry + fftconvolve(dry, tail)[: dry.size])


def _schroeder(fall_60_s: float, seed: int) -> Sound:
    """Six combs side by side, then three all-passes; its first echo after some milliseconds."""
    rng = np.random.default_rng(seed)
    count = round(min(fall_60_s, 0.9) * RATE_HZ)
    tail = np.zeros(count)
    for delay in rng.integers(round(0.011 * RATE_HZ), round(0.041 * RATE_HZ), 6):
        echoes = np.arange(delay, count, delay)
        tail[echoes] += rng.choice((-1.0, 1.0)) * 10 ** (-3.0 * echoes / RATE_HZ / fall_60_s)
    for delay, share in zip(rng.integers(80, 420, 3), (0.7, 0.65, 0.6), strict=True):
        echoes = np.arange(0, count, delay)
        all_pass = np.zeros(count)
        all_pass[echoes] = (1.0 - share**2) * share ** (echoes / delay - 1.0)
        all_pass[0] = -share
        tail = fftconvolve(tail, all_pass)[:count]
    return tail


@cache
def _instruments() -> tuple[_Sample, ...]:
    """Every note that is steady enough, played once by FluidSynth."""
    played = [(program, note) for program, notes in PLAYED.items() for note in notes]
    sound = _rendered(played)
    found = []
    for number, (program, note) in enumerate(played):
        begin = round((number * (NOTE_S + 0.5) + 0.5) * RATE_HZ)
        part = sound[begin - RATE_HZ // 50 : begin + round(NOTE_S * RATE_HZ)]
        found.append(_sample(f"{program}/{note}", part, 440.0 * 2 ** ((note - 69) / 12)))
    return tuple(s for s in found if s is not None)


def _rendered(played: list[tuple[int, int]]) -> Sound:
    import mido
    import soundfile

    track = mido.MidiTrack()
    for controller in (91, 93):  # no reverberation, no chorus
        track.append(mido.Message("control_change", control=controller, value=0))
    for program, note in played:
        track.append(mido.Message("program_change", program=program))
        track.append(mido.Message("note_on", note=note, velocity=100, time=960))
        track.append(mido.Message("note_off", note=note, velocity=0, time=round(1920 * NOTE_S)))
    file = mido.MidiFile(ticks_per_beat=960)  # at 120 beats a minute: 1920 ticks a second
    file.tracks.append(track)
    with tempfile.TemporaryDirectory() as folder:
        file.save(f"{folder}/a.mid")
        options = ["-ni", "-q", "-R", "0", "-C", "0", "-r", str(RATE_HZ), "-T", "wav", "-O", "s24"]
        command = ["fluidsynth", *options, "-F", f"{folder}/a.wav", str(FONT), f"{folder}/a.mid"]
        subprocess.run(command, check=True, timeout=120, capture_output=True)
        return np.asarray(soundfile.read(f"{folder}/a.wav")[0].mean(axis=1))


@cache
def _glasses() -> tuple[_Sample, ...]:
    import soundfile

    found = []
    for path in sorted(GLASSES.glob("glass_*.flac")):
        sound, rate_hz = soundfile.read(path, always_2d=True)
        if rate_hz == RATE_HZ:
            found.append(_sample(path.stem, sound.mean(axis=1), None))
    return tuple(s for s in found if s is not None)


def _sample(name: str, sound: Sound, near_hz: float | None) -> _Sample | None:
    """The sample with its pitch; None where that is not steady, or another tone is louder."""
    begin = int(np.argmax(np.abs(sound) > 0.05 * np.max(np.abs(sound))))
    rung = sound[begin:]
    loudest_hz = peak_hz(rung, (0.05, 0.9), 100.0, 2400.0)
    if near_hz is not None and abs(1200 * np.log2(loudest_hz / near_hz)) > 60.0:
        return None
    pitches = [peak_hz(rung, s, 0.93 * loudest_hz, 1.07 * loudest_hz) for s in STRETCHES_S]
    spread_cents = 1200 * float(np.log2(max(pitches) / min(pitches)))
    return _Sample(name, rung, pitches[0], 0.5 * spread_cents) if spread_cents < AGREE_CENTS else None


def peak_hz(sound: Sound, stretch_s: tuple[float, float], low_hz: float, high_hz: float) -> float:
    """The highest peak of a stretch's spectrum: Hann window, zeros added, a parabola."""
    part = sound[round(stretch_s[0] * RATE_HZ) : round(stretch_s[1] * RATE_HZ)]
    size = 1 << 19
    level = np.log(np.abs(np.fft.rfft(part * np.hanning(part.size), size)) + 1e-12)
    low, high = round(low_hz * size / RATE_HZ), round(high_hz * size / RATE_HZ)
    top = low + int(np.argmax(level[low:high]))
    left, middle, right = level[top - 1 : top + 2]
    return float((top + 0.5 * (left - right) / (left - 2 * middle + right)) * RATE_HZ / size)
