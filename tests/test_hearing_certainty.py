"""What a reading's uncertainty is made of, and when two tones are believed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rounds.hearing.certainty import Signs, u95_cents
from rounds.hearing.reading import Expectation, Reading
from rounds.hearing.strike import measure
from rounds.notes import cents
from rounds.simulation.sound import Doublet, room, struck

RATE_HZ = 48_000
SIGNS = Signs(hz=523.0, sd_cents=0.3, peak_cents=0.4, decay=8.0, dry=0.0, length_s=0.38, settled=1.0)


def test_an_array_of_signs_gives_what_each_strike_gives() -> None:
    names = ("hz", "sd_cents", "dry", "shift_cents", "belief")
    strikes = [(523.0, 0.3, 0.0, 0.0, 0.0), (131.0, 2.0, 0.0, 8.0, 0.5), (1500.0, 0.001, 0.7, 0.0, 0.0)]
    alone = [float(u95_cents(replace(SIGNS, **dict(zip(names, one, strict=True))))) for one in strikes]
    columns = {name: np.array(column) for name, column in zip(names, zip(*strikes, strict=True), strict=True)}
    assert list(u95_cents(replace(SIGNS, **columns))) == pytest.approx(alone)


@pytest.mark.parametrize(
    "worse",
    [
        {"sd_cents": 0.6},
        {"peak_cents": 1.0},
        {"moved_cents": 2.0},
        {"bent_cents": 1.0},
        {"glide_sd_cents": 1.0},
        {"shift_cents": 3.0},
    ],
)
def test_every_sign_of_trouble_widens_it(worse: dict[str, float]) -> None:
    assert float(u95_cents(replace(SIGNS, **worse))) > 1.05 * float(u95_cents(SIGNS))


def test_without_a_room_only_the_noise_counts() -> None:
    """1.96 standard deviations hold 95 in 100 of a normal error (any table); ours is wider, not narrower."""
    dry = replace(SIGNS, dry=0.8, peak_cents=5.0)
    assert 1.96 * 0.3 <= float(u95_cents(dry)) <= 3.2 * 0.3


def test_two_tones_too_equal_to_choose_between_leave_both_open() -> None:
    equal = replace(SIGNS, belief=1.0, pair_sd_cents=0.1, pair_apart_cents=20.0, pair_ratio_db=2.0)
    assert float(u95_cents(equal)) > 20.0
    assert float(u95_cents(replace(equal, pair_ratio_db=8.0))) < 2.0


def _read(dry: np.ndarray, hz: float) -> Reading:
    rng = np.random.default_rng(52)
    sound = np.concatenate([np.zeros(14_400), dry]).astype(np.float32)
    return measure(room(sound, 12.0, 0.5, rng), RATE_HZ, 14_400, Expectation(hz))


def test_a_tremolo_is_not_taken_for_two_tones() -> None:
    """Its side lines lie evenly about the tone (any handbook of modulation): the tone itself is the pitch."""
    seconds = np.arange(RATE_HZ) / RATE_HZ
    for phase in np.linspace(0.0, 2 * np.pi, 6, endpoint=False):
        loudness = 0.1 * np.exp(-3.0 * seconds) * (1.0 + 0.6 * np.cos(2 * np.pi * 6.0 * seconds + phase))
        reading = _read(loudness * np.sin(2 * np.pi * 440.0 * seconds), 440.0)
        if reading.hz is not None:  # one that begins in a dip swells, and may be passed over
            assert abs(cents(reading.hz, 440.0)) < max(2.0, reading.u95_cents or 0.0)
            assert reading.verdict != "clear" or abs(cents(reading.hz, 440.0)) < 5.0


def test_of_two_tones_that_beat_the_stronger_one_is_read() -> None:
    for split_cents in (-25.0, 25.0):
        rng = np.random.default_rng(53)
        dry = struck(800.0, rng, ring_s=0.9, doublet=Doublet(split_cents, -7.0))
        reading = _read(dry, 800.0)
        assert reading.verdict == "clear"
        assert abs(cents(reading.hz or 1.0, 800.0)) < 1.5
