"""Events at other times, as if the clock had been right, with what names them by their check sums."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.events import Event, RoundOpened, SessionStarted, TakenBack
from rounds.journal.rows import to_row

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator


def retimed(events: Iterable[Event], later_s: Callable[[Event], float]) -> Iterator[Event]:
    """Each event so many seconds later (earlier: negative), in their order."""
    sums: dict[int, int] = {}
    for event in events:
        moved = _moved(event, later_s(event), sums)
        sums[to_row(event)[3]] = to_row(moved)[3]
        yield moved


def _moved(event: Event, by_s: float, sums: dict[int, int]) -> Event:
    moved = replace(event, at_s=event.at_s + by_s)
    if isinstance(moved, TakenBack):
        return replace(moved, sums=tuple(sums.get(s, s) for s in moved.sums))
    if isinstance(moved, RoundOpened) and moved.downbeat_s is not None:
        return replace(moved, downbeat_s=moved.downbeat_s + by_s)
    if isinstance(moved, SessionStarted) and moved.zero_s is not None:
        return replace(moved, zero_s=moved.zero_s + by_s)
    return moved
