"""Keep what C libraries print off the screen.

PortAudio and ALSA write to file descriptor 2 as they please, and a full-screen face paints on that
very descriptor. So Python's own stderr moves to a copy of it, and descriptor 2 itself goes to a log.
Enter this before the face starts: it keeps the stream it finds then.
"""

from __future__ import annotations

import contextlib
import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@contextlib.contextmanager
def c_noise_to(log_path: Path) -> Iterator[None]:
    """Send descriptor 2 to a log file; Python's stderr still reaches the terminal."""
    sys.stderr.flush()
    terminal = os.dup(2)
    log_path.parent.mkdir(parents=True, exist_ok=True)
    log = os.open(log_path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    before = sys.stderr, sys.__stderr__
    own = os.fdopen(os.dup(terminal), "w", buffering=1, encoding="utf-8", errors="backslashreplace")
    os.dup2(log, 2)
    os.close(log)
    if sys.stderr is sys.__stderr__:
        sys.stderr = own
    sys.__stderr__ = own  # type: ignore[misc]
    try:
        yield
    finally:
        own.flush()
        sys.stderr, sys.__stderr__ = before  # type: ignore[misc]
        os.dup2(terminal, 2)
        os.close(terminal)
        own.close()
