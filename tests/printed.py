"""What the pages print, held against the program: `python -m tests.printed [--dear]`.

A block of a page that begins with `$ ` is a command, and the lines after it are what it printed; a line of
`...` stands for lines left out. Commands of `rounds` itself are cheap: they are run and compared. Benchmarks
and the demo are dear: `--dear` lists them, to be run by hand before a release, their tables put in anew.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
LEFT_OUT = "..."
_BLOCK = re.compile(r"^```\w*\n(.*?)^```$", re.M | re.S)
_CODE = re.compile(r"`([^`\n]+)`")
_DEAR = re.compile(r"(python -m tests\.[\w.]+|rounds demo)(.*)")


@dataclass(frozen=True)
class Printed:
    """A command and the lines that a page prints after it."""

    page: str
    command: str
    lines: tuple[str, ...]

    @property
    def is_dear(self) -> bool:
        """Whether it takes more than a moment."""
        return _DEAR.match(self.command) is not None


def printed(page: Path) -> list[Printed]:
    """Every command of a page with what it printed there."""
    found = []
    for block in _BLOCK.findall(page.read_text(encoding="utf-8")):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, *lines = part.rstrip("\n").split("\n")
            found.append(Printed(page.name, command.strip(), tuple(line.rstrip() for line in lines)))
    return found


def named(page: Path) -> list[str]:
    """Commands that a page names in its text, in code."""
    words = (code.removeprefix(".venv/bin/") for code in _CODE.findall(page.read_text(encoding="utf-8")))
    return [word for word in words if re.match(r"rounds [a-z]+( |$)|python -m tests\.", word)]


def dear() -> dict[str, list[str]]:
    """Commands whose figures the pages carry and that take long, with the pages."""
    found: dict[str, list[str]] = {}
    for page in PAGES:
        commands = [p.command for p in printed(page)] + named(page)
        for command in commands:
            if _DEAR.match(command):
                pages = found.setdefault(command, [])
                pages += [] if page.name in pages else [page.name]
    return found


def output(command: str) -> list[str]:
    """What a command of `rounds` prints here, in a home of its own."""
    words = shlex.split(command)
    assert words[0] == "rounds"
    with tempfile.TemporaryDirectory() as home:
        environment = {**os.environ, "ROUNDS_HOME": home, "COLUMNS": "120"}
        done = subprocess.run(
            [sys.executable, "-m", "rounds", *words[1:]],
            capture_output=True,
            text=True,
            env=environment,
            cwd=ROOT,
            check=True,
        )
    return [line.rstrip() for line in done.stdout.rstrip("\n").split("\n")]


def differences(one: Printed) -> list[str]:
    """The printed lines that the command does not print, in their order."""
    now = output(one.command)
    if LEFT_OUT not in one.lines:
        return [] if now == list(one.lines) else [f"printed: {list(one.lines)}", f"now: {now}"]
    rest = iter(now)
    return [line for line in one.lines if line != LEFT_OUT and line not in rest]


def main() -> int:
    """Compare the cheap ones, or list the dear."""
    if "--dear" in sys.argv[1:]:
        for command, pages in sorted(dear().items()):
            print(f"{command}    ({', '.join(pages)})")
        return 0
    found = [(one, lines) for page in PAGES for one in printed(page) if not one.is_dear
             if (lines := differences(one))]  # fmt: skip
    for one, lines in found:
        print(f"{one.page}: $ {one.command}", *lines, sep="\n  ")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
