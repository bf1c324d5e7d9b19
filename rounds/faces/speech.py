"""Speak a few words by the first speech program of this machine: one process, and the newest words win.

No library: the one that wraps these programs blocks in its own loop and loses words on some systems. The ear
must be deaf while words sound and a little after, so it is kept here when they did.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rounds.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

AFTER_S = 0.1
"""The ear stays deaf so long after the last word."""
_WINDOWS = (
    "Add-Type -AssemblyName System.Speech; "
    "(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak([Console]::In.ReadToEnd())"
)
_KEPT = 8
"""So many of the last times it spoke are remembered: a strike is measured some seconds after it sounded."""


@dataclass(frozen=True)
class Program:
    """A speech program: how it is run; it ends when the words have sounded."""

    command: tuple[str, ...]
    as_argument: bool = False
    """Whether the words come as its last argument; else it reads them from its standard input."""
    silence: tuple[str, ...] = ()
    """What stops words that a server still speaks when the program is gone."""
    settings: Mapping[str, str] = field(default_factory=dict)
    """Variables of its environment."""


def found_program(
    output: str | None = None,
    which: Callable[[str], str | None] = shutil.which,
    platform: str = sys.platform,
) -> Program:
    """The first speech program that is there; `output`: the sound output to speak on, None for the usual one.

    spd-say and Windows speak where the system says, so neither is taken where an output is named.

    Raises:
        BadInput: there is none.
    """
    on_pulse = {} if output is None else {"PULSE_SINK": output}
    for name in ("spd-say", "espeak-ng", "say", "powershell"):
        path = which(name)
        if path is None or (name == "say" and platform != "darwin"):
            continue
        if name == "spd-say" and output is None:
            return Program((path, "--wait", "--"), as_argument=True, silence=(path, "--cancel"))
        if name == "espeak-ng":
            return Program((path, "--stdin", "-z"), settings=on_pulse)
        if name == "say":
            return Program((path, "-f", "-", *(() if output is None else ("-a", output))))
        if name == "powershell" and output is None:
            return Program((path, "-NoProfile", "-Command", _WINDOWS))
    wanted = "espeak-ng (or say, on macOS)" if output else "spd-say, espeak-ng, say or powershell"
    raise BadInput(f"no speech program is there for --voice; install one: {wanted}")


class Speaker:
    """Speaks in one process at a time."""

    def __init__(self, program: Program, clock: Callable[[], float]) -> None:
        """A speaker; `clock` is the time that strikes are timed by, in seconds."""
        self._program, self._clock = program, clock
        self._process: subprocess.Popen[bytes] | None = None
        self._spoken: deque[list[float]] = deque(maxlen=_KEPT)
        self._lock = threading.Lock()
        self.fault: str | None = None

    def say(self, words: str) -> None:
        """Speak; words that still sound are cut off."""
        self.hush()
        try:
            process = subprocess.Popen(
                (*self._program.command, *((words,) if self._program.as_argument else ())),
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={**os.environ, **self._program.settings},
            )
        except OSError as error:
            self.fault = f"The voice cannot speak: {error.strerror or error}."
            return
        span = [self._clock(), float("inf")]
        with self._lock:
            self._process = process
            self._spoken.append(span)
        threading.Thread(target=self._until_said, args=(process, words, span), daemon=True).start()

    def _until_said(self, process: subprocess.Popen[bytes], words: str, span: list[float]) -> None:
        try:
            process.communicate(words.encode() + b"\n")
        except OSError:
            process.wait()  # cut off by newer words
        if process.returncode > 0:
            self.fault = f"The voice cannot speak: {self._program.command[0]} failed."
        span[1] = self._clock() + AFTER_S

    def hush(self) -> None:
        """Be silent now."""
        with self._lock:
            process, self._process = self._process, None
        if process is None or process.poll() is not None:
            return
        process.terminate()
        if self._program.silence:
            subprocess.run(self._program.silence, stdin=subprocess.DEVNULL, capture_output=True, check=False)

    def spoke_at(self, at_s: float) -> bool:
        """Whether words sounded at a time, or had just sounded: what was heard then is no strike."""
        with self._lock:
            return any(start_s <= at_s <= end_s for start_s, end_s in self._spoken)

    @property
    def speaking(self) -> bool:
        """Whether words sound now."""
        return self.spoke_at(self._clock())
