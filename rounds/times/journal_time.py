"""The journal's time against the machine's clock. Pure.

Times in a journal never run back, or every fold over it would have to guess what a step back means.
So when the clock turns out to be behind the journal (it had run ahead and was put right), time goes
on from the journal's newest event and the lead is noted once, as a `ClockSet` event. Later sessions
count by the clock plus that lead, so what passed between them is seen, and lists show the clock's
time. A lead ends when the clock has caught up and half a day has passed besides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

SLACK_S = 60.0
"""A difference up to this is no news: clocks are nudged all the time."""
UNSEEN_S = 3600.0
"""The most that is believed to have passed between two sessions when the clock was set back meanwhile and so
cannot tell: as much as the clock is behind, up to this. Too much costs a few strikes; too little would trust
readings of yesterday."""

GONE_S = 43200.0
"""After so long nothing is trusted anyway, so a lead may end without much being believed wrongly."""


@dataclass(frozen=True)
class Scale:
    """From journal time `from_s` on, the journal runs `ahead_s` before the machine's clock."""

    ahead_s: float = 0.0
    from_s: float = 0.0
    unseen_s: float = 0.0
    """How much of the lead is time that is taken to have passed unseen."""

    def told(self, at_s: float) -> float:
        """What the clock showed at a time of the journal."""
        return at_s - self.ahead_s if at_s >= self.from_s else at_s

    def kept(self, clock_s: float) -> float:
        """The journal's time for a time of the clock; what lies before the lead began has none."""
        return clock_s + self.ahead_s if clock_s + self.ahead_s >= self.from_s else clock_s


def begun(scale: Scale, latest_s: float, clock_s: float, unseen_s: float = 0.0) -> float:
    """The journal's time at a start.

    Args:
        scale: the newest that the journal noted.
        latest_s: the newest time in the journal.
        clock_s: what the clock shows.
        unseen_s: the most that is taken to have passed since when the clock cannot tell.
    """
    kept_s = clock_s if clock_s >= latest_s + GONE_S else scale.kept(clock_s)
    if max(kept_s, clock_s) >= latest_s:
        return kept_s if kept_s >= latest_s else clock_s
    behind_s = latest_s - kept_s
    return latest_s + min(unseen_s, behind_s) if behind_s > SLACK_S else latest_s


def moved(scale: Scale, at_s: float, clock_s: float, latest_s: float | None = None) -> Scale | None:
    """The scale at a time of the journal, if the clock has moved against it since it was noted.

    `latest_s`, at a start, is the newest time of the journal: what lies between is unseen if the clock was
    behind it.
    """
    ahead_s = at_s - clock_s
    if abs(ahead_s - scale.ahead_s) <= SLACK_S:
        return None
    unseen_s = at_s - latest_s if latest_s is not None and clock_s < latest_s else 0.0
    return Scale(0.0, at_s) if abs(ahead_s) <= SLACK_S else Scale(ahead_s, at_s, unseen_s)


SAME_S = 1e-3
"""A first line so little before the journal's newest event is not moved: times are no more exact."""


def zero_of(zero_s: float, t: float, now_s: float) -> float:
    """When a session's own clock shows 0, if its first line says `t`.

    Where the journal is later than that, the lines count on from the journal, moved by whole seconds, so that
    the fractions of `t` stay what they are.
    """
    behind_s = now_s - (zero_s + t)
    return zero_s + (math.ceil(behind_s) if behind_s > SAME_S else 0.0)


def words(ahead_s: float, unseen_s: float = 0.0) -> str:
    """A lead in a sentence or two; `unseen_s` of it is taken to have passed without being seen."""
    if ahead_s == 0.0:
        return "This machine's clock agrees with the journal again."
    if ahead_s < 0.0:
        return f"This machine's clock leapt {_long(-ahead_s)} ahead; this session's time goes on as before."
    passed = f", and {_long(unseen_s)} are taken to have passed since" if unseen_s else ""
    return (
        f"This machine's clock is {_long(ahead_s - unseen_s)} behind the journal, so it was set back or is "
        f"wrong. Nothing is lost: time goes on from the newest event{passed}."
    )


def _long(seconds: float) -> str:
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes / 60.0:.0f} h" if minutes < 2880 else f"{minutes / 1440.0:.0f} days"
