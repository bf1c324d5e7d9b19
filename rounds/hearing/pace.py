"""Has sound been lost without anybody saying so? Frames counted against the clock.

A stalled computer or sound server drops blocks and raises no flag; what follows is then joined to
what came before, and every time after it is wrong. The lag (clock minus frames) jumps up when a block
comes late, and comes down again when the rest catches up; it stays up only when frames are gone. So
the smallest lag of each short window is compared with that of the last ten seconds. Windows that long
forgive two clocks that differ by a thousandth.
"""

from __future__ import annotations

import math
from collections import deque

WINDOW_S = 0.4
REMEMBERED = 25
LOST_S = 0.1
"""More missing than this is a loss: a strike read across it would be wrong."""


class Pace:
    """Watches one stream."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._frames = 0
        self._begun_s: float | None = None
        self._window_end_s = 0.0
        self._lowest_s = math.inf
        self._past_s: deque[float] = deque(maxlen=REMEMBERED)

    def feed(self, frames: int, now_s: float) -> float:
        """Count a block that arrived at `now_s` (any steady clock); return the seconds lost, or 0."""
        if self._begun_s is None:
            self._begun_s, self._window_end_s = now_s, now_s + WINDOW_S
        self._frames += frames
        self._lowest_s = min(self._lowest_s, now_s - self._begun_s - self._frames / self._rate_hz)
        if now_s < self._window_end_s:
            return 0.0
        lag_s, self._lowest_s, self._window_end_s = self._lowest_s, math.inf, now_s + WINDOW_S
        lost_s = lag_s - min(self._past_s, default=lag_s)
        self._past_s.append(lag_s)
        return lost_s if lost_s > LOST_S else 0.0
