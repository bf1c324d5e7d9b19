"""What changed between two days: for somebody who was not there, or was there last time."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.report.tables import markdown
from rounds.wording.words import counted, in_words

if TYPE_CHECKING:
    import datetime
    from collections.abc import Mapping

    from rounds.report.day import Day

CHANGED_CENTS = 5.0
"""A bottle found off by this much more or less than last time is named. Our guess."""
MOST_NAMED = 8


@dataclass(frozen=True)
class _Found:
    """How bottles were found: share in tune, and how far off each was."""

    in_tune: int
    readings: int
    off: Mapping[str, float]


def since(
    before: Day, date: datetime.date, now: Day, tolerances: Mapping[str, float], usual: float
) -> list[str]:
    """Sentences on what is different from a day before; `usual` is the tolerance where none is known."""
    was, found = (_found(day, tolerances, usual) for day in (before, now))
    said = [_in_tune(was, found), *_bottles(was, found), *_work(before, now), *_parts(now)]
    return [f"## Since {date:%A} {date}", "", *(f"- {sentence}" for sentence in said if sentence), ""]


def _found(day: Day, tolerances: Mapping[str, float], usual: float) -> _Found:
    held = [
        abs(cents) <= tolerances.get(b.id, usual) for b in day.bottles.values() for cents in b.found_cents
    ]
    off = {b.id: b.typical_cents for b in day.bottles.values() if b.found_cents}
    return _Found(sum(held), len(held), off)


def _in_tune(was: _Found, found: _Found) -> str:
    if not was.readings or not found.readings:
        return "too little was heard on one of the days to tell how the bottles held"
    shares = [100.0 * f.in_tune / f.readings for f in (was, found)]
    middle = [statistics.median(f.off.values()) for f in (was, found)]
    return (
        f"found in tune at the start of a round: {shares[0]:.0f} % then, {shares[1]:.0f} % now; "
        f"off by {middle[0]:.1f} cents then, {middle[1]:.1f} now (median of the bottles)"
    )


def _bottles(was: _Found, found: _Found) -> list[str]:
    change = {b: found.off[b] - was.off[b] for b in found.off if b in was.off}
    worse = sorted((b for b, c in change.items() if c >= CHANGED_CENTS), key=lambda b: -change[b])
    better = sorted((b for b, c in change.items() if c <= -CHANGED_CENTS), key=lambda b: change[b])
    new = sorted(set(found.off) - set(was.off)) if was.off else []
    named = (("further off than then", worse), ("nearer than then", better), ("not heard then", new))
    return [f"{words}: {in_words(list(map(markdown, of)), MOST_NAMED)}" for words, of in named if of]


def _work(before: Day, now: Day) -> list[str]:
    if not before.rounds or not now.rounds:
        return []
    each = [day.connections / len(day.rounds) for day in (before, now)]
    return [f"connections a round: {each[0]:.1f} then, {each[1]:.1f} now"]


def _parts(now: Day) -> list[str]:
    new = [f"{r.part} of {markdown(r.bottle)}" for r in now.replaced]
    swaps = [f"{markdown(s.bottle)} and {markdown(s.other)}" for s in now.swapped]
    found = [f"{counted(len(new), 'new part')}: {in_words(new, MOST_NAMED)}"] if new else []
    return found + ([f"changed places: {in_words(swaps, MOST_NAMED)}"] if swaps else [])
