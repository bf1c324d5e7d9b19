"""The air temperature from a file or a command that the user names in the rig.

Shell, not core: it opens files and runs programs. Whatever cannot be read is an error with a
sentence, never a number: a missing temperature is missing. Degrees Celsius.
"""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import signal
import subprocess
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from rounds.air import LEAST_AIR_C, MOST_AIR_C
from rounds.errors import BadInput, RoundsError
from rounds.rigs.allowing import check_allowed
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rounds.rig import Habits

COMMAND_TIMEOUT_S = 5.0
STALE_AFTER_S = 900.0
"""A file that was not written for this long says nothing about now."""
MOST_BYTES = 65536
MILLIDEGREES_FROM = 1000.0
"""Whole numbers from here on are thousandths of a degree, as kernel sensors give them."""
READ_EVERY_S = 30.0
TELL_FROM_C = 0.1
"""A change smaller than this is no news."""
_NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")


class Thermometer:
    """Reads the rig's thermometer in a thread of its own, for a command may take its time."""

    def __init__(self, habits: Habits, clock: Callable[[], float], every_s: float = READ_EVERY_S) -> None:
        self.fault: str | None = None
        self._habits = habits
        self._clock = clock
        self._every_s = every_s
        self._newest: float | None = None
        self._told: float | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="thermometer", daemon=True)
        self._thread.start()

    def news(self) -> float | None:
        """The temperature, if it has changed since it was last asked for."""
        newest = self._newest
        if newest is None or (self._told is not None and abs(newest - self._told) < TELL_FROM_C):
            return None
        self._told = newest
        return newest

    def close(self) -> None:
        """Read no more."""
        self._stopping.set()

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._newest = read_thermometer(self._habits, self._clock())
                self.fault = None
            except RoundsError as error:
                self.fault = str(error)
            self._stopping.wait(self._every_s)


def read_thermometer(habits: Habits, now_s: float) -> float | None:
    """The temperature now; None when the rig names no thermometer.

    Raises:
        RoundsError: the file or command gives no usable temperature.
    """
    if habits.thermometer_command:
        return temperature_in(_run(habits.thermometer_command), "the thermometer command")
    if habits.thermometer_file:
        return temperature_in(_read(habits.thermometer_file, now_s), habits.thermometer_file)
    return None


def temperature_in(text: str, whence: str) -> float:
    """The last number of a text, in degrees Celsius.

    Raises:
        BadInput: there is none, or it is no air temperature.
    """
    found = _NUMBER.findall(text)
    if not found:
        raise BadInput(f"{plain(whence)} shows no number; it must end with degrees Celsius, such as 21.5")
    value = float(found[-1].replace(",", ".").replace("−", "-"))
    if abs(value) >= MILLIDEGREES_FROM and value.is_integer():
        value /= 1000.0
    if not LEAST_AIR_C <= value <= MOST_AIR_C:
        raise BadInput(
            f"{plain(whence)} shows {value:g}, which is no air temperature in Celsius "
            f"({LEAST_AIR_C:g} to {MOST_AIR_C:g})"
        )
    return value


def _read(path_text: str, now_s: float) -> str:
    try:
        path = Path(path_text).expanduser()
        if path.exists() and not path.is_file():
            raise BadInput(f"the thermometer file {plain(path)} is not a file")
        age_s = now_s - path.stat().st_mtime
        with path.open("rb") as file:
            text = file.read(MOST_BYTES).decode("utf-8", "replace")
    except (OSError, ValueError, RuntimeError) as error:
        # RuntimeError: `~` of a user that this machine does not know.
        why = error.strerror if isinstance(error, OSError) else plain(error)
        raise BadInput(f"the thermometer file {plain(path_text)} cannot be read: {why}") from error
    if age_s > STALE_AFTER_S:
        raise RoundsError(
            f"the thermometer file {plain(path)} was last written {age_s / 60.0:.0f} min ago; "
            "is the thermometer still running?"
        )
    return text


def _run(command: str) -> str:
    """What a command prints. It is started directly, without a shell, and only if it was allowed."""
    check_allowed(command)
    try:
        process = subprocess.Popen(
            shlex.split(command),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except (OSError, ValueError, IndexError) as error:
        raise BadInput(f"the thermometer command cannot be run ({plain(error)}): {plain(command)}") from error
    assert process.stdout is not None
    found: list[bytes] = []
    read = process.stdout.read
    reader = threading.Thread(target=lambda: found.append(read(MOST_BYTES)), daemon=True)
    reader.start()
    try:
        reader.join(COMMAND_TIMEOUT_S)
        return _answer(process, found, command)
    finally:
        _end(process, reader)


def _answer(process: subprocess.Popen[bytes], found: Sequence[bytes], command: str) -> str:
    """What it printed, so much and no more: what prints without end must not fill memory."""
    if found and len(found[0]) == MOST_BYTES:
        raise BadInput(f"the thermometer command prints more than a thermometer would: {plain(command)}")
    try:
        status = process.wait(COMMAND_TIMEOUT_S) if found else None
    except subprocess.TimeoutExpired:
        status = None
    if status is None:
        raise RoundsError(
            f"the thermometer command gave no answer within {COMMAND_TIMEOUT_S:.0f} s: {plain(command)}"
        )
    if status:
        raise RoundsError(f"the thermometer command failed with status {status}: {plain(command)}")
    return found[0].decode("utf-8", "replace")


def _end(process: subprocess.Popen[bytes], reader: threading.Thread) -> None:
    """Stop a command that goes on, and what it started, so that nothing holds its output open."""
    if process.poll() is None or reader.is_alive():
        with contextlib.suppress(OSError):
            if os.name == "posix":
                os.killpg(process.pid, signal.SIGKILL)
            else:
                process.kill()
    process.wait()
    reader.join(0.5)
    if process.stdout is not None and not reader.is_alive():
        process.stdout.close()
