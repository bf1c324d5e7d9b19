"""The path from sound to readings: onsets, the ear, the reading of one strike."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from rounds.hearing.ear import MOVE_ADVICE, Ear, _Doubts, blurred_alike
from rounds.hearing.reading import Expectation, Reading
from rounds.hearing.spectrum import comb_pitch_hz
from rounds.hearing.strike import measure
from rounds.notes import cents
from rounds.simulation import sound

RATE_HZ = 48_000


def _strike(
    hz: float, number: int, *, lead_s: float = 0.3, rate_hz: int = RATE_HZ, **how: float
) -> np.ndarray:
    rng = np.random.default_rng([20, number])
    lead = np.zeros(round(lead_s * rate_hz), np.float32)
    samples = np.concatenate([lead, sound.struck(hz, rng, sample_rate_hz=rate_hz, **how)])  # type: ignore[arg-type]
    return samples + sound.room_noise(samples.size, rng, -70.0, sample_rate_hz=rate_hz)


def _hear(samples: np.ndarray, expectation: Expectation, *, block: int = 480) -> list[Reading]:
    ear = Ear(RATE_HZ, expectation)
    readings = [
        r for start in range(0, samples.size, block) for r in ear.feed(samples[start : start + block])
    ]
    return readings + ear.flush()


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("hz", [131.0, 261.6, 523.3, 880.0, 1568.0])
def test_a_quiet_dry_strike_is_read_within_a_cent(hz: float, rate_hz: int) -> None:
    samples = _strike(hz * 1.01, 1, rate_hz=rate_hz)
    reading = measure(samples, rate_hz, round(0.3 * rate_hz), Expectation(hz))
    assert reading.verdict == "clear"
    assert reading.hz is not None
    assert abs(cents(reading.hz, hz * 1.01)) < 1.0
    assert reading.cents == pytest.approx(cents(hz * 1.01, hz), abs=1.0)
    assert reading.at_s == pytest.approx(0.3, abs=0.001)


def test_a_strike_gives_a_hint_and_a_reading_of_one_onset() -> None:
    readings = _hear(_strike(523.3, 2), Expectation(523.3))
    assert [r.stage for r in readings] == ["provisional", "final"]
    assert {r.at_s for r in readings} == {readings[0].at_s}
    assert readings[0].at_s == pytest.approx(0.3, abs=0.002)


@pytest.mark.parametrize(("ring_s", "counts_s"), [(0.8, 0.39), (0.15, 0.24)])
def test_only_a_strike_that_rings_on_is_waited_for(ring_s: float, counts_s: float) -> None:
    samples = _strike(523.3, 2, ring_s=ring_s)
    ear = Ear(RATE_HZ, Expectation(523.3))
    came_s = {
        r.stage: start / RATE_HZ - r.at_s
        for start in range(0, samples.size, 480)
        for r in ear.feed(samples[start : start + 480])
    }
    assert came_s["provisional"] == pytest.approx(0.13, abs=0.02)
    assert came_s["final"] == pytest.approx(counts_s, abs=0.02)


def test_two_blurred_strikes_ask_to_move_the_microphone_whichever_reading_is_shown(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def blurred(*args: Any, **how: Any) -> Reading:
        return replace(measure(*args, **how), verdict="unclear", advice="Closer.")

    monkeypatch.setattr("rounds.hearing.ear.measure", blurred)
    both = np.concatenate([_strike(440.0, 8), _strike(440.0, 9)])
    heard = [(r.stage, r.advice) for r in _hear(both, Expectation(440.0))]
    assert heard[:2] == [(stage, "Closer.") for stage in ("provisional", "final")]
    assert heard[2:] == [("provisional", "Closer."), ("final", MOVE_ADVICE)]


@pytest.mark.slow
def test_readings_do_not_depend_on_the_size_of_blocks() -> None:
    samples = _strike(440.0, 3)
    heard = [_hear(samples, Expectation(440.0), block=block) for block in (1, 480, 5000, samples.size)]
    assert all(a == b for a, b in itertools.pairwise(heard))


def test_another_bottle_is_told_and_its_pitch_given() -> None:
    readings = _hear(_strike(659.3, 4), Expectation(523.3))
    assert {r.verdict for r in readings} == {"other_bottle"}
    assert readings[-1].hz == pytest.approx(659.3, rel=1e-3)
    assert {r.cents for r in readings} == {None}


def test_without_a_target_any_bottle_is_read() -> None:
    for hz in (110.0, 262.0, 1000.0, 2400.0):
        reading = _hear(_strike(hz, 5), Expectation())[-1]
        assert reading.verdict == "clear"
        assert reading.hz == pytest.approx(hz, rel=1e-3)
        assert reading.cents is None


def test_two_strikes_blurred_alike_ask_for_a_moved_microphone() -> None:
    blurred = Reading(440.0, 14.0, "unclear", "Closer.", 0.5, -10.0, at_s=1.0)
    assert blurred_alike(blurred, replace(blurred, at_s=4.0, hz=441.0))
    assert not blurred_alike(blurred, replace(blurred, at_s=4.0, hz=500.0))
    assert not blurred_alike(blurred, replace(blurred, at_s=4.0, verdict="clear"))
    assert not blurred_alike(blurred, replace(blurred, at_s=60.0))
    assert not blurred_alike(None, blurred)


def test_striking_again_in_one_place_gives_the_same_error() -> None:
    """Why the ear asks for a moved microphone: the room does the same to every strike."""
    errors = []
    for loudness_dbfs in (-12.0, -20.0, -16.0):
        rng = np.random.default_rng(21)  # the same room each time
        dry = np.concatenate(
            [np.zeros(14_400, np.float32), sound.struck(440.0, rng, partials=(), click_db=-60.0)]
        )
        wet = sound.room(dry, 6.0, 0.6, rng) * np.float32(10 ** (loudness_dbfs / 20))
        reading = measure(wet, RATE_HZ, 14_400, Expectation(440.0))
        errors.append(reading.cents or 0.0)
    assert max(errors) - min(errors) < 0.05 * abs(errors[0]) + 0.01
    assert abs(errors[0]) > 0.1


def test_a_faint_noise_just_before_a_strike_is_not_its_beginning() -> None:
    samples = _strike(523.3, 6)
    samples[10_000:10_200] += np.float32(0.005) * np.random.default_rng(7).standard_normal(200).astype(
        np.float32
    )
    assert _hear(samples, Expectation(523.3))[-1].at_s == pytest.approx(0.3, abs=0.003)


def test_the_ring_is_the_bottles_own_where_the_room_rings_longer() -> None:
    heard_s = []
    for number in range(12):
        rng = np.random.default_rng([61, number])
        dry = np.concatenate([np.zeros(14_400, np.float32), sound.struck(600.0, rng, ring_s=0.15)])
        samples = sound.room(dry, 14.0, 0.6, rng)
        heard_s.append(measure(samples, RATE_HZ, 14_400, Expectation(600.0)).ring_s or 0.0)
    assert float(np.median(heard_s)) == pytest.approx(0.15, rel=0.2)


def test_the_coarse_pitch_does_not_hang_on_the_strike_before() -> None:
    """aubio's comb remembers phases: of the same sound it must say the same, whatever came first."""
    tone = sound.struck(147.5, np.random.default_rng(62), duration_s=0.2).astype(np.float64)
    answers = []
    for before_hz in (330.0, 523.0, 90.0):
        comb_pitch_hz(sound.struck(before_hz, np.random.default_rng(63)).astype(np.float64), RATE_HZ)
        answers.append(comb_pitch_hz(tone, RATE_HZ))
    assert answers[0] is not None
    assert answers[0] == pytest.approx(147.5, rel=0.02)
    assert answers == pytest.approx([answers[0]] * 3)


