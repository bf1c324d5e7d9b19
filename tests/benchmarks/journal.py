"""How long the journal takes: one durable append, a million events, the way back from a checkpoint.

    python -m tests.benchmarks.journal [--events N] [--folder DIR]

The baseline of the same run is one bare write and fsync of a plain file in the same folder. The
long journal is one simulated rehearsal of two rounds and two takes, repeated on day after day.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from rounds.events import Event, RoundClosed, RoundOpened, SessionStarted, Strike, TakeStarted, TakeStopped
from rounds.faces.lines import Lines
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from tests.benchmarks.face import terminal
from tests.benchmarks.kills import RIG, reference

if TYPE_CHECKING:
    from collections.abc import Iterator


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


def rehearsals(count: int) -> Iterator[Event]:
    """So many events: a rehearsal on each of many days."""
    _, events = reference(1)
    told, day = 0, 0
    while True:
        for event in events:
            yield on_day(event, day)
            told += 1
            if told == count:
                return
        day += 1


def on_day(event: Event, day: int) -> Event:
    """The event of the first day on a later one, its round and take with names of their own."""
    at_s = event.at_s + 86400.0 * day
    match event:
        case SessionStarted():
            return dataclasses.replace(event, at_s=at_s, place=f"hall {day % 7}")
        case RoundOpened() | RoundClosed():
            return dataclasses.replace(event, at_s=at_s, round_id=f"r{2 * day + int(event.round_id[1:])}")
        case TakeStarted() | TakeStopped():
            return dataclasses.replace(event, at_s=at_s, take=f"take {2 * day + int(event.take[5:])}")
        case _:
            return dataclasses.replace(event, at_s=at_s)


def first_screen(path: Path, home: Path) -> None:
    """From the start of the process to the first paint of a round."""
    home.mkdir(exist_ok=True)
    (home / "cautions-read").touch()
    times, work = [], []
    for _ in range(5):
        argv = ("rounds", "tune", "--rig", RIG, "--journal", str(path))
        with terminal(*argv, ROUNDS_HOME=str(home)) as child:
            times.append(child.wait_for(b"LISTEN", b"TUNE", b"AGAIN", b"DONE") - child.started_s)
            work.append(child.cpu_s)
    milliseconds(f"first screen of rounds tune, {path.name}", times)
    print(f"  of processor: median {statistics.median(work):.2f} s")


def timed_undos(path: Path, now_s: float) -> list[float]:
    """Six strokes told of by a slip and taken back, after each tenth line of a played round."""
    lines, _ = reference(2, rounds=1)
    times: list[float] = []
    with Journal(path) as journal:
        session = Session(load_rig(RIG), journal, now_s)
        talk = Lines(session, session.now_s, lambda *_: [])
        for number, line in enumerate(lines[:-3], 1):
            talk.answer(line.sent, 0.0)
            if number % 10 == 0 and session.instruction.bottle is not None:
                session.air(6.0, session.now_s)
                start = time.perf_counter()
                session.undo(session.now_s)
                times.append(time.perf_counter() - start)
        session.close_round(session.now_s)
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


class Watch:
    """Prints what took how long, and how much of it the processor was at work for us."""

    def __init__(self) -> None:
        self.start, self.work = time.perf_counter(), processor_s()

    def lap(self, what: str) -> None:
        took, worked = time.perf_counter() - self.start, processor_s() - self.work
        print(f"{what}: {took:.2f} s, {worked:.2f} s of processor", flush=True)
        self.start, self.work = time.perf_counter(), processor_s()


def processor_s() -> float:
    """Processor time of this process and of those it has run."""
    told = os.times()
    return told.user + told.system + told.children_user + told.children_system


def big(path: Path, count: int) -> None:
    watch = Watch()
    with Journal(path) as journal:
        last_s = 0.0
        for event in rehearsals(count):
            last_s = event.at_s
        watch.lap("(making the events)")
        journal.append_many(rehearsals(count))
        watch.lap(f"keep {count} events at once")
    print(f"size: {path.stat().st_size / 1e6:.0f} MB")
    with Journal(path) as journal:
        assert sum(1 for _ in journal.events()) == count
    watch.lap("read all")
    for what in ("without a checkpoint", "from the checkpoint"):
        with Journal(path) as journal:
            session = Session(load_rig(RIG), journal, last_s + 3600.0)
            assert session.plan if session.round else session.due(last_s + 3600.0)
        watch.lap(f"a session begins, {what}")
    milliseconds("undo in an open round of that journal", timed_undos(path, last_s + 7200.0))
    watch.lap("(playing it)")
    for name in ("empty.db", path.name):
        first_screen(path.with_name(name), path.with_name("home"))
    watch.lap("(the screens)")
    for what in ("first", "again"):
        told = [sys.executable, "-m", "rounds", "health", "--rig", RIG, "--journal", str(path)]
        subprocess.run(told, capture_output=True, check=True)
        watch.lap(f"rounds health, {what}")
    days = count // 400
    for argv in (
        [], ["--round", f"r{days}"], ["--take", f"take {days}"], ["--place", "hall 3", "--last", "50"],
        ["--day", time.strftime("%Y-%m-%d", time.localtime(last_s))], ["--bottle", "C4"],
        ["--kind", "note_written"], ["--round", f"r{days}", "--csv"],
    ):  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-m", "rounds", "log", "--journal", path, *argv], capture_output=True, check=True
        )
        watch.lap(f"rounds log {' '.join(argv)}".strip() + f" ({done.stdout.count(10)} lines)")


if __name__ == "__main__":
    main()
