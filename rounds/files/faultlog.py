"""What nobody foresaw: one sentence for the player, the traceback in a file for whoever mends it.

Every command and every face ends here when an error that is none of ours comes up, and nowhere else:
what goes on in between must not go on with a state that nobody thought of. The journal is written
before anything else changes, so nothing is lost by ending.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
import traceback
from typing import TYPE_CHECKING

from rounds import __version__
from rounds.files.places import PRIVATE_FILE, make_folder, state_folder
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from pathlib import Path

LOG_NAME = "faults.log"
MOST_BYTES = 1_000_000
"""A log that has grown longer is begun anew."""
SHOULD_NOT_HAPPEN = "this should not happen"


def sentence(error: BaseException) -> str:
    """Keep an error in the log for whoever mends it; returns the sentence for the player."""
    path = kept(error)
    where = "" if path is None else f"; for whoever mends it, the details are in {plain(path)}"
    what = plain(f"{type(error).__name__}: {error}", 200).rstrip(": ")
    return f"{SHOULD_NOT_HAPPEN} ({what}): nothing in the journal is lost{where}"


def kept(error: BaseException) -> Path | None:
    """Write an error's traceback into the log beside our other state; its path, None where it cannot be."""
    path = state_folder() / LOG_NAME
    when = time.strftime("%Y-%m-%d %H:%M:%S")
    head = f"--- {when}, rounds {__version__}, Python {sys.version.split()[0]}, {sys.platform}\n"
    text = head + "".join(traceback.format_exception(error))
    with contextlib.suppress(OSError):
        make_folder(path.parent)
        anew = os.O_TRUNC if path.exists() and path.stat().st_size > MOST_BYTES else os.O_APPEND
        log = os.open(path, os.O_WRONLY | os.O_CREAT | anew, PRIVATE_FILE)
        with os.fdopen(log, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(text)
        return path
    return None


def keep_those_of_threads() -> None:
    """A thread that fails leaves its traceback in the log, and nothing on the screen."""
    threading.excepthook = _of_a_thread


def _of_a_thread(failed: threading.ExceptHookArgs) -> None:
    if failed.exc_value is not None and not isinstance(failed.exc_value, SystemExit):
        kept(failed.exc_value)
