"""A stream of blocks in, readings out. Time is counted in frames; there is no clock here.

One strike gives two readings with the same `at_s`: a provisional one, a mere hint, and the final one,
for which a strike that rings on is waited for a little longer. A second onset soon after the first is
the mallet bouncing: the strike is then measured from the bounce. A later one is a new strike, and ends
the one before it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.onsets import Onsets
from rounds.hearing.pitch import EARLY_END_S
from rounds.hearing.strike import BEFORE_S, END_S, measure
from rounds.notes import cents

if TYPE_CHECKING:
    from rounds.hearing.reading import Expectation, Reading, Stage

STAGES: tuple[Stage, ...] = ("provisional", "final")
BOUNCE_S = 0.12
"""Onsets closer than this are one strike: a mallet bounces within it, a player does not strike twice."""
KEPT_S = 1.0
"""Sound kept for measuring: what rang before a strike, and the strike."""
AGAIN_S = 30.0
SAME_BOTTLE_CENTS = 40.0
MOVE_ADVICE = "Striking again will not help: move the microphone, best within a hand of the bottle."
FAR_LOUDER = 8.0
RISE_DB = 3.0
"""An onset that makes it less louder than this is none: a tail in the room, an automatic gain, a beat."""
EARLY_CALLS_S, EARLY_CALL_DB = (0.008, 0.016), 10.0
"""A lossy codec smears a strike forward: so much after such an onset it must become louder by so much."""
BEFORE_TOUCH_S, AFTER_S = (-0.030, -0.008), (-0.002, 0.012)
START_S, START_DB, CLICK_FALL_DB = 0.05, 20.0, 6.0
BEGINNING_S = 0.15
"""A stream that begins inside a sound has no onset there; what comes after is another strike."""
DOUBTS, DOUBT_EVERY_S = 2, 720.0
"""Readings of what may be no strike: so many in a row, then one in twelve minutes, until a strike is sure.
That makes six an hour."""
TOUCH_S = 0.008
PIECE_S = 0.05
"""Longer blocks are cut into pieces of this length, so that what is kept is always enough."""


@dataclass
class _Pending:
    """A strike under way. `from_index` is where it is measured from: its last bounce."""

    onset_index: int
    from_index: int
    end_index: int | None = None
    waiting: list[Stage] = field(default_factory=list)
    rings_on: bool | None = None
    """Whether its late part is waited for; None until that is known."""


class Ear:
    """Listens to one stream. The expectation may be set at any moment, and holds for what is read next."""

    def __init__(
        self,
        sample_rate_hz: int,
        expectation: Expectation,
        *,
        stages: tuple[Stage, ...] = STAGES,
        every: bool = False,
    ) -> None:
        """Begin to listen; `every`: give every reading, however much it may be a step or a word."""
        self.sample_rate_hz = sample_rate_hz
        self.expectation = expectation
        self.level_dbfs = -120.0
        self.noise_floor_dbfs = -120.0
        self._stages = stages
        self._onsets = Onsets(sample_rate_hz)
        self._kept = np.zeros(0, np.float32)
        self._kept_from = 0
        self._pending: list[_Pending] = []
        self._early_calls: list[int] = []
        self._floor = _Floor()
        self._every = every
        self._doubts = _Doubts(endless=every)
        self._last: Reading | None = None
        self._before: Reading | None = None

    @property
    def heard_s(self) -> float:
        """How much of the stream has been fed, in seconds."""
        return (self._kept_from + self._kept.size) / self.sample_rate_hz

    def feed(self, block: np.ndarray) -> list[Reading]:
        """Take the next block (any length); return the readings that it completes."""
        clean = np.nan_to_num(np.asarray(block, dtype=np.float32), posinf=0.0, neginf=0.0)
        piece = round(PIECE_S * self.sample_rate_hz)
        readings = []
        for start in range(0, clean.size, piece):
            readings += self._feed_piece(clean[start : start + piece])
        return readings

    def _feed_piece(self, clean: np.ndarray) -> list[Reading]:
        self._keep(clean)
        self._meter(clean)
        for onset_index in self._onsets.feed(clean):
            if self._rises(onset_index, RISE_DB):
                self._begin(onset_index)
            else:
                self._early_calls.append(onset_index)
        self._begin_early_calls()
        return self._due(final=False)

    def _begin_early_calls(self) -> None:
        """Onsets that were called a little before the sound became louder."""
        heard = self._kept_from + self._kept.size
        latest = round((EARLY_CALLS_S[-1] + AFTER_S[1]) * self.sample_rate_hz)
        while self._early_calls and self._early_calls[0] + latest <= heard:
            called = self._early_calls.pop(0)
            moved = (called + round(s * self.sample_rate_hz) for s in EARLY_CALLS_S)
            onset_index = next((at for at in moved if self._rises(at, EARLY_CALL_DB)), None)
            if onset_index is not None:
                self._begin(onset_index)

    def flush(self) -> list[Reading]:
        """The stream has ended: read what is still under way with the sound there is."""
        return self._due(final=True)

    def _keep(self, clean: np.ndarray) -> None:
        self._kept = np.concatenate([self._kept, clean])
        spare = self._kept.size - round(KEPT_S * self.sample_rate_hz)
        if self._pending:
            oldest = self._pending[0].onset_index - round(BEFORE_S * self.sample_rate_hz)
            spare = min(spare, oldest - self._kept_from)
        if spare > 0:
            self._kept = self._kept[spare:]
            self._kept_from += spare

    def _meter(self, clean: np.ndarray) -> None:
        if clean.size:
            rms = float(np.sqrt(np.mean(np.square(clean, dtype=np.float64))))
            self.level_dbfs = 20.0 * math.log10(max(rms, 1e-6))
            self.noise_floor_dbfs = self._floor.feed(self.level_dbfs, clean.size / self.sample_rate_hz)

    def _begin(self, onset_index: int) -> None:
        last = self._pending[-1] if self._pending else None
        if last is not None and onset_index - last.onset_index < BOUNCE_S * self.sample_rate_hz:
            if self._peak_at(onset_index) > FAR_LOUDER * self._peak_at(last.onset_index):
                last.onset_index = onset_index  # the first was a noise that came just before
            last.from_index = onset_index
            return
        if last is not None and last.end_index is None:
            last.end_index = onset_index
        self._pending.append(_Pending(onset_index, onset_index, waiting=list(self._stages)))

    def _starts_inside(self, onset_index: int) -> bool:
        """Whether the stream began in the middle of the sound whose onset this seems to be.

        Then it is loud from its first milliseconds on. A recording may be cut at its strike: there the treble
        must not fall off as that of a click either.
        """
        if onset_index > START_S * self.sample_rate_hz or self._kept_from > 0:
            return False
        size = np.abs(self._kept[: round(BEGINNING_S * self.sample_rate_hz)])
        loud = float(size[: self.sample_rate_hz // 300].max(initial=0.0)) * 10 ** (START_DB / 20)
        steps = np.square(np.diff(self._kept.astype(np.float64)))
        first, later = (
            float(np.mean(steps[round(a * self.sample_rate_hz) : round(b * self.sample_rate_hz)]))
            for a, b in ((0.0, 0.01), (0.04, 0.07))
        )
        struck = self._every and first > 10 ** (CLICK_FALL_DB / 10) * later
        return loud > float(size.max(initial=0.0)) and not struck

    def _rises(self, onset_index: int, rise_db: float) -> bool:
        """Whether it becomes louder here by so much, in all or in the treble."""
        at = onset_index - self._kept_from
        parts = []
        for from_s, to_s in (BEFORE_TOUCH_S, AFTER_S):
            first, last = (max(0, at + round(s * self.sample_rate_hz)) for s in (from_s, to_s))
            part = self._kept[first:last].astype(np.float64)
            parts.append(np.array([np.square(x).mean() if x.size else 0.0 for x in (part, np.diff(part))]))
        before, after = parts
        return bool(np.any(after > 10 ** (rise_db / 10) * before))

    def _peak_at(self, index: int) -> float:
        start = max(0, index - self._kept_from)
        return float(
            np.max(np.abs(self._kept[start : start + round(TOUCH_S * self.sample_rate_hz)]), initial=0.0)
        )

    def _due(self, *, final: bool) -> list[Reading]:
        heard = self._kept_from + self._kept.size
        readings = []
        for strike in self._pending:
            limit = strike.end_index if strike.end_index is not None else heard if final else None
            while strike.waiting and self._is_due(strike, heard, limit):
                readings += self._read(strike, strike.waiting.pop(0), limit)
        self._pending = [strike for strike in self._pending if strike.waiting]
        return readings

    def _is_due(self, strike: _Pending, heard: int, limit: int | None) -> bool:
        """Whether there is enough sound for the next stage, or no more to come."""
        stage = strike.waiting[0]
        if limit is not None or heard >= self._end(strike, END_S[stage]):
            return True
        if stage == "provisional" or heard < self._end(strike, EARLY_END_S):
            return False
        if strike.rings_on is None:
            reading = self._measured(strike, stage, self._end(strike, EARLY_END_S), quick=True)
            strike.rings_on = reading.rings_on or reading.hz is None
        return not strike.rings_on

    def _end(self, strike: _Pending, seconds: float) -> int:
        return strike.from_index + math.ceil(seconds * self.sample_rate_hz)

    def _measured(
        self, strike: _Pending, stage: Stage, end_index: int | None, *, quick: bool = False
    ) -> Reading:
        start = self._kept_from
        return measure(
            self._kept,
            self.sample_rate_hz,
            strike.from_index - start,
            self.expectation,
            begin_index=strike.onset_index - start,
            end_index=None if end_index is None else end_index - start,
            stage=stage,
            quick=quick,
        )

    def _read(self, strike: _Pending, stage: Stage, limit: int | None) -> list[Reading]:
        """The reading of one stage; none for a noise without a tone, or a hint that comes too late."""
        if stage == "provisional" and limit is not None and limit < self._end(strike, END_S[stage]):
            return []
        if self._starts_inside(strike.onset_index):
            return []
        end = self._end(strike, EARLY_END_S) if strike.rings_on is False else limit
        reading = self._measured(strike, stage, end)
        if reading.hz is None:
            return []
        reading = replace(reading, at_s=strike.onset_index / self.sample_rate_hz)
        if stage == "provisional":
            return [reading] if reading.certain or reading.verdict == "clear" else []
        if not self._doubts.allow(reading):
            return []
        self._before, self._last = self._last, reading
        return [replace(reading, advice=MOVE_ADVICE) if blurred_alike(self._before, reading) else reading]


class _Doubts:
    """Talk and steps would be answered with a stream of hints: a few are given, then no more for a while."""

    def __init__(self, *, endless: bool) -> None:
        self._endless, self._left, self._since_s = endless, DOUBTS, 0.0

    def allow(self, reading: Reading) -> bool:
        """Whether a reading shall be given."""
        if self._endless or reading.certain or reading.verdict == "clear":
            self._left = DOUBTS
            return True
        if self._left == 0 and reading.at_s - self._since_s > DOUBT_EVERY_S:
            self._left = 1
        if self._left == 0:
            return False
        self._left, self._since_s = self._left - 1, reading.at_s
        return True


def blurred_alike(before: Reading | None, now: Reading) -> bool:
    """Whether a strike was blurred, and just as the one before it.

    In one place the room does the same to every strike of a bottle: their mean is no better than one.
    """
    if before is None or before.hz is None or now.hz is None:
        return False
    both = before.verdict == now.verdict == "unclear"
    return both and now.at_s - before.at_s < AGAIN_S and abs(cents(now.hz, before.hz)) < SAME_BOTTLE_CENTS


class _Floor:
    """The level of the room when nothing happens: the lowest 50 ms level of the last seconds, smoothed."""

    RISE_DB_PER_S = 3.0

    def __init__(self) -> None:
        self._floor_db: float | None = None

    def feed(self, level_db: float, seconds: float) -> float:
        """Fall at once, rise slowly."""
        if self._floor_db is None or level_db < self._floor_db:
            self._floor_db = level_db
        else:
            self._floor_db = min(level_db, self._floor_db + self.RISE_DB_PER_S * seconds)
        return self._floor_db