def test_a_partial_in_the_band_is_the_other_bottle_whose_main_mode_lies_below() -> None:
    """Half as loud as the main mode an octave below, which was not there before the strike."""
    low, partial = _strike(261.6, 4), _strike(523.2, 4)
    count = min(low.size, partial.size)
    readings = _hear(low[:count] + np.float32(0.5) * partial[:count], Expectation(523.2))
    assert {r.verdict for r in readings} == {"other_bottle"}
    assert readings[-1].hz == pytest.approx(261.6, rel=1e-3)


def test_noise_before_a_quiet_strike_is_no_bottle_that_still_rings() -> None:
    """A tone ringing on stands out of the noise around it; a strike hardly louder than the noise is quiet."""
    for number in (0, 1, 2, 3, 4, 5):
        rng = np.random.default_rng([20, number])
        struck = sound.struck(440.0, rng, loudness_dbfs=-40.0)
        samples = np.concatenate([np.zeros(14_400, np.float32), struck])
        samples += sound.room_noise(samples.size, rng, -50.0)
        assert "two_ringing" not in {r.verdict for r in _hear(samples, Expectation(440.0))}


def test_a_stream_that_begins_inside_a_ring_has_no_strike_there() -> None:
    assert _hear(_strike(440.0, 10, lead_s=0.0)[4_800:], Expectation(440.0)) == []
    assert _hear(_strike(440.0, 10, lead_s=0.02), Expectation(440.0))[-1].verdict == "clear"


