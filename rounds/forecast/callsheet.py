"""A call sheet: when takes are filmed and when there are breaks, one line each.

    date 2026-05-31
    14:00-14:20  take   Lantern Walk
    14:20-14:30  break
    14:30-15:10  take   Forty Damp Matches
    22:30        bus call

Times are local to the zone given by the caller (the system's when none is) and only go forwards; a
time before the one above it is of the next date, however many hours lie between. A take may carry the
name of a piece of the rig, and then needs its bottles; any other name needs all of them. A soundcheck needs
its bottles like a take. At a load-in and at a bus call nobody tunes, and by a bus call the bottles are to be
down, or by the time of a line `22:00 down`. `#` starts a remark. Everything wrong is told at once.
"""

from __future__ import annotations

import datetime
import math
import re
from dataclasses import dataclass
from typing import Literal, get_args

from rounds.errors import BadInput
from rounds.times.local import moment_s
from rounds.wording.printable import plain

Kind = Literal["take", "soundcheck", "break", "load-in", "bus call", "down"]
MOST_SLOTS = 200
MOST_TOLD = 20
HALF_DAY_S = 43_200.0
YEARS = range(1970, 2200)
FREE = "free"
"""Name of a break that is on no sheet: nothing is planned there, so a round may be."""
LEAST_FREE_S, MOST_FREE_S = 120.0, 3600.0
"""How long free time must be to count, and how much of it right before a take does."""
PLAYED: tuple[Kind, ...] = ("take", "soundcheck")
"""The kinds for which bottles are to be in tune."""
MOMENTS: tuple[Kind, ...] = ("load-in", "bus call", "down")
"""The kinds that may have one time only."""
PACKING_S = 600.0
"""Bottles are down so long before a bus call, where the sheet does not say when. A guess."""
LET_DOWN_S = 12.0
"""Letting one bottle down by the pin, and on to the next. A guess."""
_LINE = re.compile(
    r"(\d{1,2}):(\d{2})(?:\s*[-–]\s*(\d{1,2}):(\d{2}))?\s+"
    r"(take|soundcheck|break|load-in|bus call|down)\b\s*(.*)\Z",
    re.IGNORECASE,
)
_DATE = re.compile(r"date\s+(\S+)\Z", re.IGNORECASE)


@dataclass(frozen=True)
class Slot:
    """One entry, in UTC epoch seconds; a moment ends as it starts."""

    kind: Kind
    start_s: float
    end_s: float
    name: str

    @property
    def minutes(self) -> float:
        """How long it lasts."""
        return (self.end_s - self.start_s) / 60.0


@dataclass(frozen=True)
class CallSheet:
    """Entries in order; none overlaps another."""

    slots: tuple[Slot, ...]

    @property
    def takes(self) -> tuple[Slot, ...]:
        """The takes and soundchecks in order."""
        return tuple(s for s in self.slots if s.kind in PLAYED)

    @property
    def breaks(self) -> tuple[Slot, ...]:
        """The breaks in order."""
        return tuple(s for s in self.slots if s.kind == "break")

    @property
    def calls(self) -> tuple[Slot, ...]:
        """What is neither played nor a break."""
        return tuple(s for s in self.slots if s.kind in MOMENTS)

    def down_by_s(self, now_s: float) -> float | None:
        """When the bottles are to be down next: as the sheet says, else before a bus call; None: never."""
        ahead = [s for s in self.calls if s.start_s >= now_s]
        said = [s.start_s for s in ahead if s.kind == "down"]
        bus = [s.start_s - PACKING_S for s in ahead if s.kind == "bus call"]
        return min(said or bus, default=None)


def let_down_from_s(down_by_s: float, bottles: int) -> float:
    """When to begin to let so many bottles down, that they are down by a time."""
    return down_by_s - LET_DOWN_S * bottles


