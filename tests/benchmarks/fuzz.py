"""Feed spoiled files to everything that reads files, and count what goes wrong.

    python -m tests.benchmarks.fuzz [--cases N] [--seed N] [--only TARGET] [--keep FOLDER]
    python -m tests.benchmarks.fuzz --screens PLAYERS [--acts N] [--seed N]

Each case has `LIMIT_S` seconds and the process has `MEMORY_BYTES` of address space beyond what it
holds at the start: a hang or a flood of memory is a fault like an exception. Faulty inputs are kept
in a folder, one of each kind. With --screens, so many players press, click, type, resize and strike at
random on the real screens. Exit code 1 when there was a fault.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

from tests.fuzz.screens import Player
from tests.fuzz.targets import Fault, Targets

LIMIT_S = 10.0
MEMORY_BYTES = 1_000_000_000
SHARES = {"rig": 0.26, "csv": 0.26, "midi": 0.24, "lines": 0.2, "wav": 0.04}


class Hang(BaseException):
    """The case took too long. Not an `Exception`, so that nothing under test swallows it."""


def _ring(*_: object) -> None:
    raise Hang


def limit_memory() -> None:
    """Bound the address space to what is in use and `MEMORY_BYTES` more."""
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most = pages * resource.getpagesize() + MEMORY_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (most, most))


def kind_of(error: BaseException) -> str:
    """A name under which equal faults are counted once: the type and the deepest place of ours."""
    ours = [f for f in traceback.extract_tb(error.__traceback__) if "/rounds/" in f.filename]
    where = f"{Path(ours[-1].filename).name}:{ours[-1].lineno}" if ours else "?"
    words = str(error)[:60] if isinstance(error, Fault) else ""
    return f"{type(error).__name__} {words} at {where}"


def one(targets: Targets, name: str, data: bytes, rng: random.Random) -> str:
    """Run one case: `accepted`, `refused` with a sentence, or the kind of its fault."""
    signal.setitimer(signal.ITIMER_REAL, LIMIT_S)
    try:
        return "accepted" if targets.all[name][1](data, rng) else "refused"
    except (Exception, Hang) as error:  # noqa: BLE001 - whatever comes out is what is looked for
        return kind_of(error)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=tuple(SHARES))
    parser.add_argument("--keep", default=None, help="folder for inputs that made a fault")
    parser.add_argument("--screens", type=int, default=0, metavar="PLAYERS")
    parser.add_argument("--acts", type=int, default=200, help="of each player")
    args = parser.parse_args()
    if args.screens:
        return screens(args.seed, args.screens, args.acts)
    signal.signal(signal.SIGALRM, _ring)
    rng = random.Random(args.seed)
    keep = Path(args.keep or tempfile.mkdtemp(prefix="fuzz-"))
    keep.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
        targets = Targets(Path(folder))
        for name, (seeds, run) in targets.all.items():
            run(seeds[0], random.Random(name))
        limit_memory()
        shares = {args.only: 1.0} if args.only else SHARES
        return report(fuzz(targets, shares, args.cases, rng, keep), keep)


def screens(seed: int, players: int, acts: int) -> int:
    """Let so many players play, one after the other; how many came upon a fault."""
    faults, events, notes, started = 0, 0, 0, time.perf_counter()
    for number in range(seed, seed + players):
        with tempfile.TemporaryDirectory() as folder:
            player = Player(Path(folder), number)
            try:
                asyncio.run(asyncio.wait_for(player.plays(acts), acts * LIMIT_S))
            except Exception as error:  # noqa: BLE001 - whatever comes out is what is looked for
                faults += 1
                print(f"player {number}: {kind_of(error)}; last acts: {player.done[-5:]}", flush=True)
        events, notes = events + len(player.kept), notes + len(player.noted)
    kept = f"{events} events and {notes} notes kept"
    print(f"{players} players of {acts} acts, {faults} faults; {kept}, {time.perf_counter() - started:.0f} s")
    return 1 if faults else 0


def fuzz(
    targets: Targets, shares: dict[str, float], cases: int, rng: random.Random, keep: Path
) -> tuple[Counter[str], Counter[tuple[str, str]]]:
    """Run all cases; how many of each target, and the faults."""
    done: Counter[str] = Counter()
    faults: Counter[tuple[str, str]] = Counter()
    for name, share in shares.items():
        started = time.perf_counter()
        for _ in range(round(cases * share)):
            data = targets.case(name, rng)
            came = one(targets, name, data, rng)
            done[name] += 1
            if came in {"accepted", "refused"}:
                done[f"{name} {came}"] += 1
                continue
            faults[name, came] += 1
            if faults[name, came] == 1:
                (keep / f"{name}-{len(faults)}").write_bytes(data)
                print(f"{name}: {came}", flush=True)
        ways = f"{done[f'{name} accepted']} accepted, {done[f'{name} refused']} refused"
        print(f"{name}: {done[name]} cases, {ways}, {time.perf_counter() - started:.0f} s", flush=True)
    return done, faults


def report(found: tuple[Counter[str], Counter[tuple[str, str]]], keep: Path) -> int:
    """Say what came of it."""
    done, faults = found
    for (name, kind), count in faults.most_common():
        print(f"{count:6d}  {name}: {kind}")
    print(f"{sum(done[name] for name in SHARES)} cases, {sum(faults.values())} faults of {len(faults)} kinds")
    if faults:
        print(f"inputs kept in {keep}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
