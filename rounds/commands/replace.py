"""`rounds replace`: a cap or a bottle was replaced, so a new history begins for it."""

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
        "replace",
        help="say that a cap or a bottle was replaced",
        description="Say that a cap or a bottle was replaced: what was learned of the old one is not "
        "believed of the new one. Let all air out before you unscrew a cap, and never lean over it.",
    )
    parser.add_argument("bottle", metavar="BOTTLE", help="id of the bottle in the rig file")
    part = parser.add_mutually_exclusive_group(required=True)
    part.add_argument("--cap", dest="part", action="store_const", const="cap", help="the cap, with its valve")
    part.add_argument("--bottle", dest="part", action="store_const", const="bottle", help="the whole bottle")
    options.add_rig(parser)
    options.add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Note the replacement of a part of a bottle that the rig or the journal knows."""
    from rounds.events import Replaced
    from rounds.journal.timing import scale_now
    from rounds.wording.printable import plain

    with options.open_journal(args) as journal:
        bottle = options.bottle_named(args, journal, args.bottle)
        at_s = scale_now(journal).kept(time.time())
        journal.append(Replaced(at_s=at_s, bottle=bottle, part=args.part))
    print(f"{plain(bottle)}: new {args.part}. Its record starts afresh.", file=sys.stderr)
    return 0
