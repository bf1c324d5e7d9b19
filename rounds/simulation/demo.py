"""The demo: a rehearsal on the invented rig, on the screens or by itself."""

from __future__ import annotations

import contextlib
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from rounds.errors import RoundsError
from rounds.files.places import shipped
from rounds.journal import Journal, MemoryJournal
from rounds.journal.retiming import retimed
from rounds.planning import check_pumps
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.pair import Screen
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import RoundResult, play_round, read_off
from rounds.simulation.together import play_together
from rounds.simulation.world import World
from rounds.wording.shown import VERDICT_WORD
from rounds.wording.words import signed_cents

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator

    from rounds.instruction import Instruction
    from rounds.journal import Log
    from rounds.simulation.rehearsal import Step

DEMO_RIG = "three_rails.toml"
"""The invented rig that the demo plays on."""
START_S = 1_800_000_000.0
"""When the demo's day begins (a moment in 2027), always, so that the same seed gives the same day."""
OVERNIGHT_CENTS = 12.0
"""How far bottles that were in tune yesterday stand off today, as a standard deviation."""
TO_DOWNBEAT_S = 900.0


@dataclass(frozen=True)
class DayResult:
    """A rehearsal that played itself."""

    rig: str
    minutes: float
    rounds: tuple[RoundResult, ...]

    @property
    def all_in_tune(self) -> bool:
        """Whether every round ended with every needed bottle in its tolerance, by the world's own truth."""
        return all(r.in_tune == r.needed for r in self.rounds)

    @property
    def highest_share(self) -> float:
        """The highest pressure of any bottle as a share of its ceiling."""
        return max((r.highest_share for r in self.rounds), default=0.0)

    def document(self) -> dict[str, Any]:
        """As one JSON document."""
        return {
            "rig": self.rig,
            "minutes": round(self.minutes, 2),
            "rounds": [asdict(r) for r in self.rounds],
            "all_in_tune": self.all_in_tune,
        }


def make_world(args: argparse.Namespace) -> World:
    """The virtual rig on its day."""
    rig = load_rig(args.rig or shipped_rig(DEMO_RIG))
    world = World(rig, np.random.default_rng(args.seed), start_s=START_S)
    world.microphone = args.mic
    if args.empty:
        world.first_fill(0.0, 0.0)
    elif args.fill:
        world.first_fill()
    else:
        world.tuned(OVERNIGHT_CENTS)
    return world


@contextlib.contextmanager
def kept_in(path: str | None, now_s: Callable[[], float]) -> Iterator[Log]:
    """Where the demo's events go: memory, and in the end a journal that was not there before.

    There the day ends now, however long it was, so that what asks for the present time can use it.

    Args:
        path: the journal; None: nothing is kept.
        now_s: the time in the demo.

    Raises:
        RoundsError: the journal is there already; an invented day must not mix with a real one.
    """
    log = MemoryJournal()
    if path is None:
        yield log
        return
    if Path(path).exists():
        raise RoundsError(f"{path} exists; an invented rehearsal goes into a new file only")
    with Journal(Path(path)) as journal:
        journal.claim()
        try:
            yield log
        finally:
            later_s = time.time() - now_s()
            journal.append_many(retimed((event for _, event in log.events()), lambda _: later_s))


def play_day(args: argparse.Namespace, tell: Callable[[str], None]) -> DayResult:
    """Rounds whenever one is due, heard as sound, until the minutes are over; the first is cut there."""
    world = make_world(args)
    check_pumps(world.rig, args.people)
    players, start_s = [Player(world, number=i) for i in range(args.people)], world.now_s
    end_s = start_s + 60.0 * args.minutes
    played: list[RoundResult] = []
    with kept_in(args.journal, lambda: world.now_s) as log:
        session = Session(world.rig, log, start_s, place="demo")
        while world.now_s < end_s:
            watch, left_min = _teller(tell, args.people), (end_s - world.now_s) / 60.0
            if args.empty and not played:
                session.open_round(world.now_s, temp_c=read_off(world), people=args.people, empty=True)
            if played and left_min < played[-1].minutes:
                world.advance(end_s)  # another round would not end in time, so it is not begun
            elif args.people == 1:
                round_ = play_round(session, world, players[0], sound=True, watch=watch, longest_min=left_min)
                played.append(round_)
            else:
                played.append(
                    play_together(session, world, players, sound=True, watch=watch, longest_min=left_min)
                )
            _until_due(session, world, end_s)
    return DayResult(world.rig.name, (world.now_s - start_s) / 60.0, tuple(played))


def _teller(tell: Callable[[str], None], people: int) -> Callable[[Step], None]:
    def line(step: Step) -> None:
        whose = f"person {step.person + 1}  " if people > 1 else ""
        tell(whose + _told(step))

    return line


def _until_due(session: Session, world: World, end_s: float) -> None:
    """Play music until the next round is due."""
    while world.now_s < end_s:
        due_s = session.due(world.now_s).due_s
        if due_s is not None and due_s <= world.now_s:
            return
        world.advance(min(end_s, world.now_s + 30.0))


def _told(step: Step) -> str:
    told = step.instruction
    heard = next((word for verdict, word in VERDICT_WORD.items() if verdict == step.verdict), "not heard")
    if step.cents is not None and step.bottle is not None:
        heard = f"{step.bottle} {signed_cents(step.cents)} cents"
    return f"{told.headline:<24} {heard}"


def run_on_screen(args: argparse.Namespace) -> int:
    """Watch, and press keys: the real screens and the real hearing, on a virtual stage."""
    from rounds.faces.controller import RoundRequest
    from rounds.faces.live import Live
    from rounds.simulation.stage import PairStage, Stage
    from rounds.starting import options
    from rounds.starting.settings import checked_settings
    from rounds.starting.start import run_face

    settings = checked_settings()
    world = make_world(args)
    check_pumps(world.rig, args.people)
    with kept_in(args.journal, lambda: world.now_s) as log, tempfile.TemporaryDirectory() as folder:
        session = Session(world.rig, log, world.now_s, place="demo")
        players = [Player(world, number=i) for i in range(args.people)]
        stage: Stage | PairStage = Stage(world, players[0], lambda: asked(session), speed=args.speed)
        if args.people > 1:
            stage = PairStage(world, players, Screen(session), speed=args.speed)
        live = Live(session, stage.now_s, accepted_file=Path(folder) / "read", device="virtual rig")
        for player in players:
            player.tell = live.gauge_read
        temp_c = round(world.temp_c)
        live.speak_with(options.speaker(args, settings, stage.now_s))
        request = RoundRequest(TO_DOWNBEAT_S, temp_c=temp_c, people=args.people, empty=args.empty)
        live.begin(lambda: request)
        live.listen_to(lambda: stage)
        live.announce(_speed_words(args.speed))
        try:
            return run_face(live, settings, plain=args.plain)
        finally:
            live.close()


def _speed_words(speed: float) -> str:
    if speed == 1.0:
        return "Demo: an invented rig, played in real time by simulated hands."
    pace = f"{speed:g} times as fast as yours" if speed > 1.0 else f"at {speed:g} of your own"
    return f"Demo: an invented rig. Its time runs {pace}; --speed 1 is real time."


def asked(session: Session) -> tuple[Instruction, bool]:
    """The instruction for the simulated hands, and whether their last strike was understood."""
    reading = session.day.reading
    return session.instruction, reading is None or reading.verdict == "clear"


def shipped_rig(name: str) -> Path:
    """An invented rig of ours."""
    return shipped("configs", name)
