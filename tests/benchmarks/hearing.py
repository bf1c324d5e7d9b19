"""How well strikes are heard: `python -m tests.benchmarks.hearing [--per N] [--seed S ...] [--alone]`.

Strikes of every condition through the whole ear (onset, reading, verdict), beside general pitch
trackers on the same strikes; then onsets over loudness, sounds that are no strikes, wrong bottles,
error over the Cramér-Rao bound (Kay 1993, Fundamentals of Statistical Signal Processing: Estimation
Theory, from memory), the earlier and later readings, and the time it takes. `--seed` takes several, whose
strikes go into one table (what follows the table is of the first); `--conditions` prints the table alone.
The weights in `rounds.hearing.certainty` were fitted on seeds 5101 to 5104 (`tests.benchmarks.calibration`):
never run with those.
"""

from __future__ import annotations

import argparse
import math
import os
import platform
import time
from collections import Counter
from dataclasses import dataclass, replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does: threads only cost time here

import numpy as np

from rounds.hearing.ear import Ear
from rounds.hearing.pitch import START_S
from rounds.hearing.reading import Expectation, Reading, Stage
from rounds.hearing.strike import END_S, measure
from rounds.notes import CENTS_PER_NEPER, cents, shifted_hz
from rounds.simulation.sound import DECAY_OF_T60, room_noise, struck
from tests.benchmarks.noises import NOISES, RATE_HZ, make_noise
from tests.benchmarks.strikes import CONDITIONS, LEAD_S, Case, make, off_cents
from tests.benchmarks.trackers import installed, missing

SEED = 2026
NEAR_S = 0.1
Z95 = 1.96
NONE = math.inf


@dataclass(frozen=True)
class Heard:
    """One case and what came of it. `readings`: how many the ear gave for it."""

    case: Case
    reading: Reading | None
    readings: int
    compute_s: float

    @property
    def clear(self) -> bool:
        return self.reading is not None and self.reading.verdict == "clear"

    @property
    def error_cents(self) -> float:
        return abs(off_cents(self.reading.hz if self.reading else None, self.case))

    @property
    def covered(self) -> bool:
        return self.reading is not None and self.error_cents <= (self.reading.u95_cents or 0.0)


def hear(case: Case, stage: Stage = "final") -> Heard:
    """Through the ear, block by block; then the reading alone, in processor time."""
    ear = Ear(case.sample_rate_hz, case.expectation, stages=(stage,))
    found = [r for k in range(0, case.samples.size, 480) for r in ear.feed(case.samples[k : k + 480])]
    found += ear.flush()
    truly_s = case.onset_index / case.sample_rate_hz
    near = [r for r in found if -0.02 < r.at_s - truly_s < NEAR_S]
    begun = time.thread_time()
    measure(case.samples, case.sample_rate_hz, case.onset_index, case.expectation, stage=stage)
    return Heard(case, near[0] if near else None, len(near), time.thread_time() - begun)


def _line(name: str, heard: list[Heard]) -> str:
    good = [h for h in heard if h.clear]
    share = len(good) / len(heard)
    if not good:
        return f"{name:17s} {len(heard):5d}  {share:8.0%}"
    errors = np.array([h.error_cents for h in good])
    u95 = float(np.median([h.reading.u95_cents or 0.0 for h in good if h.reading]))
    return (
        f"{name:17s} {len(heard):5d}  {share:8.1%} {np.median(errors):7.3f} {np.quantile(errors, 0.95):7.2f}"
        f" {np.mean(errors > 50.0):7.1%} {_holds([h.covered for h in good])} {u95:8.2f}"
    )


def _holds(covered: list[bool]) -> str:
    """The share, and between which shares it lies 95 times in 100 (Wilson 1927, from memory)."""
    count, share = len(covered), float(np.mean(covered))
    middle = (share + Z95**2 / (2 * count)) / (1 + Z95**2 / count)
    half = Z95 / (1 + Z95**2 / count) * math.sqrt(share * (1 - share) / count + (Z95 / (2 * count)) ** 2)
    return f"{share:8.1%} ({100 * (middle - half):4.1f}-{100 * (middle + half):5.1f})"


