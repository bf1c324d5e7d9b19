"""What the commands that look ahead share: the time they count from, and beliefs from the journal.

Events are folded in order of their times, not of their ids: a session never writes a time that goes
back, but an imported file may hold older days, or one bottle after the other.
"""

from __future__ import annotations

import argparse
import datetime
import math
import sys
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.air import LEAST_AIR_C, MOST_AIR_C
from rounds.errors import RoundsError
from rounds.starting import options

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rounds.belief import Beliefs
    from rounds.events import Event
    from rounds.forecast.drift import Due
    from rounds.journal import Journal
    from rounds.rig import Piece, Rig
    from rounds.sessions.day import Day

IN_TIME_ORDER = "beliefs in time order"
"""Name of the checkpoint these commands keep; a session's own is in order of ids."""
OF_A_ROUND = ("round_opened", "skipped", "stepped_back", "round_closed", "snoozed", "not_today")
"""Kinds of events that say who is needed now."""
LONG = 5000
"""Events from which on a fold is worth keeping."""


@dataclass(frozen=True)
class Standing:
    """All that looking ahead starts from."""

    rig: Rig
    beliefs: Beliefs
    now_s: float
    temp_c: float | None
    """What the user or the thermometer says now; None: only the journal knows."""
    needed: Mapping[str, float]
    shift_cents: float
    skipped: tuple[str, ...] = ()
    """Bottles that the newest round ended without, but where pieces are named; and those not played today."""
    snoozed_until_s: float = -math.inf

    def due(self, limit: float | None) -> Due:
        """When the next round is due."""
        from rounds.forecast.drift import due  # numpy comes with it

        args = (self.rig, self.beliefs, self.awaited, self.now_s, limit, self.shift_cents, self.temp_c)
        return due(*args).put_off(self.snoozed_until_s)

    @property
    def awaited(self) -> dict[str, float]:
        """Needed bottles that a round may be due for."""
        return {b: w for b, w in self.needed.items() if b not in self.skipped}


def add_looking_ahead(parser: argparse.ArgumentParser) -> None:
    """Add `--rig`, `--journal`, `--now`, `--temp` and `--piece`."""
    options.add_rig(parser)
    options.add_journal(parser)
    options.add_allow_command(parser)
    parser.add_argument("--now", type=moment, metavar="ISO", help="the time to count from (ISO 8601)")
    parser.add_argument("--temp", type=temperature, metavar="C", help="air temperature now, Celsius")
    parser.add_argument(
        "--piece", action="append", default=[], metavar="NAME", help="count only the bottles this needs"
    )


def moment(text: str) -> float:
    """A time on the command line as UTC epoch seconds; without a zone it is UTC."""
    try:
        told = datetime.datetime.fromisoformat(text.strip())
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a time such as 2026-05-31T19:30:00Z") from None
    if told.tzinfo is None:
        told = told.replace(tzinfo=datetime.UTC)
    return told.timestamp()


def iso(at_s: float) -> str:
    """A time as ISO 8601 in UTC."""
    return datetime.datetime.fromtimestamp(at_s, datetime.UTC).isoformat().replace("+00:00", "Z")


def temperature(text: str) -> float:
    """An air temperature on the command line."""
    try:
        temp_c = float(text)
    except ValueError:
        temp_c = math.nan
    if not LEAST_AIR_C <= temp_c <= MOST_AIR_C:
        raise argparse.ArgumentTypeError(f"{text!r} is not an air temperature in degrees Celsius")
    return temp_c


