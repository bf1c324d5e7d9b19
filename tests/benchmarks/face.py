"""How quick the screens are: first screen, key to paint, idle CPU.

    python -m tests.benchmarks.face

Each app runs in a terminal of its own (a pty, 80 by 24), as for a player. Times run from starting the
process, or from writing a key, to the first bytes that show the change. The baseline of the same run
is a bare Textual app with one line of text. Budgets: first screen 1 s, key to paint 50 ms, idle 2 %.
"""

from __future__ import annotations

import fcntl
import os
import platform
import pty
import select
import statistics
import struct
import subprocess
import sys
import termios
import time
from contextlib import contextmanager, suppress
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

STARTS, KEYS, IDLE_S = 5, 40, 20.0
OURSELVES = "tests.benchmarks.face"
PATIENCE_S = 20.0
BUDGET_FIRST_S, BUDGET_KEY_S, BUDGET_IDLE = 1.0, 0.050, 0.02


class Terminal:
    """A child in a pty, its output as it comes."""

    def __init__(self, *argv: str, **more: str) -> None:
        self.started_s = time.monotonic()
        primary, secondary = pty.openpty()
        fcntl.ioctl(secondary, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        environ = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", **more}
        command = [sys.executable, "-m", *argv]
        self.process = subprocess.Popen(
            command, stdin=secondary, stdout=secondary, stderr=secondary, env=environ, start_new_session=True
        )
        os.close(secondary)
        self._primary = primary

    def wait_for(self, *texts: bytes) -> float:
        """The moment at which one of some texts has come."""
        seen = b""
        limit_s = time.monotonic() + PATIENCE_S
        while not any(text in seen for text in texts):
            if time.monotonic() > limit_s:
                raise TimeoutError(f"{texts!r} never came; last was {seen[-200:]!r}")
            if select.select([self._primary], [], [], 0.5)[0]:
                seen += os.read(self._primary, 65536)
        return time.monotonic()

    def drain(self, seconds: float) -> int:
        """Read what comes for a while; how many bytes."""
        count, end_s = 0, time.monotonic() + seconds
        while (left_s := end_s - time.monotonic()) > 0:
            if select.select([self._primary], [], [], left_s)[0]:
                count += len(os.read(self._primary, 65536))
        return count

    def press(self, key: bytes) -> None:
        """Send a key."""
        os.write(self._primary, key)

    @property
    def cpu_s(self) -> float:
        """CPU seconds used so far (Linux)."""
        with open(f"/proc/{self.process.pid}/stat", encoding="ascii") as stat:
            fields = stat.read().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def close(self) -> None:
        """End the child."""
        self.process.terminate()
        while self.process.poll() is None:  # what it still writes is read, else it waits for ever
            if select.select([self._primary], [], [], 0.1)[0]:
                with suppress(OSError):
                    os.read(self._primary, 65536)
        os.close(self._primary)


@contextmanager
def terminal(*argv: str, **more: str) -> Iterator[Terminal]:
    """A module of Python run as a child in a terminal, with more in its environment; ended afterwards."""
    child = Terminal(*argv, **more)
    try:
        yield child
    finally:
        child.close()


READY = {"rounds": b"downbeat in", "bare": b"tock 0"}


def first_screen_s(which: str) -> tuple[float, float]:
    """Median seconds from starting the process to its first screen: by the clock, and of CPU."""
    times, cpu = [], []
    for _ in range(STARTS):
        with terminal(OURSELVES, which) as child:
            times.append(child.wait_for(READY[which]) - child.started_s)
            cpu.append(child.cpu_s)
    return statistics.median(times), statistics.median(cpu)


def key_to_paint_s(which: str) -> tuple[float, float]:
    """Median and 95th percentile of seconds from a key to its change on the terminal."""
    times = []
    with terminal(OURSELVES, which) as child:
        child.wait_for(READY[which])
        child.drain(1.5)
        for number in range(KEYS):
            shows = (
                f"tock {number + 1}".encode()
                if which == "bare"
                else b"PUMP"
                if number % 2
                else b"\xe2\x94\xaf"
            )
            pressed_s = time.monotonic()
            child.press(b"p")
            times.append(child.wait_for(shows) - pressed_s)
            child.drain(0.1)
    times.sort()
    return statistics.median(times), times[int(0.95 * len(times))]


def idle_share(which: str, keys: bytes = b"") -> float:
    """CPU share of one core while nobody touches a key and the countdown runs."""
    with terminal(OURSELVES, which) as child:
        child.wait_for(READY[which])
        child.press(keys)
        child.drain(2.0)
        before_s, began_s = child.cpu_s, time.monotonic()
        child.drain(IDLE_S)
        return (child.cpu_s - before_s) / (time.monotonic() - began_s)


def run_rounds() -> None:
    """The child: our screens over a fake whose countdown runs and whose level moves."""
    from rounds.tui.app import RoundsApp
    from tests.tui.fake import FakeController

    class Running(FakeController):
        def tick(self) -> None:
            super().tick()
            downbeat_s = (self.shown.downbeat_in_s or 0.0) - 1.0
            self.shown = replace(self.shown, downbeat_in_s=downbeat_s)
            level = self.sound
            self.sound = replace(level, dbfs=-40.0 + self.ticks % 20)

    RoundsApp(Running()).run()


def run_bare() -> None:
    """The child: one line of text that a key changes."""
    from textual.app import App, ComposeResult
    from textual.widgets import Static

    class Bare(App[None]):
        count = 0

        def compose(self) -> ComposeResult:
            yield Static("tock 0")

        def key_p(self) -> None:
            self.count += 1
            self.query_one(Static).update(f"tock {self.count}")

    Bare().run()


def _line(what: str, value: float, unit: str, base: float | None, budget: float | None) -> str:
    ratio = "" if base is None else f"   {value / base:5.2f} x bare app"
    verdict = (
        "" if budget is None else f"   budget {budget:g} {unit}: {'kept' if value <= budget else 'BROKEN'}"
    )
    return f"{what:<34}{value:9.3f} {unit}{ratio}{verdict}"


def main() -> None:
    """Measure and print."""
    import textual

    load = os.getloadavg()[0]
    print(f"{platform.processor() or platform.machine()}, {os.cpu_count()} cores, load {load:.1f}")
    print(f"Python {platform.python_version()}, Textual {textual.__version__}, {platform.system()}")
    (bare, bare_cpu), (ours, ours_cpu) = first_screen_s("bare"), first_screen_s("rounds")
    print(_line("first screen", ours, "s", bare, BUDGET_FIRST_S))
    print(_line("first screen, CPU", ours_cpu, "s", bare_cpu, None))
    (bare_key, _), (key, late) = key_to_paint_s("bare"), key_to_paint_s("rounds")
    print(_line("key to paint, median", key, "s", bare_key, BUDGET_KEY_S))
    print(_line("key to paint, 95th percentile", late, "s", None, BUDGET_KEY_S))
    print(_line("idle in a round, share of a core", idle_share("rounds"), "", None, BUDGET_IDLE))
    print(_line("sound check on top", idle_share("rounds", b"5"), "", None, None))


if __name__ == "__main__":
    {"bare": run_bare, "rounds": run_rounds}.get(sys.argv[1] if len(sys.argv) > 1 else "", main)()
