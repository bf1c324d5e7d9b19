"""Kill a running session at random moments, and see whether anything acknowledged is lost.

    python -m tests.benchmarks.kills [--kills N] [--seed N]

A reference session plays a rehearsal on the virtual rig without interruption; its input lines and
answers are kept. Each trial begins a process somewhere in that rehearsal, feeds it the same lines
and kills it (SIGKILL) a random moment after a random line. Then, in this process, the journal must
be whole and hold every strike and every taking back of every answered line, and a session resumed on
it must stand where the killed one's last answer said, or further by the line that was under way.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from rounds.events import Event, Strike, TakenBack
from rounds.faces.lines import Lines
from rounds.journal import Journal, MemoryJournal, care
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.ears import QuickEar
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import one_step
from rounds.simulation.world import World

if TYPE_CHECKING:
    from rounds.hearing.reading import Expectation, Reading
    from rounds.instruction import Instruction

Answer = dict[str, Any]
RIG = "configs/one_rail.toml"
ZERO_S = 1.78e9
SLIP_EVERY = 7


@dataclass(frozen=True)
class Line:
    """One line of the reference: what went in, what came out, and how many events there were then."""

    sent: str
    answer: dict[str, object]
    events: int


class Recorder:
    """Stands for a session in a rehearsal: every call becomes a line."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.log = session.record.log
        self.lines = Lines(session, ZERO_S, lambda *_: [])
        self.kept: list[Line] = []

    def say(self, at_s: float, **what: object) -> None:
        sent = json.dumps({"t": at_s - ZERO_S, **what})
        answer = json.loads(self.lines.answer(sent, 0.0))
        self.kept.append(Line(sent, answer, self.log.last_id))

    def tick(self, at_s: float) -> None:
        self.say(at_s, tick=True)

    def strike(self, at_s: float, sounded: Reading) -> None:
        if sounded.verdict == "clear" and sounded.hz is not None:
            self.say(at_s, strike={"hz": sounded.hz, "u95_cents": sounded.u95_cents})

    @property
    def instruction(self) -> Instruction:
        return self.session.instruction

    def listening(self) -> Expectation:
        return self.session.listening()


def reference(
    seed: int,
    rounds: int = 2,
    *,
    slip_every: int = 0,
    weak_every: int = 0,
    downbeat_in_s: float | None = None,
) -> tuple[list[Line], list[Event]]:
    """A rehearsal of two rounds with a take between, as lines and as events.

    After so many steps six strokes are told of by a slip, and taken back; after so many a strike is too weak.
    """
    rig = load_rig(RIG)
    world = World(rig, np.random.default_rng(seed), start_s=ZERO_S)
    world.first_fill()
    journal = MemoryJournal()
    recorder = Recorder(Session(rig, journal, ZERO_S))
    player, ear = Player(world), QuickEar(world)
    for _ in range(rounds):
        downbeat_t = None if downbeat_in_s is None else world.now_s - ZERO_S + downbeat_in_s
        recorder.say(world.now_s, open={"temp_c": 20.0, "block_s": 900, "downbeat_t": downbeat_t})
        again = False
        for number in range(1, 400):
            told = recorder.instruction
            if told.act == "none" and told.bottle is None:
                break
            if slip_every and number % slip_every == 0:
                recorder.say(world.now_s, air=6.0)
                recorder.say(world.now_s, undo=True)
            if weak_every and number % weak_every == 0:
                recorder.say(world.now_s, strike={"verdict": "quiet"})
            step = one_step(cast("Session", recorder), world, player, ear, again=again)
            # Air is moved once for an instruction; a strike that was not understood is only repeated.
            again = step.sounded is not None and step.sounded.verdict != "clear"
        recorder.say(world.now_s, close=True)
        recorder.say(world.now_s, take="start")
        world.advance(world.now_s + 900.0)
        recorder.say(world.now_s, take="stop")
    return recorder.kept, [event for _, event in journal.events()]


def trial(lines: list[Line], events: list[Event], folder: Path, rng: random.Random) -> str:
    """One kill; returns what was found, `lost...` when it is bad."""
    path = folder / "j.db"
    start = rng.randrange(len(lines) - 12)
    with Journal(path) as journal:
        journal.append_many(events[: lines[start].events])
    fed = lines[start + 1 :]
    answers = fed_and_killed(path, fed, rng)
    if care.check(path).problems:
        return "lost: the journal is damaged"
    with Journal(path) as journal:
        kept = [event.hz for _, event in journal.events() if isinstance(event, Strike)]
        wanted = [e.hz for e in events[: lines[start].events] if isinstance(e, Strike)]
        wanted += [hz for line, answer in zip(fed, answers, strict=False) if (hz := struck(line, answer))]
        if kept[: len(wanted)] != wanted:
            return "lost: an acknowledged strike"
        undone = sum(isinstance(e, TakenBack) for _, e in journal.events(lines[start].events))
        if undone < sum("taken_back" in answer for answer in answers):
            return "lost: an acknowledged taking back"
        session = Session(load_rig(RIG), journal, ZERO_S)
        now = json.loads(Lines(session, ZERO_S, lambda *_: []).answer('{"t": 0, "tick": true}', 0.0))
    return compared(now, answers[-1] if answers else lines[start].answer, fed[len(answers)])


def struck(line: Line, answer: Answer) -> float | None:
    """The pitch of a strike that was answered with a reading: it must be in the journal."""
    strike = json.loads(line.sent).get("strike")
    return strike["hz"] if strike and answer["reading"] else None


def compared(now: Answer, last: Answer, under_way: Line) -> str:
    """Where the resumed session stands against the killed one's own last answer."""
    if (now["do"], now["round"]) == (last["do"], last["round"]):
        return "same as the last answer"
    sent = json.loads(under_way.sent)
    if now["round"]["open"] == last["round"]["open"]:
        return "same round, the line under way or a plan made anew shows"
    return (
        "the line under way opened or closed the round"
        if {"open", "close"} & set(sent)
        else "lost: the round"
    )


def fed_and_killed(path: Path, lines: list[Line], rng: random.Random) -> list[Answer]:
    """Feed lines to a process and kill it; returns its answers."""
    command = [sys.executable, "-m", "tests.faults.session_process", RIG, str(path), str(ZERO_S)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdout.readline()
    waited, answers = rng.randrange(0, 10), []
    for line in lines[:waited]:
        process.stdin.write(line.sent + "\n")
        process.stdin.flush()
        answers.append(process.stdout.readline())
    process.stdin.write("".join(line.sent + "\n" for line in lines[waited : waited + 10]))
    process.stdin.flush()
    time.sleep(rng.uniform(0.0, 0.03))
    process.send_signal(signal.SIGKILL)
    answers += process.stdout.readlines()
    process.wait()
    return [json.loads(answer) for answer in answers if answer.endswith("\n")]


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    lines, events = reference(args.seed, slip_every=SLIP_EVERY)
    print(f"reference: {len(lines)} lines, {len(events)} events")
    found: Counter[str] = Counter()
    rng = random.Random(args.seed)
    started = time.perf_counter()
    for _ in range(args.kills):
        with tempfile.TemporaryDirectory() as folder:
            found[trial(lines, events, Path(folder), rng)] += 1
    for what, count in sorted(found.items()):
        print(f"{count:5d}  {what}")
    lost = sum(count for what, count in found.items() if what.startswith("lost"))
    print(f"{args.kills} kills, {lost} losses, {time.perf_counter() - started:.0f} s")
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
