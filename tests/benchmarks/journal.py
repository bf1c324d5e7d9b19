"""How long the journal takes: one durable append, a million events, the way back from a checkpoint.

    python -m tests.benchmarks.journal [--events N] [--folder DIR]

The baseline of the same run is one bare write and fsync of a plain file in the same folder.
"""

from __future__ import annotations

import argparse
import os
import pickle
import statistics
import tempfile
import time
from pathlib import Path

from rounds.events import Strike
from rounds.journal import Journal


def strike(number: int) -> Strike:
    return Strike(
        at_s=1.7e9 + 3.0 * number,
        bottle=f"B{number % 34:02d}",
        verdict="clear",
        hz=261.6 + number % 7 / 10,
        cents=number % 7 / 1.5,
        u95_cents=1.2,
        ring_s=0.4,
        peak_dbfs=-12.0,
    )


def milliseconds(what: str, times: list[float]) -> float:
    ordered = sorted(1000 * t for t in times)
    median = statistics.median(ordered)
    p95 = ordered[int(0.95 * len(ordered))]
    print(f"{what}: median {median:.3f} ms, p95 {p95:.3f} ms, most {ordered[-1]:.3f} ms")
    return median


def timed_appends(path: Path, count: int) -> list[float]:
    times = []
    with Journal(path) as journal:
        for number in range(count):
            start = time.perf_counter()
            journal.append(strike(number))
            times.append(time.perf_counter() - start)
    return times


def timed_syncs(path: Path, count: int) -> list[float]:
    times = []
    handle = os.open(path, os.O_CREAT | os.O_WRONLY, 0o600)
    for number in range(count):
        start = time.perf_counter()
        os.write(handle, str(strike(number)).encode())
        os.fsync(handle)
        times.append(time.perf_counter() - start)
    os.close(handle)
    return times


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--events", type=int, default=1_000_000)
    parser.add_argument("--folder", default=None)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=args.folder) as folder:
        ours = milliseconds("append, durable on return", timed_appends(Path(folder) / "a.db", 300))
        bare = milliseconds("baseline, write and fsync", timed_syncs(Path(folder) / "plain", 300))
        print(f"ratio of medians: {ours / bare:.2f}")
        big(Path(folder) / "big.db", args.events)


def big(path: Path, count: int) -> None:
    start = time.perf_counter()
    with Journal(path) as journal:
        journal.append_many(strike(n) for n in range(count))
        print(f"append_many of {count}: {time.perf_counter() - start:.2f} s")
        journal.save_checkpoint("fold", count - 100, pickle.dumps(list(range(5000))))
    print(f"size: {path.stat().st_size / 1e6:.0f} MB")
    start = time.perf_counter()
    with Journal(path) as journal:
        checkpoint = journal.load_checkpoint("fold")
        assert checkpoint is not None
        assert sum(1 for _ in journal.events(checkpoint.last_id)) == 100
        print(f"open, checkpoint and the 100 events after it: {1000 * (time.perf_counter() - start):.1f} ms")
        start = time.perf_counter()
        assert sum(1 for _ in journal.events(kinds=("round_closed",))) == 0
        print(f"search all for one kind: {time.perf_counter() - start:.2f} s")
        start = time.perf_counter()
        assert sum(1 for _ in journal.events()) == count
        print(f"read all: {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
