"""Which commands of rig files may be run on this machine.

A rig file looks like data and is passed from player to player, and it may name a program that reads the
thermometer. So such a command is run only once the user has allowed it, and what was allowed is kept as
its fingerprint: a command that was changed is asked for again.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from rounds.errors import BadInput
from rounds.files.places import make_folder, make_private_file, state_folder
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

ALLOWED = "allowed-commands"
_SHOWN_CHARS = 200


def is_allowed(command: str) -> bool:
    """Whether the user has allowed this very command before."""
    try:
        return _fingerprint(command) in _file().read_text(encoding="ascii").split()
    except (OSError, ValueError):
        return False


def refusal(command: str) -> str:
    """That a command was not run, and how to allow it."""
    return (
        "the rig file wants to run a command on this machine to read the thermometer: "
        f"{plain(command, _SHOWN_CHARS)}; it was not run, --allow-command allows it"
    )


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
        f"  {plain(command, _SHOWN_CHARS)}\nType yes to allow it from now on: "
    )
    if answer.strip().casefold() != "yes":
        return False
    allow(command)
    return True


def _file() -> Path:
    return state_folder() / ALLOWED


def _fingerprint(command: str) -> str:
    return hashlib.sha256(command.encode("utf-8", "surrogatepass")).hexdigest()
