"""What the hearing makes of a strike, and what many of them come to."""

from __future__ import annotations

import math
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from rounds.hearing.ear import Ear
from rounds.hearing.reading import Expectation, Reading
from rounds.notes import cents

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tests.strikes.strike import Strike

BLOCK = 480
EARLY_S, LATE_S = 0.03, 0.12
"""How far before and after the first touch a reading may put it: a bounce is one strike with its touch."""


@dataclass(frozen=True)
class Outcome:
    """One touch of a strike: the reading that counts (the last one given of it), the hint before it, and
    how many readings more there were, of strikes that nobody made."""

    strike: Strike
    provisional: Reading | None
    reading: Reading | None
    doubles: int
    phantoms: int
    compute_ms: float

    @property
    def clear(self) -> bool:
        return self.reading is not None and self.reading.verdict == "clear"

    @property
    def error_cents(self) -> float:
        return _off(self.reading, self.strike)

    @property
    def u95_cents(self) -> float:
        return math.inf if self.reading is None else self.reading.u95_cents or 0.0

    @property
    def held(self) -> bool:
        return holds(self.reading, self.strike)


def _off(reading: Reading | None, strike: Strike) -> float:
    if reading is None or not reading.hz:
        return math.inf
    return cents(reading.hz, strike.true_hz)


def holds(reading: Reading | None, strike: Strike) -> bool:
    """Whether the truth, as far as it is known, lies within a reading's uncertainty."""
    allowed = (reading.u95_cents or 0.0) + strike.known_to_cents if reading else 0.0
    return abs(_off(reading, strike)) <= allowed


def readings_of(strike: Strike) -> tuple[list[Reading], float]:
    """Everything the ear says of a recording, block by block, and the milliseconds of a measurement."""
    ear = Ear(strike.sample_rate_hz, Expectation(strike.target_hz, strike.half_width_cents))
    with _Timed() as timed:
        found = [
            r for k in range(0, strike.samples.size, BLOCK) for r in ear.feed(strike.samples[k : k + BLOCK])
        ]
        found += ear.flush()
    return found, timed.mean_ms


class _Timed:
    """Counts the processor time of each measurement that the ear makes meanwhile."""

    def __init__(self) -> None:
        self._module: Any = sys.modules[Ear.__module__]
        self._measure = self._module.measure
        self._spent_s: list[float] = []

    @property
    def mean_ms(self) -> float:
        return 1e3 * float(np.mean(self._spent_s)) if self._spent_s else math.nan

    def __enter__(self) -> _Timed:
        self._module.measure = self._measured
        return self

    def __exit__(self, *_: object) -> None:
        self._module.measure = self._measure

    def _measured(self, *args: object, **how: object) -> Any:
        begun = time.thread_time()
        reading = self._measure(*args, **how)
        self._spent_s.append(time.thread_time() - begun)
        return reading


def hear(strike: Strike) -> list[Outcome]:
    """One outcome a touch."""
    found, spent_ms = readings_of(strike)
    outcomes, taken = [], set()
    for number, at_s in enumerate(strike.at_s):
        near = [r for r in found if -EARLY_S < r.at_s - at_s < LATE_S]
        taken |= {r.at_s for r in near}
        end_s = strike.at_s[number + 1] if number + 1 < len(strike.at_s) else math.inf
        after = {r.at_s for r in found if at_s + LATE_S <= r.at_s < end_s - EARLY_S}
        after_count = len(after) + max(0, len({r.at_s for r in near}) - 1)
        before = {r.at_s for r in found if r.at_s <= strike.at_s[0] - EARLY_S}
        outcomes.append(
            Outcome(
                strike,
                next((r for r in near if r.stage == "provisional"), None),
                next((r for r in reversed(near) if r.stage != "provisional"), None),
                after_count,
                0 if number or strike.others_before else len(before),
                spent_ms,
            )
        )
    return outcomes


TITLES = (
    f"{'':28s}    n accept  median    p95   held  <1c held   >50 silent double phant  early  bias   u95   ms"
)


def line(name: str, outcomes: Iterable[Outcome]) -> str:
    """One row of the table (cents; shares in per cent; `n.n (n)` gives of how many)."""
    all_of = list(outcomes)
    good = [o for o in all_of if o.clear]
    count = len(all_of)
    early = [o for o in all_of if o.provisional is not None and o.provisional.verdict == "clear"]
    silent = sum(o.reading is None for o in all_of) / count
    doubles, phantoms = sum(o.doubles for o in all_of), sum(o.phantoms for o in all_of)
    spent_ms = float(np.nanmean([o.compute_ms for o in all_of]))
    errors = np.abs([o.error_cents for o in good]) if good else np.array([math.nan])
    sure = [o for o in good if o.u95_cents < 1.0]
    columns = (
        f"{name:28s} {count:4d} {_percent(len(good), count)}",
        f"{np.median(errors):7.2f} {np.quantile(errors, 0.95):6.1f}",
        _percent(sum(o.held for o in good), len(good)),
        f"{_percent(sum(o.held for o in sure), len(sure))}({len(sure):3d}) {int(np.sum(errors > 50.0)):3d}",
        f"{silent:6.1%} {doubles:6d} {phantoms:5d}",
        _percent(sum(holds(o.provisional, o.strike) for o in early), len(early)),
        f"{np.median([o.error_cents for o in good] or [math.nan]):+5.1f}",
        f"{np.median([o.u95_cents for o in good] or [math.nan]):5.2f} {spent_ms:4.1f}",
    )
    return " ".join(columns)


def _percent(part: int, whole: int) -> str:
    return f"{100.0 * part / whole:6.1f}" if whole else "     -"
