"""`rounds cautions`: the page about safety, wherever the program was installed."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("cautions", help="print the page about air under pressure; read it first")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print it."""
    from rounds.files.places import shipped

    sys.stdout.write(shipped("docs", "safety.md").read_text(encoding="utf-8"))
    return 0
