"""A file that is written whole or not at all: a full disk leaves no half of one, and no old one spoiled."""

from __future__ import annotations

import contextlib
import errno
import os
from typing import IO, TYPE_CHECKING

from rounds.files.places import PRIVATE_FILE

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ANYBODYS_FILE = 0o666
"""Permissions before the user's own mask is taken off."""


@contextlib.contextmanager
def written_whole(path: Path, *, replace: bool, permissions: int = PRIVATE_FILE) -> Iterator[IO[bytes]]:
    """A file to write into, which gets its name once all is written and synced; a device is written as it is.

    Args:
        path: its name.
        replace: whether a file of that name may go.
        permissions: who may read and write it.

    Raises:
        FileExistsError: there is a file already.
        OSError: it cannot be written.
    """
    if not replace and path.exists():
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    if path.exists() and not path.is_file():
        with path.open("wb") as device:
            yield device
        return
    path = path.resolve()
    part = path.with_name(f".{path.name[:50]}.part-{os.getpid()}")
    handle = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, permissions)
    try:
        with os.fdopen(handle, "wb") as out:
            yield out
            out.flush()
            os.fsync(out.fileno())
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
