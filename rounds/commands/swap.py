"""`rounds swap`: two bottles changed places, or a spare came in."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

from rounds.starting import options

if TYPE_CHECKING:
    import argparse


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "swap",
        help="say that two bottles changed places, or a spare came in",
        description="Say that two bottles changed places with their caps, or that a spare of the rig file "
        "came in: what was learned of each goes with it, and both are to be heard again. For bottles of one "
        "size and ceiling. Let the air out before a bottle comes off its rail.",
    )
    parser.add_argument("one", metavar="BOTTLE", help="id of a bottle or spare in the rig file")
    parser.add_argument("other", metavar="BOTTLE", help="the other one")
    options.add_rig(parser)
    options.add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Note the swap."""
    from rounds.faces import typed
    from rounds.journal.timing import scale_now
    from rounds.sessions.day import Day
    from rounds.sessions.rig_acts import swapped
    from rounds.wording.printable import plain

    rig = options.load(args)
    one, other = (typed.bottle_or_spare(b, rig) for b in (args.one, args.other))
    with options.open_journal(args) as journal:
        journal.append_many(swapped(rig, Day(), one, other, scale_now(journal).kept(time.time())))
    print(f"{plain(one)} and {plain(other)} changed places; their histories went along.", file=sys.stderr)
    return 0
