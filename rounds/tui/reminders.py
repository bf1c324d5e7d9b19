"""When to ring, and what the window title says. Nothing rings, changes or counts while a take runs.

A round is announced once when it falls due between rounds. If that happens during a take, it is
announced when the take is cut. The title counts in whole minutes, so it is seldom written.
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING

from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.faces.view import View


class Reminder:
    """Remembers whether the present due time was announced already."""

    def __init__(self) -> None:
        self.announced = False

    def rings(self, view: View) -> bool:
        """Whether to ring now; true once for each time a round falls due."""
        if view.mode == "take":
            return False
        due = view.mode == "between" and view.due.overdue
        ring = due and not self.announced
        self.announced = due
        return ring


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


def desktop_notice(text: str) -> bool:
    """Show a desktop notice, by the extra `notify` or by `notify-send`; says whether it tried."""
    command = _notice_command(plain(text, 120))
    if command is None:
        return False
    subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return True


def _notice_command(text: str) -> list[str] | None:
    if importlib.util.find_spec("desktop_notifier") is not None:
        return [sys.executable, "-m", "rounds.faces.notice", text]
    command = shutil.which("notify-send")
    return None if command is None else [command, "--app-name=rounds", "--", "rounds", text]
