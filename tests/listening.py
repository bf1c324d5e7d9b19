"""Listen to the default microphone and say what is heard, a line each, until killed: a process to stop."""

from __future__ import annotations

import time

from rounds.hearing.listener import Listener
from rounds.hearing.microphone import Microphone
from rounds.hearing.reading import Expectation


def main() -> None:
    """Listen."""
    listener = Listener(
        Microphone,
        lambda reading: print(f"reading {reading.hz:.0f}", flush=True),
        lambda _level_dbfs, _floor_dbfs: print("level", flush=True),
        lambda fault: print("back" if fault is None else f"fault {fault}", flush=True),
        expectation=Expectation(),
    )
    listener.start()
    time.sleep(600.0)


if __name__ == "__main__":
    main()
