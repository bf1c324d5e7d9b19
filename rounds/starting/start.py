"""Start a live session: rig, journal, microphone, and the face that was asked for."""

from __future__ import annotations

import contextlib
import datetime
import os
import sys
import time
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.faces import typed
from rounds.faces.controller import RoundRequest
from rounds.faces.live import Live
from rounds.files.places import state_folder
from rounds.hearing.keeping import SoundKeeper
from rounds.hearing.placing import PLACING, label
from rounds.hearing.quiet import c_noise_to
from rounds.journal.care import back_up_daily
from rounds.journal.opening import backups_of
from rounds.planning import check_pumps
from rounds.rigs.allowing import asked_about, is_allowed, refusal
from rounds.rigs.thermometer import Thermometer
from rounds.sessions.session import Session
from rounds.starting import options
from rounds.starting.settings import checked_settings
from rounds.times.journal_time import UNSEEN_S
from rounds.times.run_clock import RunClock

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from rounds.files.settings import Settings
    from rounds.guide.round import RoundState
    from rounds.hearing.sources import Source
    from rounds.journal import Journal
    from rounds.rig import Rig

CAUTIONS_READ = "cautions-read"
SOUND_LOG = "sound-libraries.log"
"""What PortAudio and ALSA print, kept off the screen."""


def run_live(args: argparse.Namespace) -> int:
    """Tune at the microphone, on the screens or in sentences; returns the exit code."""
    check_terminal(plain=args.plain)
    settings = checked_settings()
    rig = options.load(args)
    request_of(args, rig, time.time())  # what cannot be read is refused before anything opens
    check_pumps(rig, args.people or 1)
    watched = may_watch(args, rig)
    keeper = None if args.keep_sound is None else SoundKeeper(args.keep_sound)
    with _session(args, rig) as (journal, session):
        session.listen_in_play = args.listen_in_play
        accepted = state_folder() / CAUTIONS_READ
        clock = RunClock(session.now_s)
        microphone = label(state_folder() / PLACING, args.device)
        live = Live(session, clock, wall=time.time, accepted_file=accepted, device=microphone)
        live.speak_with(options.speaker(args, settings, clock))
        live.begin(lambda: request_of(args, rig, time.time()))
        if watched:
            live.watch(Thermometer(rig.habits, time.time))
        with c_noise_to(state_folder() / SOUND_LOG):
            live.listen_to(lambda: _microphone(args.device, keeper), keeper)
            try:
                return _run(live, session, settings, plain=args.plain)
            finally:
                live.close()
                back_up_daily(journal, backups_of(journal.path), datetime.date.today())


def run_let_down(args: argparse.Namespace) -> int:
    """Let all bottles down, on the screens or in sentences; returns the exit code."""
    check_terminal(plain=args.plain)
    settings, rig = checked_settings(), options.load(args)
    with _session(args, rig) as (_, session):
        accepted = state_folder() / CAUTIONS_READ
        live = Live(session, RunClock(session.now_s), wall=time.time, accepted_file=accepted)
        live.begin(lambda: RoundRequest(let_down=True))
        return _run(live, session, settings, plain=args.plain)


@contextlib.contextmanager
def _session(args: argparse.Namespace, rig: Rig) -> Iterator[tuple[Journal, Session]]:
    """The journal, and a session on it."""
    with options.open_journal(args) as journal:
        journal.claim()
        with options.reading_progress() as progress:
            session = Session(
                rig, journal, time.time(), place=args.place, unseen_s=UNSEEN_S, progress=progress
            )
        yield journal, session


def _run(live: Live, session: Session, settings: Settings, *, plain: bool) -> int:
    """Run the face until the player leaves, and say where the round stands."""
    code = run_face(live, settings, plain=plain)
    if session.round is not None:
        print(_standing(session.round), file=sys.stderr)
    session.record.keep_checkpoint()  # not after a fault: who knows what is believed then
    return code


def may_watch(args: argparse.Namespace, rig: Rig) -> bool:
    """Whether there is a thermometer to read. A command of the rig's is asked about before its first run."""
    options.allow_command(args, rig)
    command = rig.habits.thermometer_command
    if not command:
        return rig.habits.thermometer_file is not None
    interactive = sys.stdin is not None and sys.stdin.isatty()
    if is_allowed(command) or (interactive and asked_about(command, _ask)):
        return True
    print(f"rounds: {refusal(command)}", file=sys.stderr)
    return False


def _ask(question: str) -> str:
    print(question, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline()


def _standing(state: RoundState) -> str:
    left = len(state.open_bottles)
    return f"The round stands, {left} of {len(state.needed)} to do. Start again and it goes on."


def check_terminal(*, plain: bool) -> None:
    """The screens need a terminal to paint and for keys; sentences and lines need none.

    Raises:
        BadInput: nothing here can be painted on, or nobody could press a key.
    """
    if plain:
        return
    seen = all(s is not None and s.isatty() for s in (sys.stdin, sys.stdout, sys.stderr))
    if not seen or os.environ.get("TERM", "") in ("", "dumb"):
        raise BadInput("the screens need a terminal; use --plain for sentences or --lines for JSON")


def run_face(live: Live, settings: Settings, *, plain: bool) -> int:
    """Run the face on a controller until the player leaves."""
    if plain:
        from rounds.faces.plainface import run as run_plain

        return run_plain(live, bell=settings.bell)
    from rounds.tui.app import run as run_screens

    return run_screens(live, settings)


def request_of(args: argparse.Namespace, rig: Rig, now_s: float) -> RoundRequest:
    """The round that the command line asks for."""
    return RoundRequest(
        downbeat_in_s=None if args.downbeat is None else typed.downbeat_in_s(args.downbeat, now_s),
        block_s=None if args.block is None else 60.0 * args.block,
        pieces=typed.pieces(",".join(args.piece), rig),
        temp_c=args.temp,
        people=args.people,
        empty=typed.empties(args.empty or "", rig),
        a4=_a4(args.a4),
    )


def _a4(text: str | None) -> float | str | None:
    """What `--a4` asks for: hertz, `last`, or a recording."""
    if text is None or not os.path.isfile(text):
        return typed.a4(text)
    from rounds.hearing.reference import a4_of_recording

    return a4_of_recording(text)


def _microphone(device: str | None, keeper: SoundKeeper | None) -> Source:
    # Late: it loads PortAudio, which only this way of tuning needs.
    from rounds.hearing.microphone import Microphone

    microphone = Microphone(device)
    return microphone if keeper is None else keeper.over(microphone)
