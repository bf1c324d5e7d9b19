"""Times of day as the place's clocks show them.

The change of summer time makes some days 23 or 25 hours long. So a day later is the next date, never
86,400 seconds more, and a local time is kept without a zone until the system turns it into seconds: the
offset that the zone has now need not be the one it has then.
"""

from __future__ import annotations

import datetime

MORNING = datetime.time.fromisoformat("04:00")


def moment_s(day: datetime.date, clock: datetime.time, zone: datetime.tzinfo | None = None) -> float:
    """UTC epoch seconds of a time of day, in the system's zone unless another is given."""
    return datetime.datetime.combine(day, clock, tzinfo=zone).timestamp()


def next_moment_s(clock: datetime.time, now_s: float) -> float:
    """The next time, from now on, at which the local clock shows this."""
    today = datetime.datetime.fromtimestamp(now_s).date()
    at_s = moment_s(today, clock)
    return at_s if at_s >= now_s else moment_s(today + datetime.timedelta(days=1), clock)


def next_morning_s(now_s: float) -> float:
    """When the day is over: a night's playing belongs to the day before."""
    return next_moment_s(MORNING, now_s)


def bounds(day: datetime.date) -> tuple[float, float]:
    """First second of a local day, and of the next (23 or 25 hours on when the clocks change)."""
    start = datetime.datetime.combine(day, datetime.time.min).astimezone()
    end = datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time.min).astimezone()
    return start.timestamp(), end.timestamp()


def day_of(at_s: float) -> datetime.date:
    """The local day of a moment."""
    return datetime.datetime.fromtimestamp(at_s).date()


def utc(at_s: float) -> str:
    """ISO 8601 in UTC to the millisecond."""
    try:
        moment = datetime.datetime.fromtimestamp(at_s, datetime.UTC)
    except (OverflowError, ValueError, OSError):
        return ""
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def local(at_s: float) -> str:
    """Date and time of day where the player is."""
    try:
        return datetime.datetime.fromtimestamp(at_s).strftime("%Y-%m-%d %H:%M:%S")
    except (OverflowError, ValueError, OSError):
        return "(no date)"
