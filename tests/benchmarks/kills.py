"""Kill a running session at random moments, and see whether anything acknowledged is lost.

    python -m tests.benchmarks.kills [--kills N] [--seed N]

A reference session plays a rehearsal on the virtual rig without interruption; its input lines and
answers are kept. Each trial begins a process somewhere in that rehearsal, feeds it the same lines
and kills it (SIGKILL) a random moment after a random line. Every answer must be the reference's, to the last
key. Then, in this process, the journal must be whole and hold every event of every answered line, and none
that the reference has not; a session resumed on it must stand where the reference stood (target, left,
needed, heads, air, plan, what each is told), and answer the next lines as the reference did.
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

from rounds.events import ClockSet, Event, SessionStarted
from rounds.faces.lines import Lines
from rounds.journal import Journal, MemoryJournal, care
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.ears import QuickEar
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import one_step
from rounds.simulation.world import World

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.hearing.reading import Expectation, Reading
    from rounds.instruction import Instruction

Answer = dict[str, Any]
RIG = "configs/one_rail.toml"
ZERO_S = 1.78e9
SLIP_EVERY, WEAK_EVERY = 7, 11
GOES_ON = 4
"""Lines that the resumed session is asked to go on with."""


@dataclass(frozen=True)
class Line:
    """One line of the reference: what went in, what came out, how many events there were then, and where it
    all stood."""

    sent: str
    answer: dict[str, object]
    events: int
    own_events: int
    state: dict[str, Any]


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
        own_events = len(own(event for _, event in self.log.events()))
        self.kept.append(Line(sent, answer, self.log.last_id, own_events, standing(self.session)))

    def done(self, at_s: float) -> None:
        self.say(at_s, done=True)

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
    player.tell = lambda _, psi: recorder.say(world.now_s, gauge_psi=psi)
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


def own(events: Iterable[Event]) -> list[Event]:
    """What the lines brought about; a start of its own and the clock it finds are each process's."""
    return [event for event in events if not isinstance(event, SessionStarted | ClockSet)]


def trial(lines: list[Line], events: list[Event], folder: Path, rng: random.Random) -> str:
    """One kill; returns what was found, `lost...` when it is bad."""
    path, wanted = folder / "j.db", own(events)
    start = rng.choice([i for i in range(len(lines) - 12) if "undo" not in lines[i + 1].sent])
    with Journal(path) as journal:
        journal.append_many(events[: lines[start].events])
    answers = fed_and_killed(path, lines[start + 1 :], rng)
    said = lines[start + 1 : start + 1 + len(answers)]
    for line, answer in zip(said, answers, strict=True):
        if answer != line.answer:
            return f"lost: after {line.sent} it answered other than the reference"
    if not care.check(path).whole:
        return "lost: the journal is damaged"
    with Journal(path) as journal:
        kept = own(event for _, event in journal.events())
        if kept != wanted[: len(kept)]:
            return "lost: an event is not what the reference wrote"
        if len(kept) < (said[-1] if said else lines[start]).own_events:
            return "lost: an acknowledged event"
        return taken_up(journal, lines, wanted)


def taken_up(journal: Journal, lines: list[Line], wanted: list[Event]) -> str:
    """A session resumed on what the killed one left stands where the reference stood, and goes on."""
    session = Session(load_rig(RIG), journal, ZERO_S)
    kept = own(event for _, event in journal.events())
    if kept != wanted[: len(kept)]:
        return "lost: after the start it wrote what the reference did not"
    here = max(i for i, line in enumerate(lines) if line.own_events <= len(kept))
    if lines[here].own_events != len(kept):
        return "lost: it stopped in the middle of what follows by itself"
    session.tick(ZERO_S + json.loads(lines[here].sent)["t"])
    if (now := standing(session)) != lines[here].state:
        differs = [key for key, value in lines[here].state.items() if now[key] != value]
        return f"lost: {', '.join(differs)} differ from the reference"
    talk = Lines(session, ZERO_S, lambda *_: [])
    for line in lines[here + 1 : here + 1 + GOES_ON]:
        if "undo" in line.sent:
            break  # an act before the start is not taken back after it
        if json.loads(talk.answer(line.sent, 0.0)) != line.answer:
            return f"lost: it answered {line.sent} other than the reference"
    return "stands where the reference stood, and answers as it did"


def standing(session: Session) -> dict[str, Any]:
    """All that a player sees of where a round stands, and the plan."""
    state, day = session.round, session.day
    plan = None if state is None else session.plan()
    return {
        "target": state and (state.target, state.purpose),
        "left": state and state.open_bottles,
        "needed": state and state.needed,
        "heard": state and state.heard,
        "skipped": state and dict(state.skipped),
        "connections": state and dict(state.connected),
        "heads": (day.heads, day.mounted),
        "air": dict(day.air),
        "temp_c": day.temp_c,
        "take": day.take,
        "plan": plan and (plan.order, plan.listen, plan.sacrificed, [v.aim_cents for v in plan.visits]),
        "instructions": session.instructions,
    }


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
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    lines, events = reference(args.seed, slip_every=SLIP_EVERY, weak_every=WEAK_EVERY)
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
