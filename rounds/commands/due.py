"""`rounds due`: is the next round due? Exit code 10 says yes, so that scripts can act on it."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from rounds.commands import looking_ahead
from rounds.errors import ExitCode
from rounds.starting import options

if TYPE_CHECKING:
    from rounds.forecast.drift import Due


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "due",
        help="tell when the next round is due",
        description="Tell when the next round is due. Exit code 10: it is due; 0: it is not, or nothing is "
        "known.",
    )
    looking_ahead.add_looking_ahead(parser)
    parser.add_argument(
        "--limit", type=_limit, metavar="BOTTLES", help="due when this many are expected to be out"
    )
    parser.add_argument(
        "--within",
        type=looking_ahead.minutes,
        default=0.0,
        metavar="MIN",
        help="call it due this long before",
    )
    options.add_json(parser)
    parser.set_defaults(run=run)


def _limit(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value < 1000.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of bottles above 0")
    return value


def run(args: argparse.Namespace) -> int:
    """Print when the next round is due; the exit code says whether it is."""
    from rounds.forecast.drift import due

    told = looking_ahead.standing(args)
    limit = told.rig.habits.due_limit if args.limit is None else args.limit
    when = due(told.rig, told.beliefs, told.awaited, told.now_s, limit, told.shift_cents, told.temp_c)
    is_due = when.due_s is not None and when.due_s - told.now_s <= 60.0 * args.within
    print(_json(when, told.now_s, is_due) if args.json else _sentence(when, told.now_s, is_due))
    return int(ExitCode.DUE if is_due else ExitCode.FINE)


def _json(when: Due, now_s: float, is_due: bool) -> str:
    return json.dumps(
        {
            "now": looking_ahead.iso(now_s),
            "due": is_due,
            "due_min": None if when.due_s is None else round((when.due_s - now_s) / 60.0, 2),
            "due_at": None if when.due_s is None else looking_ahead.iso(when.due_s),
            "reason": when.reason,
            "doubtful": list(when.doubtful),
        },
        allow_nan=False,
        ensure_ascii=False,
    )


def _sentence(when: Due, now_s: float, is_due: bool) -> str:
    if when.due_s is None:
        return f"Not due: {when.reason}."
    if is_due:
        return f"Due: {when.reason}."
    return f"Due in {(when.due_s - now_s) / 60.0:.0f} min: {when.reason}."
