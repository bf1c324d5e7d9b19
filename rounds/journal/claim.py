"""One session at a time on a journal.

Single events may come from any process at any time (`rounds log add` during a round): SQLite keeps
them apart. But two sessions would each walk a player through the same round, so a session claims
the journal. The claim is a lock of the system on a file beside it: it ends with the process,
however that dies, and a crash leaves nothing to clean up.
"""

from __future__ import annotations

import contextlib
import os
import sys
from typing import TYPE_CHECKING

from rounds.errors import JournalError
from rounds.files.places import PRIVATE_FILE
from rounds.journal.faults import told
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@contextlib.contextmanager
def claimed(path: Path) -> Iterator[None]:
    """Hold a journal for one session.

    Raises:
        JournalError: another session holds it.
    """
    with told(path):
        handle = os.open(path.with_name(path.name + ".session"), os.O_RDWR | os.O_CREAT, PRIVATE_FILE)
    try:
        if not _lock(handle):
            raise JournalError(
                f"{plain(path)}: another session of rounds runs on this journal{_holder(handle)}. "
                "End that one, or name another journal with --journal."
            )
        os.ftruncate(handle, 0)
        os.write(handle, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(handle)


def _holder(handle: int) -> str:
    pid = os.pread(handle, 20, 0).decode(errors="replace").strip() if hasattr(os, "pread") else ""
    return f" (process {pid})" if pid.isdigit() else ""


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
