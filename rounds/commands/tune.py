"""`rounds tune`: a tuning round, on the screens, as plain sentences, or one JSON object a line."""

from __future__ import annotations

import itertools
import sys
import time
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.starting import options
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import argparse

    from rounds.hearing.reading import Reading
    from rounds.sessions.session import Session


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "tune",
        help="walk through a tuning round, bottle by bottle",
        description="Walk through a tuning round. Strikes alone move it on; keys override. "
        "Nothing is advised above a bottle's ceiling; venue and local rules come first.",
    )
    options.add_rig(parser)
    options.add_journal(parser)
    options.add_allow_command(parser)
    face = parser.add_mutually_exclusive_group()
    face.add_argument("--lines", action="store_true", help="one JSON object in, one out, per line")
    face.add_argument("--plain", action="store_true", help="the round in sentences, for screen readers")
    _add_round(parser)
    parser.add_argument(
        "--a4",
        metavar="HZ|last|FILE",
        help="tune to this A4: in hertz, that of the round before, or that of a recording of one bottle",
    )
    options.add_people(parser)
    options.add_voice(parser)
    parser.add_argument("--place", metavar="TEXT", help="where this is, for the log")
    parser.add_argument("--device", metavar="NAME", help="microphone, by name or number (see rounds check)")
    parser.add_argument("--keep-sound", metavar="FOLDER", help="keep a recording of each strike in a folder")
    parser.add_argument(
        "--listen-in-play",
        action="store_true",
        help="learn from strikes heard while playing, one bottle alone",
    )
    parser.set_defaults(run=run, people=None)


def _add_round(parser: argparse.ArgumentParser) -> None:
    """What round to open."""
    parser.add_argument(
        "--downbeat", metavar="HH:MM|+MIN", help="when the playing starts: local time, or minutes from now"
    )
    parser.add_argument(
        "--block", type=options.number("minutes"), metavar="MINUTES", help="how long the playing lasts"
    )
    parser.add_argument(
        "--piece",
        action="append",
        default=[],
        metavar="NAME",
        help="tune only what this needs; a number will do",
    )
    parser.add_argument(
        "--empty",
        nargs="?",
        const="all",
        metavar="BOTTLES",
        help="bottles without air, to be filled first: names with commas, or all (also said alone)",
    )
    parser.add_argument(
        "--temp", type=options.number("degrees"), metavar="C", help="air temperature in degrees Celsius"
    )


def run(args: argparse.Namespace) -> int:
    """Tune."""
    if args.lines:
        return _run_lines(args)
    from rounds.starting.start import run_live

    return run_live(args)


def _run_lines(args: argparse.Namespace) -> int:
    import datetime

    from rounds.faces.lines import Lines, time_in
    from rounds.journal.care import back_up_daily
    from rounds.journal.opening import backups_of
    from rounds.journal.timing import lines_begun
    from rounds.planning import check_pumps
    from rounds.sessions.session import Session
    from rounds.times.run_clock import since_boot_s

    if args.allow_command:
        raise BadInput("--lines reads no thermometer of its own: give it temp_c in a line")
    rig = options.load(args)
    check_pumps(rig, args.people or 1)
    with options.open_journal(args) as journal:
        journal.claim()
        said = (line for line in sys.stdin if line.strip())
        first = next(said, None)
        begun = lines_begun(journal, time_in(first or ""), time.time())
        started_s = since_boot_s()
        with options.reading_progress() as progress:
            session = Session(
                rig, journal, begun.clock_s, place=args.place, zero_s=begun.zero_s, progress=progress
            )
        if session.record.clock_words:
            print(session.record.clock_words, file=sys.stderr)
        if session.record.rig_words:
            print(plain(session.record.rig_words), file=sys.stderr)
        lines = Lines(session, begun.zero_s, hear_wav, args.people)
        try:
            for line in itertools.chain(() if first is None else (first,), said):
                print(lines.answer(line, since_boot_s() - started_s), flush=True)
        finally:
            back_up_daily(journal, backups_of(journal.path), datetime.date.today())
    return 0


def hear_wav(session: Session, path: str) -> list[Reading]:
    """The final reading of each strike in a recording, against what the session listens for."""
    from contextlib import closing

    from rounds.hearing.recording import strikes
    from rounds.hearing.sources import open_recording
    from rounds.recognising.recognition import capped

    with closing(open_recording(path)) as source:
        return [capped(r) for r in strikes(source, session.listening())]
