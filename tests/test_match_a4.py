"""A4 as it was yesterday, or as in a recording: all targets move with it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.errors import BadInput
from rounds.events import ShiftChosen
from rounds.faces.lines import Lines
from rounds.hearing.reference import a4_of_recording
from rounds.notes import cents
from rounds.sessions.session import Session
from rounds.simulation import sound
from tests.audio import write_wav
from tests.test_session import NOTES, Bench

if TYPE_CHECKING:
    from pathlib import Path

RATE_HZ = 48_000
SHIFT = cents(443.0, 440.0)


def played(hz: tuple[float, ...]) -> np.ndarray:
    rng = np.random.default_rng(5)
    samples = np.zeros(round((1.0 + 1.3 * len(hz)) * RATE_HZ), np.float32)
    for k, each in enumerate(hz):
        strike = sound.struck(each, rng, ring_s=0.6, duration_s=1.0, loudness_dbfs=-12.0)
        samples[round((0.5 + 1.3 * k) * RATE_HZ) :][: strike.size] += strike
    return samples + sound.room_noise(samples.size, rng, -70.0)


def test_a_round_is_tuned_to_another_a4() -> None:
    """ISO 16 has A4 at 440 Hz; every bottle ends 11.8 cents higher for 443."""
    bench = Bench({})
    bench.session.open_round(bench.now_s)
    bench.session.match_a4(443.0, bench.now_s)
    bench.run()
    assert bench.session.day.shift_cents == pytest.approx(11.76, abs=0.01)
    assert all(abs(bench.off(n) - SHIFT) <= 10.0 for n in NOTES)


def test_the_a4_of_the_round_before_is_kept_over_night() -> None:
    bench = Bench({})
    bench.session.open_round(bench.now_s)
    bench.session.match_a4(443.0, bench.now_s)
    bench.session.close_round(bench.now_s)
    tomorrow = Session(bench.rig, bench.log, bench.now_s + 80_000.0)
    tomorrow.open_round(bench.now_s + 80_001.0)
    assert tomorrow.day.shift_cents == 0.0
    tomorrow.match_a4("last", bench.now_s + 80_002.0)
    assert tomorrow.day.shift_cents == pytest.approx(SHIFT)
    tomorrow.match_a4("last", bench.now_s + 80_003.0)
    assert len(bench.events(ShiftChosen)) == 2


@pytest.mark.parametrize("a4", [200.0, 480.0, float("nan"), -440.0])
def test_more_than_a_semitone_is_refused_and_no_round_opened(a4: float) -> None:
    bench = Bench({})
    bench.session.open_round(bench.now_s)
    with pytest.raises(BadInput, match="semitone"):
        bench.session.match_a4(a4, bench.now_s)
    bench.session.close_round(bench.now_s)
    lines = Lines(bench.session, bench.now_s, lambda _session, _path: [])
    told = json.loads(lines.answer('{"open": {"a4_hz": 200}}', 1.0))
    assert "semitone" in told["error"]
    assert told["round"]["open"] is False


def test_lines_say_what_a4_is(tmp_path: Path) -> None:
    bench = Bench({})
    lines = Lines(bench.session, bench.now_s, lambda _session, _path: [])
    told = json.loads(lines.answer('{"open": {"a4_hz": 443}}', 1.0))
    assert told["error"] is None
    assert told["round"]["reference_hz"] == pytest.approx(443.0, abs=0.01)


@pytest.mark.parametrize("a4_hz", [436.0, 440.0, 445.5])
def test_the_a4_of_a_recording(tmp_path: Path, a4_hz: float) -> None:
    """E4 lies 500 cents under A4 in equal temperament, whatever A4 is."""
    e4_hz = a4_hz * 2.0 ** (-5.0 / 12.0)
    path = write_wav(tmp_path / "e4.wav", played((e4_hz, e4_hz, e4_hz)), RATE_HZ)
    assert cents(a4_of_recording(str(path)), a4_hz) == pytest.approx(0.0, abs=1.5)


def test_a_recording_without_an_a4_is_refused(tmp_path: Path) -> None:
    silent = write_wav(tmp_path / "silent.wav", np.zeros(RATE_HZ), RATE_HZ)
    with pytest.raises(BadInput, match="no strike is clear"):
        a4_of_recording(str(silent))
    apart = write_wav(tmp_path / "apart.wav", played((330.0, 330.0 * 2.0 ** (40.0 / 1200.0))), RATE_HZ)
    with pytest.raises(BadInput, match="no A4 in common"):
        a4_of_recording(str(apart))
