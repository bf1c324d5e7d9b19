"""What was brought in from a file, as one thing that can be taken back.

An import ends with an `Imported` event that counts the events just before it. Where that event is taken back,
they are too, even rounds and takes among them; but only where the very same events stand before it, for a
journal that was carried into another one may have had some of them already.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

from rounds.events import Imported
from rounds.journal.rows import to_row

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from rounds.journal.rows import Row


def sums_crc(sums: Iterable[int]) -> int:
    """One checksum over those of events in their order."""
    found = 0
    for check_sum in sums:
        found = zlib.crc32(check_sum.to_bytes(8, "big"), found)
    return found


def with_import(rows: Iterable[Row], file: str, at_s: float) -> Iterator[Row]:
    """The rows of an import and what says that it was one; nothing where there are none."""
    count = found = 0
    for row in rows:
        count, found = count + 1, zlib.crc32(row[3].to_bytes(8, "big"), found)
        yield row
    if count:
        yield to_row(Imported(at_s=at_s, file=file, events=count, sums_crc=found))


def _brought_in(number: int, event: Imported) -> range:
    return range(max(1, number - event.events), number)


def stands_together(number: int, event: Imported, sums: Callable[[Sequence[int]], Iterable[int]]) -> bool:
    """Whether the events before an import's own, of id `number`, are those that it brought in."""
    ids = _brought_in(number, event)
    return len(ids) == event.events and sums_crc(sums(ids)) == event.sums_crc


def with_their_events(
    gone: frozenset[int],
    imports: Iterable[tuple[int, Imported]],
    sums: Callable[[Sequence[int]], Iterable[int]],
) -> frozenset[int]:
    """The ids of what was taken back, and of all that the imports among it brought in."""
    more: set[int] = set()
    for number, event in imports:
        if stands_together(number, event, sums):
            more.update(_brought_in(number, event))
    return gone | more if more else gone
