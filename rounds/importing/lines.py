"""Read a text file line by line in bounded memory, whatever is in it.

A line that never ends would fill the memory, so lines are cut at `MOST_CHARS`; the rest of such a
line counts as the same line and is refused with it. Bytes that are not UTF-8 come through as lone
surrogates and are refused where they matter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TextIO

from rounds.errors import BadInput
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

MOST_CHARS = 100_000


def open_text(path: Path) -> TextIO:
    """Open a text file that the player named.

    Raises:
        BadInput: it is no file, or cannot be read.
    """
    try:
        if path.exists() and not path.is_file():
            raise BadInput(f"{plain(path)} is not a file; name a file to import.")
        return path.open(encoding="utf-8-sig", errors="surrogateescape", newline="")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadInput(f"{plain(path)} cannot be read ({plain(why)}); check its name and place.") from error


class Lines:
    """The lines of a file; `number` is that of the line given last, from 1."""

    def __init__(self, file: TextIO) -> None:
        self._file = file
        self._ended = True
        self.number = 0

    @property
    def next_number(self) -> int:
        """The number of the line that comes next, or of the one that is cut and goes on."""
        return self.number + self._ended

    def __iter__(self) -> Iterator[str]:
        while line := self._file.readline(MOST_CHARS):
            self.number += self._ended
            self._ended = line.endswith(("\n", "\r"))
            yield line


def is_text(value: str) -> bool:
    """Whether it was UTF-8."""
    return not any("\ud800" <= c <= "\udfff" for c in value)