@pytest.mark.parametrize("begins_at", [0.0, 0.25, 0.6])
def test_a_strike_soon_after_such_a_stream_began_is_the_first(begins_at: float) -> None:
    strike = _strike(440.0, 12, lead_s=0.35)
    hum = 0.02 * np.sin(2 * np.pi * (180.0 * np.arange(strike.size) / RATE_HZ + begins_at))
    found = _hear((strike + hum).astype(np.float32), Expectation(440.0))
    assert {round(r.at_s, 2) for r in found} == {0.35}


@pytest.mark.parametrize("offset", [0.0, 0.2])
def test_a_strike_whose_tone_still_grows_is_read_whatever_lies_under_it(offset: float) -> None:
    """A soft mallet on a bar: loudest after a seventh of a second. A constant offset hides no jump."""
    seconds = np.arange(RATE_HZ) / RATE_HZ
    tone = 0.3 * np.exp(-1.5 * seconds) * (1.0 - 0.6 * np.exp(-12.0 * seconds))
    samples = np.concatenate([np.zeros(14_400), tone * np.sin(2 * np.pi * 262.0 * seconds)])
    samples += 0.0003 * np.random.default_rng(67).standard_normal(samples.size) + offset
    reading = _hear(samples.astype(np.float32), Expectation(262.0))[-1]
    assert reading.verdict == "clear"
    assert reading.certain
    assert abs(cents(reading.hz or 1.0, 262.0)) <= (reading.u95_cents or 0.0)


def test_a_glide_is_read_at_its_end() -> None:
    """It falls by 30 cents as its power does (tension follows the amplitude squared), in rooms."""
    seconds, errors = np.arange(RATE_HZ) / RATE_HZ, []
    for number in range(6):
        turns = np.cumsum(523.3 * 2 ** (30.0 * np.exp(-12.0 * seconds) / 1200)) / RATE_HZ
        dry = np.concatenate([np.zeros(14_400), 0.3 * np.exp(-6.0 * seconds) * np.sin(2 * np.pi * turns)])
        heard = sound.room(dry.astype(np.float32), 16.0, 0.4, np.random.default_rng([68, number]))
        reading = measure(heard, RATE_HZ, 14_400, Expectation(523.3))
        errors.append(cents(reading.hz or 1.0, 523.3))
    assert abs(float(np.median(errors))) < 1.0
    assert max(map(abs, errors)) < 4.0


def test_gain_that_comes_up_again_makes_no_second_strike() -> None:
    samples = _strike(440.0, 11, ring_s=0.9)
    seconds = np.arange(samples.size) / RATE_HZ - 0.3
    riding = samples * 10 ** (np.clip(40.0 * seconds - 2.0, -2.0, 20.0) / 20)
    readings = _hear(riding.astype(np.float32), Expectation(440.0))
    assert len({r.at_s for r in readings}) == 1


def test_a_clink_above_the_bottles_is_not_a_bottle() -> None:
    """Loudest at 4.8 kHz: the tone that is left at 1347 Hz is none of a bottle that was struck."""
    both = sound.struck(1347.0, np.random.default_rng(64), loudness_dbfs=-40.0, partials=())
    both += sound.struck(4800.0, np.random.default_rng(65), loudness_dbfs=-12.0, partials=())
    samples = np.concatenate([np.zeros(14_400, np.float32), both])
    for expectation in (Expectation(1347.0), Expectation()):
        assert "clear" not in {r.verdict for r in _hear(samples, expectation)}


