"""A process that keeps events of many sizes, checkpoints now and then, and starts again now and then.

python -m tests.faults.powered JOURNAL EVENTS [normal]

Each id is said once it is acknowledged. `normal` lowers what SQLite promises: the control of the
power cut, in which events must be lost.
"""

from __future__ import annotations

import os
import random
import sys

from rounds.events import NoteWritten
from rounds.journal import Journal

START_AGAIN = 300
KEEP = 90


def text_of(number: int) -> str:
    """The note that is kept under an id."""
    length = random.Random(number).choice((5, 60, 400, 9000))
    return f"{number} " + "x" * length


def main() -> None:
    """Keep so many events."""
    path, events, normal = sys.argv[1], int(sys.argv[2]), sys.argv[3:] == ["normal"]
    kept = 0
    while kept < events:
        with Journal(path) as journal:
            if normal:
                journal._connection.execute("PRAGMA synchronous = NORMAL")
            for _ in range(min(START_AGAIN, events - kept)):
                kept = journal.append(NoteWritten(at_s=float(kept + 1), text=text_of(kept + 1)))
                os.write(1, f"{kept}\n".encode())
                if kept % KEEP == 0:
                    journal.save_checkpoint("state", kept, b"s" * 30_000)


if __name__ == "__main__":
    main()