def with_free_time(sheet: CallSheet, now_s: float) -> CallSheet:
    """The same sheet with the time that nobody planned before a take as breaks named `FREE`."""
    slots: list[Slot] = []
    free_from_s = now_s
    for slot in sheet.slots:
        start_s = max(free_from_s, slot.start_s - MOST_FREE_S)
        if slot.kind in PLAYED and slot.start_s - start_s >= LEAST_FREE_S:
            slots.append(Slot("break", start_s, slot.start_s, FREE))
        slots.append(slot)
        free_from_s = max(free_from_s, slot.end_s)
    return CallSheet(tuple(slots))


def parse_callsheet(
    text: str, day: datetime.date, zone: datetime.tzinfo | None, name: str = "call sheet"
) -> CallSheet:
    """Read a call sheet.

    Args:
        text: its lines.
        day: the day it is for, unless it says so itself.
        zone: the zone its times are in; the system's when None.
        name: what to call it in messages.

    Raises:
        BadInput: lines that cannot be read, all of them listed.
    """
    reader = _Reader(day, zone)
    for number, line in enumerate(text.splitlines(), 1):
        reader.read(number, line.split("#", 1)[0].strip())
    problems = reader.problems or ([] if reader.slots else ["it holds no take and no break"])
    if problems:
        count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        told = [f"  {p}" for p in problems[:MOST_TOLD]]
        more = [f"  and {len(problems) - MOST_TOLD} more"] if len(problems) > MOST_TOLD else []
        raise BadInput("\n".join([f"{plain(name)}: {count}.", *told, *more]))
    return CallSheet(tuple(reader.slots))


class _Reader:
    def __init__(self, day: datetime.date, zone: datetime.tzinfo | None) -> None:
        self.day = day
        self.zone = zone
        self.slots: list[Slot] = []
        self.problems: list[str] = []

    def read(self, number: int, line: str) -> None:
        if not line:
            return
        date = _DATE.match(line)
        if date is not None:
            self._date(number, date.group(1))
            return
        found = _LINE.match(line)
        if found is None:
            self._bad(number, f"{plain(line, 40)!r} is not a line such as 14:00-14:20 take Lantern Walk")
        elif len(self.slots) >= MOST_SLOTS:
            self._bad(number, f"more than {MOST_SLOTS} entries")
        else:
            self._slot(number, found)

    def _bad(self, number: int, what: str) -> None:
        self.problems.append(f"line {number}: {what}")

    def _date(self, number: int, text: str) -> None:
        try:
            day = datetime.date.fromisoformat(text)
        except ValueError:
            day = datetime.date.min
        if day.year in YEARS:
            self.day = day
        else:
            self._bad(number, f"{plain(text, 20)!r} is not a date such as 2026-05-31")

    def _slot(self, number: int, found: re.Match[str]) -> None:
        kind = next(k for k in get_args(Kind) if k == found.group(5).lower())
        if found.group(3) is None and kind not in MOMENTS:
            self._bad(number, f"a {kind} has a beginning and an end, as in 14:00-14:20 {kind}")
            return
        hour, minute, end_hour, end_minute = (int(found.group(k) or 0) for k in range(1, 5))
        if max(hour, end_hour) > 23 or max(minute, end_minute) > 59:
            self._bad(number, "a time of day runs from 00:00 to 23:59")
            return
        before_s = self.slots[-1].end_s if self.slots else -math.inf
        day, start_s = self._first(self.day, datetime.time(hour, minute), before_s)
        if start_s < before_s or (day != self.day and start_s - before_s > HALF_DAY_S):
            self._bad(number, "it starts before the one above it has ended")
            return
        end_s = start_s
        if found.group(3) is not None:
            _, end_s = self._first(day, datetime.time(end_hour, end_minute), start_s + 1.0)
        if end_s - start_s > HALF_DAY_S:
            self._bad(number, "it ends before it starts")
            return
        self.day = day
        self.slots.append(Slot(kind, start_s, end_s, found.group(6).strip()))

    def _first(self, day: datetime.date, clock: datetime.time, least_s: float) -> tuple[datetime.date, float]:
        """The date and moment of a time of day: on a date, or on the next where it would come too early."""
        at_s = moment_s(day, clock, self.zone)
        if at_s < least_s:
            day += datetime.timedelta(days=1)
            at_s = moment_s(day, clock, self.zone)
        return day, at_s
