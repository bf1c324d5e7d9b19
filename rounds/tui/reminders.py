"""When to ring, and what the window title says. Nothing rings, changes or counts while a take runs.

A round is announced once when it falls due between rounds. If that happens during a take, it is
announced when the take is cut. The title counts in whole minutes, so it is seldom written.
"""

from __future__ import annotations

import contextlib
import importlib.util
import shutil
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.faces.view import View


LONGEST_NOTICE_S = 15.0
"""A notice that has not been handed over by then has failed."""


def window_title(view: View) -> str:
    """A title for the terminal window, the same all through a take."""
    if view.mode == "take":
        return "rounds: take"
    if view.mode == "round":
        return f"rounds: {view.left} of {view.needed} to do"
    if view.due.overdue:
        return "rounds: DUE NOW"
    if view.due.due_s is None:
        return "rounds"
    return f"rounds: due in {max(1, round(view.due.due_s / 60.0))} min"


def desktop_notice(text: str) -> threading.Thread | None:
    """Show a desktop notice by the first way that works: the extra `notify`, else `notify-send`.

    Returns:
        The thread that tries them; None where this machine has neither.
    """
    commands = _notice_commands(plain(text, 120))
    if not commands:
        return None
    thread = threading.Thread(target=_first_that_works, args=(commands,), daemon=True)
    thread.start()
    return thread


def _first_that_works(commands: list[list[str]]) -> None:
    for command in commands:
        with contextlib.suppress(OSError, subprocess.TimeoutExpired):
            done = subprocess.run(
                command, stdin=subprocess.DEVNULL, capture_output=True, timeout=LONGEST_NOTICE_S, check=False
            )
            if done.returncode == 0:
                return


def _notice_commands(text: str) -> list[list[str]]:
    commands = []
    if importlib.util.find_spec("desktop_notifier") is not None:
        commands.append([sys.executable, "-m", "rounds.faces.notice", text])
    program = shutil.which("notify-send")
    if program is not None:
        commands.append([program, "--app-name=rounds", "--", "rounds", text])
    return commands
