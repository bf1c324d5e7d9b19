"""What the numbers of an event may be. Pure.

Folds multiply, square and take exponentials; a number far outside the world makes them fail, and an
event that a fold fails on would stop every later start. So such an event is not written, and one that
an older version wrote is kept in the journal and not believed. The bounds are wide: what a player can
mean is checked, with a sentence, where it is typed.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.events import Unknown

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.events import Event

LONGEST_DOWNBEAT_S = 366 * 86_400.0
"""A downbeat lies no further than this from the opening of its round."""


@dataclass(frozen=True)
class Bounds:
    """The least and the most that a number may be."""

    least: float
    most: float

    def hold(self, value: float) -> bool:
        """Whether the number lies inside; one that is no number does not."""
        return self.least <= value <= self.most


_CENTS = Bounds(-20_000.0, 20_000.0)
BOUNDS = {
    "at_s": Bounds(-1e11, 1e11),
    "downbeat_s": Bounds(-2e11, 2e11),
    "block_s": Bounds(0.0, 1e7),
    "quarantine_s": Bounds(0.0, 1e7),
    "ahead_s": Bounds(-1e11, 1e11),
    "since_s": Bounds(-1e11, 1e11),
    "until_s": Bounds(-2e11, 2e11),
    "minutes": Bounds(0.0, 1e5),
    "unseen_s": Bounds(0.0, 1e7),
    "zero_s": Bounds(-2e11, 2e11),
    "temp_c": Bounds(-60.0, 90.0),
    "warmer_k": Bounds(-60.0, 60.0),
    "hz": Bounds(1.0, 1e5),
    "cents": _CENTS,
    "shift_cents": _CENTS,
    "worst_cents": Bounds(-1e6, 1e6),
    "u95_cents": Bounds(0.0, 20_000.0),
    "strokes": Bounds(-10_000.0, 10_000.0),
    "asked_strokes": Bounds(-10_000.0, 10_000.0),
    "gauge_kpa": Bounds(0.0, 10_000.0),
}
"""By the name of the field, which carries the unit. A time of 1e11 s is in the year 5138."""
_BOUNDED: dict[type[Event], tuple[str, ...]] = {Unknown: ()}


def _bounded(cls: type[Event]) -> tuple[str, ...]:
    if cls not in _BOUNDED:
        _BOUNDED[cls] = tuple(f.name for f in fields(cls) if f.name in BOUNDS)
    return _BOUNDED[cls]


FIRST_S = 946_684_800.0
"""2000-01-01, UTC. Nothing that is brought in from elsewhere is older: an unset clock stamped it."""
LATEST_S = 86_400.0
"""What lies further ahead of the machine's clock than this is not believed: a clock was wrong by days."""
SOON_S = 900.0
"""Readings that are brought in lie no further ahead than this: clocks differ by minutes, zones by hours."""


def has_time(event: Event) -> bool:
    """Whether an event's time can be; where it cannot, the time of nothing else follows from it."""
    return BOUNDS["at_s"].hold(event.at_s)


def misplaced(at_s: float, now_s: float) -> str:
    """Why something cannot have been at a time, or nothing."""
    if at_s < FIRST_S:
        return "it lies before the year 2000"
    return "it is more than a day ahead of this machine's clock" if at_s > now_s + LATEST_S else ""


def misplaced_reading(at_s: float, now_s: float) -> str:
    """The same of something that is brought in from elsewhere, which is over already."""
    if now_s + SOON_S < at_s <= now_s + LATEST_S:
        ahead_h = (at_s - now_s) / 3600.0
        return f"it is {ahead_h:.1f} hours ahead of this machine's clock; times are UTC, say +02:00 where not"
    return misplaced(at_s, now_s)


def misfit(event: Event) -> str:
    """The name of a number of the event that cannot be, or nothing."""
    for name in _bounded(type(event)):
        value = getattr(event, name)
        if value is not None and not BOUNDS[name].hold(value):
            return name
    downbeat_s = getattr(event, "downbeat_s", None)
    far = downbeat_s is not None and abs(downbeat_s - event.at_s) > LONGEST_DOWNBEAT_S
    return "downbeat_s" if far else ""


def refuse_misfits(events: Iterable[Event]) -> None:
    """Let nothing into a journal that no fold could take in.

    Raises:
        BadInput: a number that cannot be.
    """
    for event in events:
        name = misfit(event)
        if name:
            raise BadInput(f"{name} {getattr(event, name):g} cannot be, so nothing was written down")
