"""`rounds letdown`: the air out of all bottles, before they travel or when one holds too much."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.starting import options

if TYPE_CHECKING:
    import argparse


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "letdown",
        help="let the air out of all bottles, one after the other",
        description="Let the air out of all bottles in walking order, by the pin; no microphone. The "
        "journal then knows that they are empty, and the next round fills each as it learned to. Cover your "
        "eyes, keep your face beside the bottle and never over a cap, press shortly.",
    )
    options.add_rig(parser)
    options.add_journal(parser)
    parser.add_argument("--plain", action="store_true", help="in sentences, for screen readers")
    parser.add_argument("--place", metavar="TEXT", help="where this is, for the log")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Let down."""
    from rounds.starting.start import run_let_down

    return run_let_down(args)
