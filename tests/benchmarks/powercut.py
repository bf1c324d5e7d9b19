"""Cut the power at random moments, in a model of the harshest disk, and see what acknowledged event is lost.

    python -m tests.benchmarks.powercut [--cuts N] [--events N] [--seed N]

The model and what it assumes are in `tests/faults/powercut.py`. The control runs the same with
SQLite's `synchronous` lowered to NORMAL: there events must be lost, or the test could not see it.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from rounds.errors import JournalError
from rounds.events import NoteWritten
from rounds.journal import Journal, care
from tests.faults.powercut import Call, Disk, recorded
from tests.faults.powered import text_of


def verdict(path: Path, said: int) -> str:
    """What a new start finds."""
    if not path.exists() and not said:
        return "whole"
    try:
        if care.check(path).problems:
            return "damaged"
        with Journal(path) as journal:
            kept = [event.text for _, event in journal.events() if isinstance(event, NoteWritten)]
            journal.append(NoteWritten(at_s=0.0, text="goes on"))
    except JournalError as error:
        return f"cannot be opened ({error})" if said else "whole"
    if kept != [text_of(number) for number in range(1, len(kept) + 1)]:
        return "wrong events"
    return "whole" if len(kept) >= said else "lost acknowledged events"


def cut(calls: list[Call], cuts: int, rng: random.Random, folder: Path) -> Counter[str]:
    """So many cuts, each at a random call after the first acknowledgement or before it."""
    moments = sorted(rng.randrange(len(calls)) for _ in range(cuts))
    found: Counter[str] = Counter()
    disk, at = Disk(), 0
    for moment in moments:
        while at < moment:
            disk.take(calls[at])
            at += 1
        disk.after_a_cut(folder, rng)
        found[verdict(folder / "j.db", disk.said)] += 1
    return found


def run(events: int, cuts: int, seed: int, *options: str) -> Counter[str]:
    """Record a process, then cut. In memory where there is such a folder: what is asked of it is the same."""
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as made:
        folder = Path(made) / "journal"
        folder.mkdir()
        argv = [sys.executable, "-m", "tests.faults.powered", str(folder / "j.db"), str(events), *options]
        calls = recorded(argv, folder, Path(made) / "trace")
        return cut(calls, cuts, random.Random(seed), Path(made) / "after")


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cuts", type=int, default=2000)
    parser.add_argument("--events", type=int, default=700)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    started = time.perf_counter()
    ours = run(args.events, args.cuts, args.seed)
    control = run(args.events, args.cuts, args.seed, "normal")
    for name, found in (("synchronous=FULL (ours)", ours), ("synchronous=NORMAL (control)", control)):
        told = ", ".join(f"{count} {what}" for what, count in found.most_common())
        print(f"{name}: {args.cuts} cuts: {told}")
    print(f"{time.perf_counter() - started:.0f} s")
    return 0 if set(ours) <= {"whole"} and control["lost acknowledged events"] else 1


if __name__ == "__main__":
    sys.exit(main())