def test_a_strike_too_dull_to_be_read_is_answered() -> None:
    """A tom, as deep drums are: its pitch falls by half an octave while it dies."""
    seconds = np.arange(RATE_HZ) / RATE_HZ
    phase = 2 * np.pi * np.cumsum(150.0 + 60.0 * np.exp(-25.0 * seconds)) / RATE_HZ
    tom = (0.3 * np.exp(-25.0 * seconds) * np.sin(phase)).astype(np.float32)
    samples = np.concatenate([np.zeros(14_400, np.float32), tom])
    samples += sound.room_noise(samples.size, np.random.default_rng(66), -80.0)
    readings = _hear(samples, Expectation())
    assert [r.verdict for r in readings if r.final] == ["unclear"]
    assert readings[-1].advice


def test_a_word_that_begins_like_a_strike_is_not_believed() -> None:
    """A voice at 186 Hz under a formant (any handbook of speech): its third harmonic is loudest."""
    seconds = np.arange(RATE_HZ) / RATE_HZ
    voice = sum(
        np.sin(2 * np.pi * 186.0 * k * seconds + k) / (1.0 + ((186.0 * k - 558.0) / 120.0) ** 2)
        for k in range(1, 12)
    )
    samples = np.concatenate([np.zeros(14_400), 0.2 * np.exp(-4.0 * seconds) * voice])
    samples += sound.room_noise(samples.size, np.random.default_rng(69), -70.0)
    for expectation in (Expectation(), Expectation(558.0)):
        found = _hear(samples.astype(np.float32), expectation)
        assert "clear" not in {r.verdict for r in found if r.final}
        assert not any(r.certain for r in found)


def test_what_may_be_no_strike_is_answered_only_so_often() -> None:
    """A room that makes such sounds all the time would be answered with a stream of hints."""
    once = Reading(hz=440.0, u95_cents=14.0, verdict="unclear", at_s=1.0, certain=False)
    doubts = _Doubts(endless=False)
    assert [doubts.allow(replace(once, at_s=float(t))) for t in range(4)] == [True, True, False, False]
    assert doubts.allow(replace(once, at_s=800.0))
    assert not doubts.allow(replace(once, at_s=801.0))
    assert doubts.allow(replace(once, at_s=802.0, certain=True))
    assert doubts.allow(replace(once, at_s=803.0))


@pytest.mark.parametrize(("loudness_dbfs", "verdict"), [(-30.0, "clear"), (-48.0, "clear"), (-62.0, "quiet")])
def test_a_strike_below_55_dbfs_is_quiet_however_clear(loudness_dbfs: float, verdict: str) -> None:
    rng = np.random.default_rng([20, 7])
    struck = sound.struck(440.0, rng, loudness_dbfs=loudness_dbfs)
    samples = np.concatenate([np.zeros(14_400, np.float32), struck])
    samples += sound.room_noise(samples.size, rng, -105.0)
    reading = measure(samples, RATE_HZ, 14_400, Expectation(440.0))
    peak_dbfs = 20.0 * np.log10(np.max(np.abs(samples)))
    assert reading.peak_dbfs == pytest.approx(peak_dbfs, abs=0.1)
    assert reading.verdict == verdict


@pytest.mark.parametrize(("off_cents", "verdict"), [(100.0, "two_ringing"), (700.0, "clear")])
def test_a_neighbour_that_rings_on_is_told_and_a_far_bottle_does_no_harm(
    off_cents: float, verdict: str
) -> None:
    """A semitone away it pulls the reading; a fifth away it does not."""
    rng = np.random.default_rng([20, 8])
    off_hz = 440.0 * 2.0 ** (off_cents / 1200.0)
    ringing = np.float32(0.4) * sound.struck(off_hz, rng, ring_s=3.0, duration_s=2.0)
    struck = sound.struck(440.0, rng, duration_s=1.4)
    samples = sound.room_noise(ringing.size, rng, -90.0)
    samples += ringing
    samples[14_400 : 14_400 + struck.size] += struck
    assert measure(samples, RATE_HZ, 14_400, Expectation(440.0)).verdict == verdict