def conditions(per: int, seeds: list[int]) -> list[Heard]:
    """The table of this project's own readings."""
    titles = "accepted  median     p95     >50   u95 holds (95 %)     u95 median"
    print(f"{'condition':17s} {'n':>5s}  {titles}   (cents)")
    everything: list[Heard] = []
    for condition in CONDITIONS:
        heard = [hear(make(condition, number, seed)) for seed in seeds for number in range(per)]
        print(_line(condition, heard), flush=True)
        everything += heard
    print(_line("all", everything))
    verdicts = Counter(h.reading.verdict if h.reading else "none" for h in everything)
    doubles = sum(h.readings > 1 for h in everything)
    print(f"verdicts {dict(verdicts)}; strikes read twice {doubles}")
    print(f"false 'other bottle' {verdicts['other_bottle'] / len(everything):.2%}")
    spent_ms = 1e3 * float(np.median([h.compute_s for h in everything]))
    print(f"time for one reading {spent_ms:.1f} ms of processor time (median)")
    return everything


def others(heard: list[Heard]) -> None:
    """General trackers on every second strike of the table: all of those, and those that we accepted."""
    heard = heard[::2]
    print(f"\n{'tracker':19s} all: median     p95    >50 | accepted by us: median     p95    >50 | ms")
    ours = [h.error_cents for h in heard]
    spent_ms = 1e3 * float(np.mean([h.compute_s for h in heard]))
    print(_tracker_line("this project", ours, [h.error_cents for h in heard if h.clear], spent_ms))
    for name, call in installed().items():
        begun = time.perf_counter()
        errors = [abs(off_cents(call(h.case), h.case)) for h in heard]
        spent_ms = 1e3 * (time.perf_counter() - begun) / len(heard)
        kept = [e for e, h in zip(errors, heard, strict=True) if h.clear]
        print(_tracker_line(name, errors, kept, spent_ms), flush=True)
    for name in missing():
        print(f"{name:19s}not compared: it is not installed; pip install -e '.[bench]'")


def _tracker_line(name: str, errors: list[float], kept: list[float], spent_ms: float) -> str:
    parts = []
    for values in (errors, kept):
        array = np.minimum(np.array(values), 9999.0)  # no answer counts as far off
        median, high = np.median(array), np.quantile(array, 0.95)
        parts.append(f"{median:12.2f} {high:7.1f} {np.mean(array > 50.0):6.1%}")
    return f"{name:19s}{parts[0]} | {parts[1]:>38s} | {spent_ms:.0f}"


def stages(per: int, seed: int) -> None:
    """The hint and the reading that counts, on rooms of all kinds."""
    print("\nstage        accepted  median     p95  u95 holds   (reverberant, close microphone, first fill)")
    for stage in ("provisional", "final"):
        chosen = ("reverberant", "close microphone", "first fill")
        heard = [hear(make(c, n, seed), stage) for c in chosen for n in range(per)]
        good = [h for h in heard if h.clear]
        errors = np.array([h.error_cents for h in good])
        figures = f"{np.median(errors):7.3f} {np.quantile(errors, 0.95):7.2f}"
        holds = np.mean([h.covered for h in good])
        print(f"{stage:12s} {len(good) / len(heard):8.1%} {figures} {holds:10.1%}", flush=True)


def onsets(seed: int) -> None:
    """Strikes from 0 to -40 dB, a second apart: misses, doubles, and how exact the times are."""
    missed = doubled = total = 0
    off_ms = []
    for number, loudness_dbfs in enumerate(np.arange(0.0, -40.1, -2.5)):
        rng = np.random.default_rng([seed, 90, number])
        pitches = np.exp(rng.uniform(math.log(131.0), math.log(1568.0), 12))
        samples = room_noise(RATE_HZ * 14, rng, -80.0)
        for k, hz in enumerate(pitches):
            strike = struck(
                float(hz), rng, ring_s=float(rng.uniform(0.3, 0.9)), loudness_dbfs=float(loudness_dbfs)
            )
            samples[RATE_HZ * (k + 1) :][: strike.size] += strike
        ear = Ear(RATE_HZ, Expectation(), stages=("final",))
        at_s = np.array([r.at_s for r in ear.feed(samples) + ear.flush()])
        for k in range(pitches.size):
            near = at_s[np.abs(at_s - (k + 1)) < 0.3]
            total, missed, doubled = total + 1, missed + (near.size == 0), doubled + (near.size > 1)
            off_ms += [1e3 * float(near[0] - (k + 1))] if near.size else []
    print(f"\nonsets from 0 to -40 dBFS: {total} strikes, {missed} missed, {doubled} double;", end=" ")
    print(f"time off by {np.median(off_ms):.1f} ms (median), {np.max(np.abs(off_ms)):.1f} ms (most)")


