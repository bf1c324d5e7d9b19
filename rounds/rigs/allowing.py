"""Which commands of rig files may be run on this machine.

A rig file looks like data and is passed from player to player, and it may name a program that reads the
thermometer. So such a command is run only once the user has allowed it, and what was allowed is kept as
its fingerprint: a command that was changed is asked for again.
"""

from __future__ import annotations

import hashlib
import shlex
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.files.places import make_folder, make_private_file, state_folder
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

ALLOWED = "allowed-commands"
_ENV_WITH_VALUE = frozenset({"-u", "--unset", "-C", "--chdir"})
"""Options of `env` that take the next word."""


def is_allowed(command: str) -> bool:
    """Whether the user has allowed this very command before."""
    try:
        return _fingerprint(command) in _file().read_text(encoding="ascii").split()
    except (OSError, ValueError):
        return False


def refusal(command: str) -> str:
    """That a command was not run, and how to allow it."""
    return (
        "the rig file wants to run a command on this machine to read the thermometer; it was not run, "
        f"--allow-command allows it\n{shown_whole(command)}"
    )


def shown_whole(command: str) -> str:
    """The program that would run, and the whole line: nothing of it is left away, however long it is."""
    return f"  program: {_programs(command)}\n  whole line: {plain(command)}"


def _programs(command: str) -> str:
    """The first word, and what `env` would start in its turn, behind a screenful of settings."""
    try:
        words = shlex.split(command)
    except ValueError:
        return "none, for its quotes do not close"
    if not words:
        return "none"
    first, rest = words[0], words[1:]
    if first.rpartition("/")[2] != "env":
        return plain(first)
    while rest and (rest[0].startswith("-") or "=" in rest[0]):
        if rest[0] in ("-S", "--split-string") and rest[1:]:
            rest = shlex.split(rest[1]) + rest[2:]
        else:
            rest = rest[2:] if rest[0] in _ENV_WITH_VALUE else rest[1:]
    return f"{plain(first)}, which starts {plain(rest[0])}" if rest else plain(first)


def check_allowed(command: str) -> None:
    """Let a command pass that was allowed.

    Raises:
        BadInput: it was not.
    """
    if not is_allowed(command):
        raise BadInput(refusal(command))


def allow(command: str) -> None:
    """Remember that the user has allowed a command.

    Raises:
        BadInput: it cannot be remembered.
    """
    file = _file()
    try:
        make_folder(file.parent)
        if not file.exists():
            make_private_file(file)
        with file.open("a", encoding="ascii") as kept:
            kept.write(f"{_fingerprint(command)}\n")
    except OSError as error:
        raise BadInput(f"{plain(file)}: cannot be written ({error.strerror})") from error


def asked_about(command: str, ask: Callable[[str], str]) -> bool:
    """Ask the user about a command that was not allowed yet, and remember a yes."""
    if is_allowed(command):
        return True
    answer = ask(
        "The rig file wants to run this command on this machine, now and then, to read the thermometer:\n"
        f"{shown_whole(command)}\nType yes to allow it from now on: "
    )
    if answer.strip().casefold() != "yes":
        return False
    allow(command)
    return True


def _file() -> Path:
    return state_folder() / ALLOWED


def _fingerprint(command: str) -> str:
    return hashlib.sha256(command.encode("utf-8", "surrogatepass")).hexdigest()
