"""`rounds completion`: what makes a shell complete the commands and options of rounds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.errors import RoundsError

if TYPE_CHECKING:
    import argparse

SHELLS = ("bash", "zsh", "fish")
_FILE_OPTIONS = ("FILE", "RIG", "FOLDER")
"""Metavars of arguments that are files or folders."""


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "completion",
        help="print the completion script of your shell",
        description="Print a script that lets your shell complete commands, options and files. "
        'bash: eval "$(rounds completion bash)"; fish: rounds completion fish | source; '
        "zsh: keep it as _rounds in a folder of $fpath. It needs pip install 'rounds[completion]'.",
    )
    parser.add_argument("shell", choices=SHELLS, help="which shell")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    from rounds.cli import build_parser

    try:
        import shtab
    except ImportError as error:
        raise RoundsError(
            "completion needs shtab; install it with pip install 'rounds[completion]'"
        ) from error
    parser = build_parser()
    _mark_files(parser, shtab.FILE)
    print(shtab.complete(parser, args.shell))
    return 0


def _mark_files(parser: argparse.ArgumentParser, mark: object) -> None:
    """Say which arguments are files, down to the commands of commands."""
    for action in parser._actions:
        if isinstance(action.choices, dict):
            for below in action.choices.values():
                _mark_files(below, mark)
        elif action.metavar in _FILE_OPTIONS:
            action.complete = mark  # type: ignore[attr-defined]
