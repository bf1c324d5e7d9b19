"""What is said of a microphone: muted or not, and how it stands, from a few strikes of any bottle."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.hearing.muted import Muted
from rounds.hearing.placing import Placing, keep, kept, label
from rounds.hearing.soundcheck import CLIPS, DEAD, HUMS, NO_STRIKE, RIDES, SoundCheck
from rounds.simulation import sound

if TYPE_CHECKING:
    from pathlib import Path

RATE_HZ = 48_000


def strikes_of(*, drr_db: float, loudness_dbfs: float = -12.0, noise_dbfs: float = -70.0) -> np.ndarray:
    rng = np.random.default_rng(71)
    dry = np.zeros(5 * RATE_HZ, np.float32)
    for k in range(3):
        strike = sound.struck(330.0, rng, ring_s=0.6, duration_s=1.0, loudness_dbfs=loudness_dbfs)
        dry[round((1.0 + 1.3 * k) * RATE_HZ) :][: strike.size] += strike
    heard = sound.room(dry, drr_db, 0.5, rng)
    return heard + sound.room_noise(heard.size, rng, noise_dbfs)


def _said(samples: np.ndarray) -> tuple[str, str]:
    check = SoundCheck(RATE_HZ)
    for start in range(0, samples.size, 480):
        check.feed(samples[start : start + 480].astype(np.float32))
    return check.placing()


def test_a_microphone_at_the_bottle_will_do_and_one_across_the_room_will_not() -> None:
    near, far = _said(strikes_of(drr_db=30.0)), _said(strikes_of(drr_db=0.0))
    assert near[0] == "good"
    assert near[1].endswith("this will do.")
    assert far[0] != "good"
    assert "microphone" in far[1]


def test_a_clipped_signal_does_not_do() -> None:
    assert _said(np.clip(8.0 * strikes_of(drr_db=30.0), -1.0, 1.0)) == ("bad", CLIPS)


def test_gain_that_rides_is_found_by_the_quiet_after_a_strike() -> None:
    samples = strikes_of(drr_db=30.0, noise_dbfs=-50.0)
    gain_db, gains = 0.0, []
    for step in samples[: samples.size // 48 * 48].reshape(-1, 48):
        loud_db = 20 * np.log10(np.abs(step).max() + 1e-9) + gain_db
        gain_db = max(-25.0, gain_db - 2.0) if loud_db > -36.0 else min(0.0, gain_db + 0.01)
        gains.append(gain_db)
    riding = samples[: samples.size // 48 * 48] * 10 ** (np.repeat(gains, 48) / 20)
    assert _said(riding) == ("bad", RIDES)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_told_from_the_noise_of_a_room(mains_hz: float) -> None:
    samples = strikes_of(drr_db=30.0)
    seconds = np.arange(samples.size) / RATE_HZ
    hum = sum(np.sin(2 * np.pi * mains_hz * k * seconds) / k for k in range(1, 6))
    assert _said(samples + 0.003 * hum) == ("bad", HUMS)
    assert _said(samples)[1] != HUMS


def test_zeros_are_a_dead_microphone_and_silence_is_a_missing_strike() -> None:
    assert _said(np.zeros(RATE_HZ)) == ("bad", DEAD)
    quiet = sound.room_noise(RATE_HZ, np.random.default_rng(72), -70.0)
    assert _said(quiet) == ("usable", NO_STRIKE)


def _muted_after(levels: list[tuple[float, float]]) -> bool:
    muted = Muted()
    return [muted.feed(level, 0.1) for level, seconds in levels for _ in range(round(10 * seconds))][-1]


def test_five_seconds_of_zeros_are_a_muted_microphone() -> None:
    assert _muted_after([(-120.0, 5.0)])
    assert not _muted_after([(-120.0, 4.8)])
    assert _muted_after([(-60.0, 10.0), (-120.0, 5.0)])


def test_a_noise_gate_that_opened_before_is_not_a_muted_microphone() -> None:
    assert not _muted_after([(-60.0, 1.0), (-120.0, 2.0), (-20.0, 0.5), (-120.0, 20.0)])


def test_what_was_said_of_a_microphone_is_kept_for_the_session(tmp_path: Path) -> None:
    path = tmp_path / "state" / "microphone.json"
    assert kept(path) is None
    assert label(path, None) == ""
    keep(path, Placing("USB microphone", "usable", "Closer is better."))
    assert kept(path) == Placing("USB microphone", "usable", "Closer is better.")
    assert label(path, None) == "USB microphone, checked: usable"
    assert label(path, "usb") == "USB microphone, checked: usable"
    assert label(path, "other") == "other"
    path.write_text("{", encoding="utf-8")
    assert kept(path) is None