def noises(seconds: float, seed: int) -> None:
    """Accepted readings in sounds that are no strikes, for any bottle and for five single ones."""
    print(f"\n{'not a strike':12s} accepted / other readings, in 6 x {seconds:g} s")
    for name in NOISES:
        counted: Counter[str] = Counter()
        samples = make_noise(name, seconds, seed)
        for target_hz in (None, 131.0, 262.0, 440.0, 784.0, 1319.0):
            ear = Ear(RATE_HZ, Expectation(target_hz), stages=("final",))
            counted.update(r.verdict for r in ear.feed(samples) + ear.flush())
        print(f"{name:12s} {counted['clear']:8d} / {counted.total() - counted['clear']}", flush=True)


def wrong_bottles(per: int, seed: int) -> None:
    """The neighbour struck instead: how often it is taken for the one asked for."""
    heard = []
    for number in range(per):
        case = make("reverberant", number, seed + 1)
        rng = np.random.default_rng([seed, 91, number])
        away = float(rng.uniform(250.0, 1200.0)) * float(rng.choice((-1.0, 1.0)))
        heard.append(hear(replace(case, expectation=Expectation(shifted_hz(case.true_hz, away)))))
    counted = Counter(h.reading.verdict if h.reading else "none" for h in heard)
    right = [h for h in heard if h.reading and h.reading.verdict == "other_bottle" and h.error_cents < 15.0]
    print(f"\nwrong bottle struck, {per} times: {dict(counted)}; its own pitch given in {len(right)}")


def bound(per: int, seed: int) -> None:
    """RMS error over the Cramér-Rao bound, dry, white noise."""
    print("\nnoise       rms error / bound   (dry, white noise, one mode)")
    for snr_db in (12.0, 20.0, 30.0, 40.0):
        ratios = [_over_bound(snr_db, seed, number) for number in range(per)]
        print(f"{snr_db:4.0f} dB     {math.sqrt(np.mean(np.square(ratios))):8.2f}", flush=True)


def _over_bound(snr_db: float, seed: int, number: int) -> float:
    rng = np.random.default_rng([seed, 92, number, int(snr_db)])
    hz, ring_s = float(np.exp(rng.uniform(math.log(131.0), math.log(1568.0)))), float(rng.uniform(0.3, 1.2))
    clean = struck(hz, rng, ring_s=ring_s, partials=(), click_db=-80.0, loudness_dbfs=-12.0).astype(float)
    first, last = round(START_S * RATE_HZ), round(END_S["final"] * RATE_HZ)
    sigma = float(np.sqrt(np.mean(clean[first:last] ** 2))) * 10 ** (-snr_db / 20)
    lead = round(LEAD_S * RATE_HZ)
    samples = np.concatenate([np.zeros(lead), clean])
    samples += sigma * rng.standard_normal(samples.size)
    reading = measure(samples.astype(np.float32), RATE_HZ, lead, Expectation(hz))
    seconds = np.arange(first, last) / RATE_HZ
    power = (10 ** (-12.0 / 20)) ** 2 * np.exp(-2.0 * DECAY_OF_T60 / ring_s * seconds)
    mean_s = float(power @ seconds / power.sum())
    information = float(power @ (seconds - mean_s) ** 2) / (2.0 * sigma**2)
    sd_cents = CENTS_PER_NEPER / (2.0 * math.pi * hz * math.sqrt(information))
    return cents(reading.hz, hz) / sd_cents if reading.hz else NONE


def main() -> None:
    """Run everything and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--per", type=int, default=200, help="strikes per condition (default 200)")
    parser.add_argument("--seed", type=int, nargs="+", default=[SEED])
    parser.add_argument("--alone", action="store_true", help="without the other trackers")
    parser.add_argument("--conditions", action="store_true", help="the table of conditions alone")
    args = parser.parse_args()
    seed, title = args.seed[0], " ".join(map(str, args.seed))
    print(f"seed {title}, {args.per} strikes a condition and seed, Python {platform.python_version()}")
    heard = conditions(args.per, args.seed)
    if args.conditions:
        return
    if not args.alone:
        others(heard)
    stages(args.per, seed)
    onsets(seed)
    noises(60.0, seed)
    wrong_bottles(100, seed)
    bound(200, seed)


if __name__ == "__main__":
    main()
