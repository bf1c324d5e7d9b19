"""`rounds due`: is the next round due? Exit code 10 says yes, so that scripts can act on it."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from rounds.commands import looking_ahead
from rounds.errors import ExitCode
from rounds.starting import options
from rounds.wording.printable import plain
from rounds.wording.shown import sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.forecast.calling import Call
    from rounds.forecast.drift import Due
    from rounds.forecast.playable import Playable


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
    from rounds.forecast.calling import call_of, call_words, out_now
    from rounds.forecast.playable import playable

    told = looking_ahead.standing(args)
    limit = told.rig.habits.due_limit if args.limit is None else args.limit
    when, now_s = told.due(limit), told.now_s
    out = out_now(told.rig, told.beliefs, told.awaited, now_s, told.shift_cents)
    call = call_of(when, now_s, len(out), filming=False)
    is_due = call == "due" or (when.due_s is not None and now_s < when.due_s <= now_s + 60.0 * args.within)
    pieces = playable(told.rig, told.beliefs, now_s, told.shift_cents)
    if args.json:
        print(_json(when, call, pieces, now_s, is_due))
        return int(ExitCode.DUE if is_due else ExitCode.FINE)
    print(sentence(call_words(when, now_s, call)))
    if call != "due" and when.due_s is not None:
        print(f"Due in {(when.due_s - now_s) / 60.0:.0f} min: {when.reason}.")
    for piece in pieces:
        print(sentence(plain(f"now {piece.sentence()}")))
    return int(ExitCode.DUE if is_due else ExitCode.FINE)


def _json(when: Due, call: Call, pieces: Sequence[Playable], now_s: float, is_due: bool) -> str:
    return json.dumps(
        {
            "now": looking_ahead.iso(now_s),
            "due": is_due,
            "due_min": None if when.due_s is None else round((when.due_s - now_s) / 60.0, 2),
            "due_at": None if when.due_s is None else looking_ahead.iso(when.due_s),
            "reason": when.reason,
            "doubtful": list(when.doubtful),
            "call": call,
            "snoozed_until": None
            if when.put_off_until_s is None
            else looking_ahead.iso(when.put_off_until_s),
            "pieces": [p.document() for p in pieces],
        },
        allow_nan=False,
        ensure_ascii=False,
    )
