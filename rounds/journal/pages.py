"""Find events in the bare pages of a damaged journal, without SQLite's help.

SQLite gives up on a table when a page on the way to its rows is damaged, though the rows are still
there. Events are never changed or deleted and each carries a checksum, so any leaf page may be
believed wherever it lies, stale copies included. File format: https://www.sqlite.org/fileformat2.html,
sections 1.3 (header), 1.6 (b-tree pages), 2.1 (records), 4.1 (write-ahead log).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.journal.schema import event_sum

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from rounds.journal.rows import Row

_TABLE_LEAF = 0x0D
_WAL_HEADER = 32
_FRAME_HEADER = 24
_USUAL_PAGE = 4096


@dataclass(frozen=True)
class _Pages:
    """Pages of the file and of the write-ahead file, the latter's newest copy first when asked by number."""

    size: int
    data: memoryview
    wal: memoryview
    wal_place: dict[int, int]

    def all(self) -> Iterator[tuple[memoryview, int]]:
        """Every page there is, stale copies too, with where its b-tree header begins."""
        for start in range(0, len(self.data) - self.size + 1, self.size):
            yield self.data[start : start + self.size], 100 if start == 0 else 0
        step = self.size + _FRAME_HEADER
        for start in range(_WAL_HEADER, len(self.wal) - step + 1, step):
            yield self.wal[start + _FRAME_HEADER : start + step], 0

    def page(self, number: int) -> memoryview:
        """A page by its number; empty where there is none."""
        place = self.wal_place.get(number)
        if place is not None:
            return self.wal[place : place + self.size]
        return self.data[(number - 1) * self.size : number * self.size] if number > 0 else self.data[:0]


def found_events(path: Path) -> Iterator[tuple[int, Row, int | None]]:
    """Id, row and link of every event whose checksum holds; some come twice, and in no order.

    Events that an older version wrote have no link.
    """
    wal = path.with_name(path.name + "-wal")
    data, wal_data = path.read_bytes(), wal.read_bytes() if wal.exists() else b""
    pages = _opened(memoryview(data), memoryview(wal_data))
    for page, start in pages.all():
        if len(page) > start and page[start] == _TABLE_LEAF:
            yield from _rows(page, start, pages)


def _opened(data: memoryview, wal: memoryview) -> _Pages:
    size = int.from_bytes(data[16:18], "big")
    size = 65536 if size == 1 else size
    if size < 512 or size & (size - 1):
        size = _USUAL_PAGE
    step = size + _FRAME_HEADER
    places = {
        int.from_bytes(wal[start : start + 4], "big"): start + _FRAME_HEADER
        for start in range(_WAL_HEADER, len(wal) - step + 1, step)
    }
    return _Pages(size, data, wal, places)


def _rows(page: memoryview, start: int, pages: _Pages) -> Iterator[tuple[int, Row, int | None]]:
    count = int.from_bytes(page[start + 3 : start + 5], "big")
    for index in range(min(count, len(page) // 4)):
        pointer = start + 8 + 2 * index
        place = int.from_bytes(page[pointer : pointer + 2], "big")
        try:
            length, place = _varint(page, place)
            event_id, place = _varint(page, place)
            found = _row(_payload(page, place, length, pages))
        except (IndexError, ValueError, struct.error):
            continue
        if found is not None and event_id > 0:
            yield event_id, *found


def _varint(data: memoryview | bytes, place: int) -> tuple[int, int]:
    value = 0
    for index in range(8):
        byte = data[place + index]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place + index + 1
    return value << 8 | data[place + 8], place + 9


def _payload(page: memoryview, place: int, length: int, pages: _Pages) -> bytes:
    """A record's bytes, followed onto overflow pages (section 1.6, `X` and `M`)."""
    usable = pages.size
    most = usable - 35
    if length <= most:
        return bytes(page[place : place + length])
    least = (usable - 12) * 32 // 255 - 23
    here = least + (length - least) % (usable - 4)
    here = least if here > most else here
    parts = [bytes(page[place : place + here])]
    following = int.from_bytes(page[place + here : place + here + 4], "big")
    left = length - here
    while left > 0:
        overflow = pages.page(following)
        if len(overflow) < usable:
            raise ValueError("the record goes on outside the file")
        parts.append(bytes(overflow[4 : 4 + min(left, usable - 4)]))
        left -= usable - 4
        following = int.from_bytes(overflow[:4], "big")
    return b"".join(parts)


def _row(record: bytes) -> tuple[Row, int | None] | None:
    """The event in a record of columns id (stored as null), at_s, kind, fields, check_sum, perhaps link."""
    header, place = _varint(record, 0)
    codes = []
    while place < header:
        code, place = _varint(record, place)
        codes.append(code)
    if len(codes) not in {5, 6} or codes[0] != 0:
        return None
    values: list[float | str | int | None] = []
    for code in codes[1:]:
        value, place = (None, place) if code == 0 else _value(record, place, code)
        values.append(value)
    at_s, kind, fields, check_sum, link = (*values, None)[:5]
    if not (isinstance(kind, str) and isinstance(fields, str) and isinstance(check_sum, int)):
        return None
    if not isinstance(at_s, int | float) or event_sum(float(at_s), kind, fields) != check_sum:
        return None
    return (float(at_s), kind, fields, check_sum), link if isinstance(link, int) else None


_INTEGER_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}


def _value(record: bytes, place: int, code: int) -> tuple[float | str | int, int]:
    """One column's value by its serial type (section 2.1)."""
    if code == 7:
        return struct.unpack_from(">d", record, place)[0], place + 8
    if code in {8, 9}:
        return code - 8, place
    if code in _INTEGER_BYTES:
        end = place + _INTEGER_BYTES[code]
        return int.from_bytes(record[place:end], "big", signed=True), end
    if code >= 13 and code % 2:
        end = place + (code - 13) // 2
        return record[place:end].decode(), end
    raise ValueError(f"no column of an event has type {code}")
