"""The time of one run: it begins at a given time and goes on by a clock that nobody can set.

The wall clock may be put right or wrong in the middle of a round; a countdown must not notice. Nor
may it use the plain monotonic clock: on Linux and macOS that one stands still while the machine
sleeps, and bottles drift on. Which clock counts through sleep is told in PEP 418 ("Action on
suspend"), clock_gettime(2) of Linux (CLOCK_BOOTTIME) and clock_gettime(3) of macOS (its
CLOCK_MONOTONIC goes on while the system sleeps, unlike the one behind `time.monotonic`).
"""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

if sys.platform == "linux":

    def since_boot_s() -> float:
        """Seconds since some moment, those asleep included; never set."""
        return time.clock_gettime(time.CLOCK_BOOTTIME)

elif sys.platform == "darwin":

    def since_boot_s() -> float:
        """Seconds since some moment, those asleep included; never set."""
        return time.clock_gettime(time.CLOCK_MONOTONIC)

else:

    def since_boot_s() -> float:
        """Seconds since some moment, those asleep included (on Windows); never set."""
        return time.monotonic()


class RunClock:
    """UTC epoch seconds of one run. Usable from any thread."""

    def __init__(self, start_s: float, counting: Callable[[], float] = since_boot_s) -> None:
        self._counting = counting
        self._zero_s = start_s - counting()

    def __call__(self) -> float:
        """The time now."""
        return self._zero_s + self._counting()
