"""The `rounds` command: parse, call, print. One module a command in `rounds/commands/`.

Data goes to stdout, talk to stderr. `rounds --help` must stay quick, so a command's module may
import only light things at its top (no numpy, textual, aubio, sounddevice): heavy ones go inside
its `run`.
"""

from __future__ import annotations

import argparse
import importlib
import io
import os
import sys
from typing import TYPE_CHECKING

from rounds import __version__
from rounds.errors import ExitCode, RoundsError
from rounds.text import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

COMMANDS = (
    "demo",
    "tune",
    "plan",
    "pieces",
    "check",
    "new",
    "forecast",
    "due",
    "breaks",
    "log",
    "health",
    "replace",
    "journal",
    "hear",
    "compare",
    "range",
)
"""Names of the modules in `rounds.commands`, in the order of the help."""

_EPILOG = "Air under pressure in plastic can hurt: read docs/safety.md, and let a competent person decide."


def build_parser() -> argparse.ArgumentParser:
    """The whole command line, every command registered."""
    parser = argparse.ArgumentParser(
        prog="rounds",
        description="Tuning rounds for air-tuned bottle instruments.",
        epilog=_EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"rounds {__version__}")
    subparsers = parser.add_subparsers(title="commands", dest="command", required=True, metavar="COMMAND")
    for name in COMMANDS:
        importlib.import_module(f"rounds.commands.{name}").register(subparsers)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the return value is the exit code."""
    _spell_out_what_cannot_be_printed()
    # Our matrices are small: threads inside numpy only make a reading slower. Must stand before numpy loads.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    args = build_parser().parse_args(argv)
    try:
        code = int(args.run(args))
        sys.stdout.flush()
        return code
    except RoundsError as error:
        # File names and cells of others are in it: no line of it may steer the terminal.
        print("rounds: " + "\n".join(map(plain, str(error).split("\n"))), file=sys.stderr)
        return int(error.exit_code)
    except BrokenPipeError:
        # Whoever read the output (head, less) has had enough. Python would say so once more at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(ExitCode.FINE)
    except KeyboardInterrupt:
        return int(ExitCode.INTERRUPTED)


def _spell_out_what_cannot_be_printed() -> None:
    """In a terminal that knows few characters, print `\\xb1` for `±` rather than fail."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
