"""Two recordings side by side.

Outside checks: K-weighting against the coefficients printed in ITU-R BS.1770-4 (tables 1 and 2) and
its reading of a full-scale 997 Hz sine; gating and momentary loudness against the synthetic signals
of EBU Tech 3341 (levels and lengths from memory); the centroid against aubio's descriptor; intervals against
scipy.stats and the worked example of the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2
(data set ZARR13, summary numbers from memory). Ring time, glide and click are checked on sounds made
here with those very numbers.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import wave
from dataclasses import replace
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import aubio
import numpy as np
import pytest
from scipy import stats
from scipy.signal import butter, resample_poly, sosfilt

from rounds.commands import compare as command
from rounds.errors import BadInput, RoundsError
from rounds.hearing.sources import WavSource
from rounds.notes import parse_note
from rounds.simulation.sound import Partial, room, room_noise, struck
from rounds.workshop import compare as comparing
from rounds.workshop.compare import MEASURES, Measure, contrast, difference_interval, hear, mean_interval
from rounds.workshop.loudness import integrated_lufs, k_weighted, k_weighting, momentary_lufs
from rounds.workshop.plot import svg_plot, text_plot
from rounds.workshop.tone import StrikeSound, click_above_hz, tone_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

pytestmark = pytest.mark.slow

RATE_HZ = 48_000
LEAD = RATE_HZ // 5


def sine(hz: float, dbfs: float, seconds: float, rate_hz: int = RATE_HZ) -> NDArray[np.float64]:
    return 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def stereo(*parts: tuple[float, float]) -> NDArray[np.float64]:
    """1000 Hz in both channels, one stretch after another: (level in dBFS, seconds)."""
    mono = np.concatenate([sine(1000.0, level, seconds) for level, seconds in parts])
    return np.stack([mono, mono], axis=1)


def test_k_weighting_is_the_printed_one() -> None:
    """ITU-R BS.1770-4, tables 1 and 2: coefficients for 48 kHz."""
    shelf, highpass = k_weighting(48_000)
    assert shelf.b == pytest.approx((1.53512485958697, -2.69169618940638, 1.19839281085285), abs=1e-13)
    assert shelf.a == pytest.approx((1.0, -1.69065929318241, 0.73248077421585), abs=1e-13)
    assert highpass.b == (1.0, -2.0, 1.0)
    assert highpass.a == pytest.approx((1.0, -1.99004745483398, 0.99007225036621), abs=1e-13)


@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000, 96_000])
def test_a_full_scale_sine_reads_minus_three(rate_hz: int) -> None:
    """ITU-R BS.1770-4: 0 dBFS at 997 Hz in one front channel reads −3.01 LKFS (within 0.1 at other rates)."""
    tolerance = 0.005 if rate_hz == 48_000 else 0.05
    assert integrated_lufs(sine(997.0, 0.0, 5.0, rate_hz), rate_hz) == pytest.approx(-3.01, abs=tolerance)


@pytest.mark.parametrize(
    ("parts", "lufs"),
    [
        ([(-23.0, 20.0)], -23.0),
        ([(-33.0, 20.0)], -33.0),
        ([(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
        ([(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
        ([(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
    ],
)
def test_gated_loudness_of_the_ebu_signals(parts: list[tuple[float, float]], lufs: float) -> None:
    """EBU Tech 3341, test signals 1 to 5: within 0.1 LU."""
    assert integrated_lufs(stereo(*parts), RATE_HZ) == pytest.approx(lufs, abs=0.1)


def test_momentary_loudness_of_the_ebu_signal() -> None:
    """EBU Tech 3341, signal 12: 0.18 s at −20 and 0.22 s at −30 dBFS in turn read −23.0 ± 0.1 always."""
    weighted = k_weighted(stereo(*[(-20.0, 0.18), (-30.0, 0.22)] * 10), RATE_HZ)
    for start_s in (1.0, 1.1, 1.27, 2.0, 3.3):
        read = momentary_lufs(weighted, RATE_HZ, round(start_s * RATE_HZ))
        assert read == pytest.approx(-23.0, abs=0.1)
    assert momentary_lufs(weighted, RATE_HZ, len(weighted) - 100) is None


def test_blocks_below_the_absolute_gate_do_not_lower_the_relative_one() -> None:
    """ITU-R BS.1770-4: the relative gate, −10 LU, is taken from blocks above −70 LKFS alone.

    5 s at −20 and 10 s at −38 dBFS have a mean of −24.6: the gate at −34.6 leaves the −20 alone. Were
    the minute at −80 counted in, the mean would be −31.6 and the −38 would pass.
    """
    read = integrated_lufs(stereo((-20.0, 5.0), (-38.0, 10.0), (-80.0, 60.0)), RATE_HZ)
    assert read == pytest.approx(-20.0, abs=0.3)


def test_blocks_overlap_by_three_quarters() -> None:
    """ITU-R BS.1770-4: 400 ms every 100 ms. A burst of one block is seen by seven, whole, ¾, ½ and ¼."""
    read = integrated_lufs(stereo((-200.0, 2.2), (-23.0, 0.4), (-200.0, 2.0)), RATE_HZ)
    assert read == pytest.approx(-23.0 + 10 * math.log10((1 + 2 * (0.75 + 0.5 + 0.25)) / 7), abs=0.1)


def test_silence_has_no_loudness() -> None:
    assert integrated_lufs(np.zeros(RATE_HZ), RATE_HZ) == -math.inf
    assert integrated_lufs(np.zeros(10), RATE_HZ) == -math.inf


def sound_of(samples: NDArray[np.floating], hz: float, above_hz: float | None = None) -> StrikeSound:
    """A strike after 0.2 s of near silence, its onset told 1 ms late."""
    rng = np.random.default_rng(0)
    sound = 1e-5 * rng.standard_normal(LEAD + samples.size)
    sound[LEAD:] += samples
    above = click_above_hz(hz) if above_hz is None else above_hz
    return StrikeSound(sound, RATE_HZ, LEAD + RATE_HZ // 1000, sound.size, hz, above)


def noisy(strike: StrikeSound, dbfs: float, number: int = 0) -> StrikeSound:
    """The same strike with white noise all over."""
    noise = np.random.default_rng(number).standard_normal(strike.samples.size) * 10 ** (dbfs / 20)
    return replace(strike, samples=strike.samples + noise)


PITCHES = ("C3", "C4", "C5", "C6", "G6")


@pytest.mark.parametrize("note", PITCHES)
@pytest.mark.parametrize("ring_s", [0.25, 0.7, 1.5])
def test_ring_time(note: str, ring_s: float) -> None:
    hz = parse_note(note).hz()
    samples = struck(hz, np.random.default_rng(1), ring_s=ring_s, duration_s=2.0)
    assert tone_of(sound_of(samples, hz)).ring_s == pytest.approx(ring_s, rel=0.02)


@pytest.mark.parametrize("noise_dbfs", [-60.0, -40.0, -32.0, -26.0])
def test_ring_time_in_noise(noise_dbfs: float) -> None:
    found = [
        tone_of(
            noisy(sound_of(struck(392.0, np.random.default_rng(k), ring_s=0.6), 392.0), noise_dbfs, k)
        ).ring_s
        for k in range(12)
    ]
    assert np.mean([f for f in found if f is not None]) == pytest.approx(0.6, rel=0.03)


def test_ring_time_of_a_recording_that_stops_early() -> None:
    """Cut 28 dB down: what is missing of the tail is made up for (ISO 3382-1, 5.3.3, from memory)."""
    samples = struck(392.0, np.random.default_rng(1), ring_s=1.5, duration_s=0.7, partials=())
    assert tone_of(sound_of(samples, 392.0)).ring_s == pytest.approx(1.5, rel=0.03)


def test_ring_time_leaves_the_first_five_decibels_out() -> None:
    """A stroke that falls at once and rings on after: T20 begins at −5 dB."""
    seconds = np.arange(2 * RATE_HZ) / RATE_HZ
    envelope = np.exp(-math.log(1000) / 0.8 * seconds) + 4.0 * np.exp(-math.log(1000) / 0.08 * seconds)
    samples = 0.1 * envelope * np.sin(2 * np.pi * 392.0 * seconds)
    assert tone_of(sound_of(samples, 392.0)).ring_s == pytest.approx(0.8, rel=0.03)


@pytest.mark.parametrize("note", PITCHES)
@pytest.mark.parametrize("cents_per_s", [-30.0, 0.0, 12.0])
def test_glide(note: str, cents_per_s: float) -> None:
    hz, seconds = parse_note(note).hz(), np.arange(2 * RATE_HZ) / RATE_HZ
    phase = 2 * np.pi * hz * (seconds + math.log(2) / 1200 * cents_per_s * seconds**2 / 2)
    ring_s = 0.9
    samples = 0.3 * np.exp(-math.log(1000) / ring_s * seconds) * np.sin(phase)
    from_s, to_s = 0.030, ring_s / 3
    glide = tone_of(sound_of(samples, hz * 2 ** (cents_per_s * 0.15 / 1200))).glide_cents
    assert glide == pytest.approx(cents_per_s * (to_s - from_s), abs=0.2, rel=0.08)


@pytest.mark.parametrize("note", PITCHES)
@pytest.mark.parametrize("click_db", [-25.0, -12.0, 0.0])
def test_click_against_ring(note: str, click_db: float) -> None:
    """The click alone, in its band, against the ring alone: energies known from making them apart."""
    hz = parse_note(note).hz()
    with_click, without = (
        struck(hz, np.random.default_rng(5), click_db=db).astype(np.float64) for db in (click_db, -300.0)
    )
    sections = butter(8, click_above_hz(hz), "highpass", fs=RATE_HZ, output="sos")
    click = sosfilt(sections, with_click - without)
    ring = without[RATE_HZ // 50 :]
    true_db = 10 * math.log10(float(click @ click) / float(ring @ ring))
    assert tone_of(sound_of(with_click, hz)).click_db == pytest.approx(true_db, abs=1.0)


def test_no_click_is_no_number() -> None:
    """Nothing above the partials: −40 dB at most, or None; never a guess near a real click."""
    for note in PITCHES:
        hz = parse_note(note).hz()
        found = tone_of(sound_of(struck(hz, np.random.default_rng(2), click_db=-300.0), hz)).click_db
        assert found is None or found < -40.0
    assert tone_of(sound_of(struck(440.0, np.random.default_rng(2)), 440.0, 23_000.0)).click_db is None


def test_noise_is_no_click() -> None:
    """White noise at −40 dBFS hides a click that is not there; it must not become one."""
    for number in range(12):
        dry = struck(392.0, np.random.default_rng(number), click_db=-300.0)
        assert tone_of(noisy(sound_of(dry, 392.0), -40.0, number)).click_db is None


def test_a_high_partial_that_rings_on_is_no_click() -> None:
    """A partial above the band's edge: nothing without a click, and the click alone with one."""
    high = (Partial(6.0, -14.0, 1.0),)
    with_click, without = (
        struck(523.25, np.random.default_rng(7), partials=high, click_db=db).astype(np.float64)
        for db in (-3.0, -300.0)
    )
    assert tone_of(sound_of(without, 523.25)).click_db is None
    click = sosfilt(
        butter(8, click_above_hz(523.25), "highpass", fs=RATE_HZ, output="sos"), with_click - without
    )
    ring = without[RATE_HZ // 50 :]
    true_db = 10 * math.log10(float(click @ click) / float(ring @ ring))
    assert tone_of(sound_of(with_click, 523.25)).click_db == pytest.approx(true_db, abs=1.0)


def test_rumble_does_not_count() -> None:
    """20 Hz at −20 dBFS under a strike: brightness and click stay."""
    strike = sound_of(struck(392.0, np.random.default_rng(9), click_db=-6.0), 392.0)
    rumble = 0.1 * np.sin(2 * np.pi * 20.0 * np.arange(strike.samples.size) / RATE_HZ)
    clean, shaken = tone_of(strike), tone_of(replace(strike, samples=strike.samples + rumble))
    assert shaken.brightness_hz == pytest.approx(clean.brightness_hz, rel=0.01)
    assert shaken.click_db == pytest.approx(clean.click_db, abs=0.3)


def test_brightness_is_the_centroid_aubio_finds() -> None:
    strike = sound_of(struck(440.0, np.random.default_rng(3), click_db=0.0), 440.0, 5000.0)
    stretch = strike.samples[strike.start : strike.start + RATE_HZ // 4]
    window = np.hanning(2 * stretch.size)[stretch.size :]
    spectrum = aubio.cvec(stretch.size)
    spectrum.norm[:] = np.abs(np.fft.rfft(stretch * window)) ** 2
    bins = aubio.specdesc("centroid", stretch.size)(spectrum)[0]
    assert tone_of(strike).brightness_hz == pytest.approx(bins * RATE_HZ / stretch.size, rel=1e-3)


def test_brightness_rises_with_the_partials() -> None:
    dull, bright = (
        struck(440.0, np.random.default_rng(4), partials=(Partial(2.3, db, 0.5),)) for db in (-30.0, -6.0)
    )
    low, high = (tone_of(sound_of(s, 440.0)).brightness_hz for s in (dull, bright))
    assert low is not None
    assert high is not None
    assert high > low + 50.0


def test_loudness_follows_the_level() -> None:
    quiet, loud = (struck(440.0, np.random.default_rng(4), loudness_dbfs=db) for db in (-30.0, -20.0))
    a, b = (tone_of(sound_of(s, 440.0)).loudness_lufs for s in (quiet, loud))
    assert a is not None
    assert b is not None
    assert b - a == pytest.approx(10.0, abs=0.05)


def test_a_strike_cut_off_gives_what_it_can() -> None:
    samples = struck(440.0, np.random.default_rng(6), duration_s=0.3)
    tone = tone_of(sound_of(samples, 440.0))
    assert tone.loudness_lufs is None
    assert tone.brightness_hz is not None
    stub = tone_of(sound_of(samples[:1000], 440.0))
    assert (stub.ring_s, stub.brightness_hz, stub.glide_cents) == (None, None, None)


def with_moments(count: int, mean: float, sd: float) -> list[float]:
    raw = np.random.default_rng(0).standard_normal(count)
    return list(mean + sd * (raw - raw.mean()) / raw.std(ddof=1))


def test_interval_of_a_mean_as_in_the_handbook() -> None:
    """NIST/SEMATECH 1.3.5.2 (from memory): N 195, mean 9.261460, s 0.022789: 9.258242 to 9.264679."""
    interval = mean_interval(with_moments(195, 9.261460, 0.02278881))
    assert interval is not None
    assert interval.half_width is not None
    assert interval.mean - interval.half_width == pytest.approx(9.258242, abs=2e-6)
    assert interval.mean + interval.half_width == pytest.approx(9.264679, abs=2e-6)


@pytest.mark.parametrize(("n", "m"), [(2, 2), (3, 9), (12, 5)])
def test_intervals_are_those_of_scipy(n: int, m: int) -> None:
    rng = np.random.default_rng(n)
    a, b = rng.normal(1.0, 1.0, n), rng.normal(2.0, 3.0, m)
    theirs = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
    ours = difference_interval(list(a), list(b))
    assert ours is not None
    assert ours.half_width is not None
    assert (ours.mean - ours.half_width, ours.mean + ours.half_width) == pytest.approx(
        (theirs.low, theirs.high)
    )
    one = stats.ttest_1samp(a, 0.0).confidence_interval(0.95)
    mine = mean_interval(list(a))
    assert mine is not None
    assert mine.half_width == pytest.approx((one.high - one.low) / 2)


def test_one_strike_has_no_interval_and_no_finding() -> None:
    found = contrast(MEASURES[0], [1.0], [5.0, 5.1, 5.2])
    assert found.a is not None
    assert found.a.half_width is None
    assert not found.differs
    assert contrast(MEASURES[0], [], [1.0]).difference is None


def test_equal_bottles_are_called_different_once_in_twenty() -> None:
    rng, measure = np.random.default_rng(8), MEASURES[2]
    called = [
        contrast(measure, list(rng.normal(0, 1, 6)), list(rng.normal(0, 2, 9))).differs for _ in range(1500)
    ]
    assert 0.035 < np.mean(called) < 0.065


def recorded(
    path: Path, number: int, *, ring_s: float, click_db: float, hz: float = 392.0, count: int = 6
) -> Path:
    """A recording of strikes in a room, 16 bit, with the wobble of a hand."""
    rng = np.random.default_rng(number)
    parts = [np.zeros(RATE_HZ // 2, np.float32)]
    for _ in range(count):
        dry = struck(
            hz,
            rng,
            ring_s=ring_s * rng.normal(1.0, 0.02),
            click_db=click_db + rng.normal(0.0, 1.0),
            loudness_dbfs=-14.0 + rng.normal(0.0, 1.0),
            duration_s=1.4,
        )
        parts.append(room(dry, 22.0, 0.3, rng))
    sound = np.concatenate(parts)
    write(path, sound + room_noise(sound.size, rng, -65.0))
    return path


def write(path: Path, sound: NDArray[np.floating], rate_hz: int = RATE_HZ) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())


@pytest.fixture(scope="module")
def hard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return recorded(tmp_path_factory.mktemp("hard") / "hard.wav", 1, ring_s=0.6, click_db=-6.0)


@pytest.fixture(scope="module")
def padded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return recorded(tmp_path_factory.mktemp("padded") / "padded.wav", 2, ring_s=0.45, click_db=-18.0)


def run(argv: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    parser = argparse.ArgumentParser()
    command.register(parser.add_subparsers())
    args = parser.parse_args(["compare", *argv])
    assert args.run(args) == 0
    return capsys.readouterr().out


def test_a_padded_mallet_clicks_less_and_rings_shorter(
    hard: Path, padded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Common practice, no source; here made so, and to be heard through the real onsets and pitch."""
    document = json.loads(run([str(hard), str(padded), "--json"], capsys))
    assert (document["a"]["strikes"], document["b"]["strikes"]) == (6, 6)
    measures = document["measures"]
    assert measures["click_db"]["differs"]
    assert measures["click_db"]["b_minus_a"]["mean"] < -6.0
    assert measures["ring_s"]["differs"]
    assert measures["ring_s"]["a"]["mean"] == pytest.approx(0.6, abs=0.03)
    assert measures["ring_s"]["b"]["mean"] == pytest.approx(0.45, abs=0.03)
    assert "BS.1770-4" in document["loudness_measure"]


def test_the_table_fits_and_says_who(hard: Path, padded: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = run([str(hard), str(padded)], capsys)
    assert re.search(r"A clicks more \(by \d+\.\d dB\)\.\nA rings longer \(by 0\.\d+ s\)\.", text)
    shown = [line for line in text.splitlines() if ".wav" not in line]
    assert max(len(line) for line in shown) <= 80
    swapped = run([str(padded), str(hard)], capsys)
    assert re.search(r"B clicks more \(by \d+\.\d dB\)\.\nB rings longer \(by 0\.\d+ s\)\.", swapped)


def test_a_file_against_itself_differs_in_nothing(hard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = json.loads(run([str(hard), str(hard), "--json"], capsys))
    assert not any(m["differs"] for m in document["measures"].values())


def test_svg_is_a_picture_of_both(
    hard: Path, padded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "plot.svg"
    run([str(hard), str(padded), "--svg", str(file)], capsys)
    root = ElementTree.fromstring(file.read_text(encoding="utf-8"))
    space = "{http://www.w3.org/2000/svg}"
    words = " ".join(e.text or "" for e in root.iter(f"{space}text"))
    assert all(m.label in words for m in MEASURES)
    assert len(list(root.iter(f"{space}circle"))) == len(MEASURES) + 1
    with pytest.raises(RoundsError, match="cannot be written"):
        run([str(hard), str(padded), "--svg", str(tmp_path / "none" / "x.svg")], capsys)


def test_names_are_escaped_in_the_picture(hard: Path) -> None:
    heard = hear(WavSource(hard), "a<b>&\x1b.wav")
    picture = svg_plot(comparing.compare(heard, heard))
    assert "a&lt;b&gt;&amp;\\x1b.wav" in picture
    ElementTree.fromstring(picture)


def test_the_text_plot_puts_marks_where_the_numbers_are() -> None:
    measure = Measure("ring_s", "ring", "s", 2, "rings longer")
    found = contrast(measure, [1.0, 1.1, 0.9], [2.0, 2.1, 1.9])
    recording = comparing.Recording("x", 48_000, (440.0,), (), 0, 0, None)
    a, b = text_plot(comparing.Comparison(recording, recording, 2000.0, (found,)))
    assert a.index("o") < b.index("#")
    assert a.count("|") == b.count("|") == 2


def test_another_bottle_in_the_recording_is_left_out(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    notes_hz = [392.0, 392.0, 523.25, 392.0]
    parts = [np.zeros(RATE_HZ // 2, np.float32)] + [struck(hz, rng, duration_s=1.4) for hz in notes_hz]
    path = tmp_path / "mixed.wav"
    write(path, np.concatenate(parts) + room_noise(sum(p.size for p in parts), rng, -65.0))
    heard = hear(WavSource(path), "mixed")
    assert (len(heard.used), heard.left_out) == (3, 1)


def test_noise_alone_is_told(tmp_path: Path) -> None:
    path = tmp_path / "noise.wav"
    write(path, room_noise(2 * RATE_HZ, np.random.default_rng(0), -40.0))
    with pytest.raises(RoundsError, match="no clear strike"):
        hear(WavSource(path), "noise")


def test_other_sample_rates_are_measured_and_told(
    hard: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same strikes at 16 kHz: ring, loudness and pitch stay, the top of the click is gone."""
    source = WavSource(hard)
    sound = resample_poly(np.concatenate(list(source.blocks())).astype(np.float64), 1, 3)
    source.close()
    slow = tmp_path / "slow.wav"
    write(slow, sound, 16_000)
    assert "Sample rates differ" in run([str(hard), str(slow)], capsys)
    document = json.loads(run([str(hard), str(slow), "--json"], capsys))
    assert document["b"]["hz"] == pytest.approx(document["a"]["hz"], rel=1e-4)
    for field, within in (("ring_s", 0.01), ("loudness_lufs", 0.3)):
        assert document["measures"][field]["b_minus_a"]["mean"] == pytest.approx(0.0, abs=within)
    assert document["measures"]["click_db"]["b_minus_a"]["mean"] < -1.0


class Endless:
    """A source that never stops."""

    sample_rate_hz = 8000

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        while True:
            yield np.zeros(800_000, np.float32)

    def close(self) -> None:
        pass


def test_a_recording_without_end_is_refused() -> None:
    with pytest.raises(RoundsError, match="longer than 10 minutes"):
        hear(Endless(), "endless")


@pytest.mark.parametrize("target", ["H4", "10", "-3"])
def test_a_target_that_is_none(hard: Path, target: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(BadInput, match="--target"):
        run([str(hard), str(hard), f"--target={target}"], capsys)


def test_a_sure_difference_too_small_to_show_is_none() -> None:
    """Twenty readings 0.02 dB apart with hardly any spread differ surely, and tell nobody anything."""
    measure = MEASURES[0]
    a = [10.0 + 0.001 * (i % 3) for i in range(20)]
    assert not contrast(measure, a, [v + 0.02 for v in a]).differs
    assert contrast(measure, a, [v + 0.2 for v in a]).differs
