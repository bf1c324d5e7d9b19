"""Other ways to find the pitch of a strike, as somebody would use them who has not read this project.

Each gets the same stretch as our own final reading, and the expected band where it can use one. Its
answer is the median over its frames. A tracker that is not installed is left out and said so.
"""

from __future__ import annotations

import importlib.util
from typing import TYPE_CHECKING, Any

import numpy as np

from rounds.hearing.pitch import START_S
from rounds.hearing.strike import END_S

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.benchmarks.strikes import Case

    Tracker = Callable[[Case], float | None]


def _stretch(case: Case) -> np.ndarray:
    first = case.onset_index + round(START_S * case.sample_rate_hz)
    return case.samples[first : case.onset_index + round(END_S["final"] * case.sample_rate_hz)]


def _band_hz(case: Case) -> tuple[float, float]:
    target_hz = case.expectation.target_hz or 500.0
    ratio = 2 ** (case.expectation.half_width_cents / 1200)
    return target_hz / ratio, target_hz * ratio


def _median(values: list[float]) -> float | None:
    return float(np.median(values)) if values else None


def _aubio(method: str, size: int) -> Tracker:
    def track(case: Case) -> float | None:
        import aubio

        hop = size // 4
        detector = aubio.pitch(method, size, hop, case.sample_rate_hz)
        samples = np.ascontiguousarray(_stretch(case), np.float32)
        frames = [samples[k : k + hop] for k in range(0, samples.size - hop + 1, hop)]
        heard = [float(detector(frame)[0]) for frame in frames]
        return _median([hz for hz in heard[4:] if hz > 0.0])

    return track


def _pyin(case: Case) -> float | None:
    import librosa

    low_hz, high_hz = _band_hz(case)
    low_hz, high_hz = low_hz / 2.0, high_hz * 2.0  # it cannot do with less than an octave or two
    size = 2048 if low_hz > 60.0 else 4096
    heard, voiced, _ = librosa.pyin(
        _stretch(case), fmin=low_hz, fmax=high_hz, sr=case.sample_rate_hz, frame_length=size, hop_length=512
    )
    return _median([float(hz) for hz, yes in zip(heard, voiced, strict=True) if yes])


SWIFT_TOP_HZ = 2093.0
_swift_detectors: list[Any] = []


def _swift_f0(case: Case) -> float | None:
    from swift_f0 import SwiftF0

    if not _swift_detectors:
        _swift_detectors.append(SwiftF0(threads=1, spin=False))
    low_hz, high_hz = _band_hz(case)
    result = _swift_detectors[0].detect(
        _stretch(case), case.sample_rate_hz, low_hz, min(high_hz, SWIFT_TOP_HZ)
    )
    sure = result.confidence >= 0.5
    return _median([float(hz) for hz in (result.pitch_hz[sure] if sure.any() else result.pitch_hz)])


TRACKERS: dict[str, tuple[str, Tracker]] = {
    "aubio yinfft 2048": ("aubio", _aubio("yinfft", 2048)),
    "aubio fcomb 4096": ("aubio", _aubio("fcomb", 4096)),
    "librosa.pyin": ("librosa", _pyin),
    "swift-f0": ("swift_f0", _swift_f0),
}
"""Name to the package it needs and how it is called."""


def missing() -> list[str]:
    """Those that this machine lacks."""
    return [name for name in TRACKERS if name not in installed()]


def installed() -> dict[str, Tracker]:
    """Those that this machine has."""
    return {name: call for name, (module, call) in TRACKERS.items() if importlib.util.find_spec(module)}
