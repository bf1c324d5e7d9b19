"""Days of the player's own calendar as stretches of UTC seconds."""

from __future__ import annotations

import datetime


def bounds(day: datetime.date) -> tuple[float, float]:
    """First second of a local day, and of the next (23 or 25 hours on when the clocks change)."""
    start = datetime.datetime.combine(day, datetime.time.min).astimezone()
    end = datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time.min).astimezone()
    return start.timestamp(), end.timestamp()


def day_of(at_s: float) -> datetime.date:
    """The local day of a moment."""
    return datetime.datetime.fromtimestamp(at_s).date()
