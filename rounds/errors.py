"""What can go wrong, as sentences a player can act on, and the exit code of each.

Raise where the fact is known; a face catches once: the command line prints the message to
stderr and exits, a screen shows it. Every message says what is wrong, where, and what to do.
"""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """The exit codes of every `rounds` command."""

    FINE = 0
    """It worked."""
    FAILED = 1
    """It was understood, and did not work."""
    USAGE = 2
    """The command line or a file given to it is wrong."""
    AUDIO = 3
    """No sound: no PortAudio, no device, or the device was lost."""
    DUE = 10
    """`rounds due` only: the next round is due now."""
    INTERRUPTED = 130
    """Ctrl-C."""


class RoundsError(Exception):
    """Base of all errors that the player is shown as one sentence."""

    exit_code: ExitCode = ExitCode.FAILED


class BadInput(RoundsError):
    """A file, line, option or key that cannot be used."""

    exit_code = ExitCode.USAGE


class BadRig(BadInput):
    """A rig file with problems, all of them listed in `problems`."""

    def __init__(self, path: str, problems: list[str]) -> None:
        self.problems = problems
        count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        super().__init__("\n".join([f"{path}: {count}; nothing was changed.", *(f"  {p}" for p in problems)]))


class JournalError(RoundsError):
    """The journal cannot be read or written."""


class AudioError(RoundsError):
    """No sound can be had, or it stopped coming."""

    exit_code = ExitCode.AUDIO
