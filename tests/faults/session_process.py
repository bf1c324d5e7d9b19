"""`rounds tune --lines` with the session's clock given, so that runs can be compared to the letter.

python -m tests.faults.session_process RIG JOURNAL ZERO_S
"""

from __future__ import annotations

import signal
import sys

from rounds.commands.tune import hear_wav
from rounds.faces.lines import Lines
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session


def main() -> None:
    """Answer lines until killed, also by a hang-up where whoever started us ignores it (nohup)."""
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_DFL)
    rig, path, zero_s = load_rig(sys.argv[1]), sys.argv[2], float(sys.argv[3])
    with Journal(path) as journal:
        journal.claim()
        lines = Lines(Session(rig, journal, zero_s), zero_s, hear_wav)
        print("ready", flush=True)
        for line in sys.stdin:
            print(lines.answer(line, 0.0), flush=True)


if __name__ == "__main__":
    main()
