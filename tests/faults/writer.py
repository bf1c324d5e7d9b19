"""A process that writes events for ever and says each id once it is acknowledged.

python -m tests.faults.writer JOURNAL
"""

from __future__ import annotations

import sys

from rounds.errors import JournalError
from rounds.events import NoteWritten
from rounds.journal import Journal


def main() -> None:
    """Write until killed or until an error, which is said on stderr with exit code 1."""
    try:
        with Journal(sys.argv[1]) as journal:
            journal.claim()
            number = journal.last_id
            while True:
                number += 1
                kept = journal.append(NoteWritten(at_s=float(number), text="x" * (number * 37 % 400)))
                sys.stdout.write(f"{kept}\n")
                sys.stdout.flush()
    except JournalError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