def minutes(text: str) -> float:
    """A number of minutes on the command line."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 1440.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of minutes from 0 to 1440")
    return value


def standing(args: argparse.Namespace) -> Standing:
    """Everything that is believed at `--now` (the clock's time when not given)."""
    from rounds.sessions.day import Day

    rig = options.load(args)
    now_s = time.time() if args.now is None else args.now
    with options.open_journal(args, read_only=True) as journal:
        ahead_s = _lead(journal, now_s) if args.now is None else 0.0
        beliefs = _beliefs_at(rig, journal, now_s, ahead_s)
        day, gone = Day(), journal.taken_back()
        for event_id, event in journal.events(kinds=OF_A_ROUND):
            counts = event_id not in gone and event.at_s - ahead_s <= now_s
            day = day.after(event) if counts else day
    return Standing(
        rig=rig,
        beliefs=beliefs,
        now_s=now_s,
        temp_c=_temp_now(args, rig),
        needed=_needed(rig, args.piece, day),
        shift_cents=day.shift_cents,
        skipped=(*(() if args.piece else day.skipped), *day.absent(now_s + ahead_s)),
        snoozed_until_s=day.snoozed_until_s - ahead_s,
    )


def _lead(journal: Journal, now_s: float) -> float:
    """How far the journal's time runs before the clock, said where it does."""
    from rounds.journal.timing import scale_now
    from rounds.times.journal_time import words

    scale = scale_now(journal, now_s)
    if scale.ahead_s > 0.0:
        print(f"rounds: {words(scale.ahead_s, scale.unseen_s)}", file=sys.stderr)
    return max(0.0, scale.ahead_s)


def _beliefs_at(rig: Rig, journal: Journal, now_s: float, ahead_s: float) -> Beliefs:
    """All that happened until a time, from a checkpoint where the events after it are newer than it.

    Where the journal's time runs before the clock, all of it is moved back, so that answers are in the
    clock's time; no checkpoint fits then.
    """
    from rounds.belief import Beliefs
    from rounds.belief.state import checkpoint_name, from_bytes, to_bytes
    from rounds.journal import newer_than

    if ahead_s > 0.0:
        events = journal.events_by_time(now_s + ahead_s)
        moved = (replace(event, at_s=event.at_s - ahead_s) for event in events)
        return _applied(Beliefs(rig), moved, journal.last_id).beliefs
    for name in (checkpoint_name(rig), IN_TIME_ORDER):
        kept = journal.load_checkpoint(name)
        beliefs = None if kept is None else from_bytes(rig, kept.blob)
        if kept is None or beliefs is None or not beliefs.in_order or beliefs.latest_s > now_s:
            continue
        later = newer_than(journal, kept.last_id, beliefs.latest_s, LONG - 1)
        if later is not None:
            in_time = sorted((e for e in later if e.at_s <= now_s), key=lambda event: event.at_s)
            return _applied(beliefs, in_time, len(in_time)).beliefs
    whole = _applied(Beliefs(rig), journal.events_by_time(now_s), journal.last_id)
    if LONG <= whole.events == journal.last_id - len(journal.taken_back()):
        options.keep_for_next_time(journal, journal.last_id, IN_TIME_ORDER, to_bytes(whole.beliefs))
    return whole.beliefs


@dataclass(frozen=True)
class _Applied:
    """Beliefs, and how many events went into them."""

    beliefs: Beliefs
    events: int


def _applied(beliefs: Beliefs, events: Iterable[Event], about: int) -> _Applied:
    """Apply events one by one (a million of them in a list take a gigabyte), saying how far it is."""
    done = 0
    with options.reading_progress() as progress:
        for done, event in enumerate(events, 1):
            beliefs.apply(event)
            if done % LONG == 0:
                progress(done, about)
    return _Applied(beliefs, done)


def _temp_now(args: argparse.Namespace, rig: Rig) -> float | None:
    """The temperature given, or that of the rig's thermometer when the time is the clock's."""
    if args.temp is not None or args.now is not None:
        return None if args.temp is None else float(args.temp)
    from rounds.rigs.thermometer import read_thermometer

    options.allow_command(args, rig)
    try:
        return read_thermometer(rig.habits, time.time())
    except RoundsError as error:
        print(f"rounds: {error}", file=sys.stderr)
        return None


def pieces_named(rig: Rig, given: list[str]) -> tuple[Piece, ...]:
    """The pieces that `--piece` names, by number, name or first letters."""
    from rounds.faces import typed

    names = typed.pieces(",".join(given), rig)
    return tuple(p for p in rig.pieces if p.name in names)


def _needed(rig: Rig, pieces: list[str], day: Day) -> dict[str, float]:
    """Bottles and weights: of the pieces named, else of the latest round, else all."""
    if pieces:
        return rig.needed_for(pieces_named(rig, pieces))
    latest = {i: w for i, w in day.needed.items() if rig.has_bottle(i)}
    return latest or rig.needed_for(())
