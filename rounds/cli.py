"""The `rounds` command: parse, call, print. One module a command in `rounds/commands/`.

Data goes to stdout, talk to stderr. `rounds --help` must stay quick, so a command's module may
import only light things at its top (no numpy, textual, aubio, sounddevice): heavy ones go inside
its `run`.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import errno
import importlib
import io
import os
import sys
from typing import TYPE_CHECKING

from rounds.errors import BadInput, ExitCode, RoundsError
from rounds.files.faultlog import keep_those_of_threads, sentence
from rounds.files.made_by import made_by
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

GROUPS = (
    ("Tune", ("tune", "letdown", "demo", "check")),
    ("Plan the day", ("plan", "pieces", "forecast", "due", "breaks")),
    ("Look back", ("log", "health", "journal")),
    ("Build and mend", ("new", "range", "compare", "hear", "swap", "replace")),
    ("This program", ("settings", "cautions", "completion")),
)
"""The commands, grouped as the help shows them: names of the modules in `rounds.commands`."""
COMMANDS = tuple(name for _, names in GROUPS for name in names)

_EXAMPLES = """Examples:
  rounds demo                                         a round on an invented rig
  rounds tune --rig my_rig.toml --downbeat 19:30      tune before you play

Set once:
  ROUNDS_RIG=FILE     the rig of every command that needs one
  ROUNDS_HOME=FOLDER  one folder for the journal and all other files

rounds help COMMAND says more of a command; rounds help all, everything.
"""
_EPILOG = "Air under pressure in plastic can hurt: read `rounds cautions`, and let a competent person decide."

_OUTPUT_FAULTS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF)


class _Parser(argparse.ArgumentParser):
    """The whole command line: its help shows the commands in groups."""

    def format_help(self) -> str:
        """Usage, the commands in groups, two examples, the variables, the caution."""
        helps = {a.dest: a.help for a in _choices(self)._choices_actions}
        groups = (
            f"{title}:\n" + "".join(f"  {name:<11} {helps[name]}\n" for name in names)
            for title, names in GROUPS
        )
        flags = "Options:\n  -h, --help     this help\n  -V, --version  the version\n"
        parts = ("usage: rounds COMMAND ...\n", f"{self.description}\n", *groups, flags, _EXAMPLES)
        return "\n".join([*parts, f"{self.epilog}\n"])


def _choices(parser: argparse.ArgumentParser) -> argparse._SubParsersAction[argparse.ArgumentParser]:
    """The commands of a parser that has some."""
    return next(a for a in parser._actions if isinstance(a, argparse._SubParsersAction))


def build_parser() -> argparse.ArgumentParser:
    """The whole command line, every command registered."""
    parser = _Parser(
        prog="rounds",
        description="Tuning rounds for air-tuned bottle instruments.",
        epilog=_EPILOG,
    )
    parser.add_argument("-V", "--version", action="version", version=made_by())
    subparsers = parser.add_subparsers(
        title="commands",
        dest="command",
        required=True,
        metavar="COMMAND",
        parser_class=argparse.ArgumentParser,
    )
    for name in COMMANDS:
        importlib.import_module(f"rounds.commands.{name}").register(subparsers)
    return parser


def _asked(parser: argparse.ArgumentParser, argv: Sequence[str]) -> argparse.Namespace:
    """What a command line asks for.

    Raises:
        BadInput: there is no such command; a near miss is named.
    """
    first = argv[0]
    if not first.startswith("-") and first not in COMMANDS:
        near = difflib.get_close_matches(first, COMMANDS, 1)
        hint = f"did you mean rounds {near[0]}?" if near else "rounds --help lists them"
        raise BadInput(f"there is no command {first!r}; {hint}")
    return parser.parse_args(argv)


def _help(parser: argparse.ArgumentParser, names: Sequence[str]) -> int:
    """Print the help of a command, of `all`, or of the program."""
    if list(names) == ["all"]:
        print("\n".join(p.format_help() for p in (parser, *_choices(parser).choices.values())))
    elif names:
        _asked(parser, [*names, "--help"])
    else:
        parser.print_help()
    return int(ExitCode.FINE)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the return value is the exit code."""
    _open_what_is_closed()
    _mind_the_coding()
    # Our matrices are small: threads inside numpy only make a reading slower. Must stand before numpy loads.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    keep_those_of_threads()
    words = list(sys.argv[1:] if argv is None else argv)
    parser = build_parser()
    if not words:
        parser.print_help(sys.stderr)
        return int(ExitCode.USAGE)
    try:
        return _run(parser, words)
    except Exception as error:  # noqa: BLE001  (the end of every command: no traceback reaches the player)
        return _unforeseen(error)


def _unforeseen(error: Exception) -> int:
    """End on an error that is none of ours."""
    _tell(sentence(error))
    return int(ExitCode.FAILED)


def _run(parser: argparse.ArgumentParser, words: Sequence[str]) -> int:
    """Run the command; the exit code, also of what can go wrong."""
    try:
        if words[0] == "help":
            return _help(parser, words[1:])
        args = _asked(parser, words)
        code = int(args.run(args))
        sys.stdout.flush()
        return code
    except RoundsError as error:
        _tell(str(error))
        return int(error.exit_code)
    except BrokenPipeError:
        # Whoever read the output (head, less) has had enough. Python would say so once more at exit.
        _print_no_more()
        return int(ExitCode.FINE)
    except OSError as error:
        if error.errno not in _OUTPUT_FAULTS:
            raise
        _print_no_more()
        _tell(f"the output cannot be written: {error.strerror}; make room, or send it elsewhere")
        return int(ExitCode.FAILED)
    except KeyboardInterrupt:
        return int(ExitCode.INTERRUPTED)


def _tell(sentences: str) -> None:
    """Say what went wrong, where anybody can read it."""
    # File names and cells of others are in it: no line of it may steer the terminal.
    with contextlib.suppress(OSError):
        print("rounds: " + "\n".join(map(plain, sentences.split("\n"))), file=sys.stderr, flush=True)


def _print_no_more() -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _open_what_is_closed() -> None:
    """Stand in for streams that were closed before the start (`>&-`): Python has None in their place.

    Lowest first, so that no file of ours gets the number of a stream that libraries print on.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - for the whole run


def _mind_the_coding() -> None:
    """In a terminal that knows few characters, print `\\xb1` for `±` rather than fail; read bytes that are no
    text as signs that stand for nothing, and refuse them with the line they are in."""
    for stream, how in (
        (sys.stdin, "replace"),
        (sys.stdout, "backslashreplace"),
        (sys.stderr, "backslashreplace"),
    ):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=how)
