"""Options that several commands share, and what they open."""

from __future__ import annotations

import argparse
import contextlib
import math
import os
import sys
import time
from typing import TYPE_CHECKING

from rounds.errors import BadInput, RoundsError
from rounds.starting.settings import checked_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from rounds.faces.speech import Speaker
    from rounds.files.settings import Settings
    from rounds.journal import Journal
    from rounds.rig import Rig


SILENT_S = 0.5
"""Shorter waits are not spoken of."""


RIG_VARIABLE = "ROUNDS_RIG"
"""Names the rig file for every command, so that a player with one rig need not type it."""


def add_rig(parser: argparse.ArgumentParser) -> None:
    """Add `--rig`; the environment may name it."""
    parser.add_argument(
        "--rig",
        default=os.environ.get(RIG_VARIABLE) or None,
        metavar="RIG",
        help=f"the rig's TOML file (default: the one of ${RIG_VARIABLE}, or of rounds settings)",
    )


def add_journal(parser: argparse.ArgumentParser) -> None:
    """Add `--journal`."""
    parser.add_argument("--journal", metavar="FILE", help="the journal (default: the one of this user)")


def add_allow_command(parser: argparse.ArgumentParser) -> None:
    """Add `--allow-command`."""
    parser.add_argument(
        "--allow-command",
        action="store_true",
        help="allow the rig's thermometer_command to run on this machine, now and from now on",
    )


def allow_command(args: argparse.Namespace, rig: Rig) -> None:
    """Remember that the rig's command is allowed, where `--allow-command` says so, and show what that is."""
    from rounds.rigs.allowing import allow, is_allowed, shown_whole

    command = rig.habits.thermometer_command
    if args.allow_command and command and not is_allowed(command):
        allow(command)
        print(
            f"rounds: allowed from now on, to read the thermometer\n{shown_whole(command)}", file=sys.stderr
        )


def add_people(parser: argparse.ArgumentParser) -> None:
    """Add `--people`."""
    told = "number of players, one pump each"
    parser.add_argument("--people", type=int, choices=(1, 2), default=1, help=told)


def number(what: str) -> Callable[[str], float]:
    """Reads an option that is a number; what is none is refused in plain words."""

    def read(text: str) -> float:
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise argparse.ArgumentTypeError(f"{text!r} is not a number of {what}")
        return value

    return read


def whole(what: str) -> Callable[[str], int]:
    """Reads an option that is a whole number."""

    def read(text: str) -> int:
        try:
            return int(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of {what}") from None

    return read


def add_voice(parser: argparse.ArgumentParser) -> None:
    """Add `--voice` and `--voice-output`."""
    parser.add_argument(
        "--voice", action="store_true", help="speak each order in a few words; use headphones or an earpiece"
    )
    parser.add_argument(
        "--voice-output",
        metavar="NAME",
        help="the sound output of the voice (default: the usual one)",
    )


def speaker(args: argparse.Namespace, settings: Settings, clock: Callable[[], float]) -> Speaker | None:
    """The voice, where it is asked for; `clock` times the strikes.

    Raises:
        BadInput: this machine has no speech program.
    """
    if not (args.voice or settings.voice):
        return None
    from rounds.faces.speech import Speaker, found_program

    return Speaker(found_program(args.voice_output or settings.voice_output), clock)


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add `--json`."""
    parser.add_argument("--json", action="store_true", help="print one JSON document")


def load(args: argparse.Namespace) -> Rig:
    """The rig named by `--rig`."""
    from rounds.rigs.rigfile import load_rig

    named = rig_named(args)
    if named is None:
        told = f"name it with --rig FILE, or once for all commands with export {RIG_VARIABLE}=FILE"
        raise BadInput(f"no rig is named; {told}")
    return load_rig(named, gauge_unit=checked_settings().pressure)


def rig_named(args: argparse.Namespace) -> str | Path | None:
    """The rig file of `--rig`, of the environment or of the player's settings; None: nobody named one."""
    return args.rig or checked_settings().rig


def open_journal(args: argparse.Namespace, *, read_only: bool = False) -> Journal:
    """The journal named by `--journal`, or the usual one."""
    from rounds.files.places import journal_path
    from rounds.journal import Journal
    from rounds.journal.mending import mend
    from rounds.journal.opening import missing_beside_copies

    path = journal_path(args.journal)
    missing = None if read_only else missing_beside_copies(path)
    journal = Journal(path, read_only=read_only)
    for sentence in (missing, None if read_only else mend(journal)):
        if sentence:
            print(f"rounds: {sentence}", file=sys.stderr)
    return journal


@contextlib.contextmanager
def reading_progress() -> Iterator[Callable[[int, int], None]]:
    """Say on stderr how far a long journal is worked through: a terminal that shows nothing looks dead.

    On a terminal the line is kept up to date and wiped away; elsewhere it is printed once.
    """
    live, said_s, said = sys.stderr.isatty(), time.monotonic() + SILENT_S, False

    def say(done: int, all_events: int) -> None:
        nonlocal said_s, said
        if time.monotonic() < said_s or (said and not live):
            return
        words = f"working through the journal, {100 * done // all_events} % of {all_events} events"
        print(
            f"\r{words}" if live else f"rounds: {words}",
            end="" if live else "\n",
            file=sys.stderr,
            flush=True,
        )
        said_s, said = time.monotonic() + 0.2, True

    try:
        yield say
    finally:
        if said and live:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)


def keep_for_next_time(journal: Journal, last_id: int, name: str, blob: bytes) -> None:
    """Keep what took seconds to fold, so that the next command need not.

    Where the journal cannot be written, or has grown meanwhile, all is folded again.
    """
    from rounds.journal import Journal

    with contextlib.suppress(RoundsError), Journal(journal.path) as writable:
        if writable.last_id == last_id:
            writable.save_checkpoint(name, last_id, blob)


def bottle_named(args: argparse.Namespace, journal: Journal, bottle: str) -> str:
    """The id of a bottle named by the user, whatever the capitals: of the rig, else as the journal has it.

    Raises:
        BadInput: neither knows such a bottle.
    """
    if rig_named(args):
        from rounds.faces import typed

        return typed.bottle(bottle, load(args))
    found = spelled(journal, bottle)
    if found is None:
        raise BadInput(f"this journal has no bottle {bottle!r}; name the rig with --rig to check its bottles")
    return found


def spelled(journal: Journal, bottle: str) -> str | None:
    """A bottle's name as the journal has it (`D#3` for `d#3`), None where it has none such."""
    near = (bottle, bottle.capitalize(), bottle.upper(), bottle.lower())
    return next((b for b in near if journal.mentions(b)), None)
