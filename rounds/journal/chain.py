"""Each event is linked to the one before it, and how far the journal has come is noted beside it.

A checksum of its own tells that an event is what was written, and not that it is all that was written: SQLite
drops the end of a write-ahead file from the first damaged bit on, without a word. So every event carries a
checksum over all before it, and the newest one's id and link stand in a small file beside the journal. It is
written after the event is safe, and not synced: a witness, never a source of truth.
"""

from __future__ import annotations

import contextlib
import os
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.files.places import PRIVATE_FILE

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from rounds.journal.rows import Row

_LENGTH = 96
"""Bytes of the file, always the same, so that it is overwritten in place even on a full disk."""


def linked(link: int, check_sum: int) -> int:
    """The link of an event after that of the one before it (0: there is none)."""
    return zlib.crc32(f"{link:x} {check_sum:x}".encode())


def with_links(rows: Iterable[Row], link: int) -> Iterator[tuple[float, str, str, int, int]]:
    """Rows with their links, following the link of the newest event."""
    for row in rows:
        link = linked(link, row[3])
        yield (*row, link)


@dataclass(frozen=True)
class Tail:
    """The newest event of a journal: its id and link, and when it was; id 0 where there is none."""

    last_id: int = 0
    link: int = 0
    at_s: float = 0.0


class Witness:
    """The file that tells how far a journal has come."""

    def __init__(self, journal: Path) -> None:
        self._path = journal.with_name(journal.name + "-head")

    def told(self) -> Tail | None:
        """What it tells; None where it is not there or not whole."""
        try:
            words = self._path.read_text(encoding="ascii").split()
            text, found = " ".join(words[:3]), int(words[3], 16)
            if zlib.crc32(text.encode()) != found:
                return None
            return Tail(int(words[0]), int(words[1], 16), float(words[2]))
        except (OSError, ValueError, IndexError):
            return None

    def tell(self, tail: Tail) -> None:
        """Note how far the journal has come. Where that cannot be written the journal is none the worse."""
        text = f"{tail.last_id} {tail.link:x} {tail.at_s!r}"
        line = f"{text} {zlib.crc32(text.encode()):x}".ljust(_LENGTH - 1) + "\n"
        with contextlib.suppress(OSError):
            handle = os.open(self._path, os.O_WRONLY | os.O_CREAT, PRIVATE_FILE)
            try:
                write_at_start(handle, line.encode())
            finally:
                os.close(handle)

    def forget(self) -> None:
        """Another journal takes this one's place."""
        self._path.unlink(missing_ok=True)


def write_at_start(handle: int, data: bytes) -> None:
    """Write from the start of a file, in one call where the system has one."""
    if hasattr(os, "pwrite"):
        os.pwrite(handle, data, 0)
    else:
        os.write(handle, data)
