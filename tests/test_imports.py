"""Which module may import what.

Arrows point from faces to core and never back: the core knows no screen, no sound card, no database
and no clock, so every law in it can be tested without them. `rounds --help` must stay quick, so the
command line imports nothing heavy before a command runs.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "rounds"

CORE = (
    "notes",
    "rig",
    "air",
    "events",
    "gauss",
    "view",
    "belief",
    "drift",
    "planning",
    "guide",
    "words",
    "timescale",
    "sessions",
    "hearing.strike",
    "hearing.ear",
    "workshop.range",
    "workshop.fit",
    "workshop.tone",
    "workshop.loudness",
    "workshop.compare",
)
"""Modules (a package: all of it) that hold the laws and the decisions."""
SHELL = (
    "journal",
    "importing",
    "places",
    "rigs",
    "workshop.shelf",
    "pieces",
    "thermometer",
    "hearing.sources",
    "hearing.microphone",
    "hearing.listener",
)
"""Modules that hold a file, a device, a database or a thread; no core module needs one to run."""
NOT_IN_CORE = ("textual", "sounddevice", "sqlite3", "rich", "platformdirs", "mido", "soundfile", "tomli_w")
FACES = (
    "tui",
    "commands",
    "cli",
    "__main__",
    "faces",
    "start",
    "simulation.demo",
)
"""Screens, sentences and commands, and the programs that join the core to them."""
SLOW = ("textual", "numpy", "aubio", "sounddevice", "scipy", "sqlite3", "soundfile", "mido", "platformdirs")
OWNERS = {
    "sounddevice": ("hearing.microphone",),
    "textual": ("tui",),
    "aubio": ("hearing",),
    "soundfile": ("hearing.sources",),
    "mido": ("pieces",),
    "platformdirs": ("places",),
    "tomli_w": ("rigs.rigfile",),
}
"""The only modules that may import a foreign library which touches the machine or carries no types."""
CLOCKS = ("time", "datetime")
CLOCK_READINGS = frozenset({"now", "utcnow", "today", "time", "monotonic", "perf_counter", "time_ns"})

_PROBE = """
import importlib, json, sys
found = {}
for name in sys.argv[2].split(","):
    importlib.import_module("rounds." + name)
    heavy = sorted({m.split(".")[0] for m in sys.modules} & set(sys.argv[1].split(",")))
    if heavy:
        found[name] = heavy
print(json.dumps(found))
"""
_HELP_PROBE = """
import json, sys
from rounds.cli import main
try:
    main(sys.argv[2:])
except SystemExit as leaving:
    assert not leaving.code, leaving.code
print(json.dumps(sorted({m.split(".")[0] for m in sys.modules} & set(sys.argv[1].split(",")))))
"""


def python(code: str, *argv: str) -> str:
    """What a fresh Python prints."""
    done = subprocess.run(
        [sys.executable, "-c", code, *argv], capture_output=True, text=True, check=True, cwd=ROOT, timeout=60
    )
    return done.stdout


def test_importing_the_core_loads_no_screen_no_sound_card_and_no_database() -> None:
    assert json.loads(python(_PROBE, ",".join(NOT_IN_CORE), ",".join(CORE))) == {}


def test_the_probe_sees_what_it_should() -> None:
    """The check above would fail if a core module did import one of them."""
    assert json.loads(python(_PROBE, "sqlite3", "notes,journal.store")) == {"journal.store": ["sqlite3"]}


def test_help_loads_nothing_slow() -> None:
    from rounds.cli import COMMANDS

    for argv in (["--help"], *([name, "--help"] for name in COMMANDS)):
        *_, last = python(_HELP_PROBE, ",".join(SLOW), *argv).splitlines()
        assert json.loads(last) == [], argv


@cache
def modules() -> dict[str, Path]:
    """Every module of the package by its dotted name below `rounds`."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        found[".".join(p for p in parts if p != "__init__")] = path
    return found


@cache
def tree(name: str) -> ast.Module:
    return ast.parse(modules()[name].read_text(encoding="utf-8"))


def within(name: str, owners: tuple[str, ...]) -> bool:
    """Whether a module is one of them or inside one of them."""
    return any(name == o or name.startswith(o + ".") for o in owners)


def nodes(name: str, *, types: bool) -> Iterator[ast.AST]:
    """All syntax nodes of a module, with or without what is there for type checkers only."""
    waiting: list[ast.AST] = [tree(name)]
    while waiting:
        node = waiting.pop()
        yield node
        if not types and isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            waiting += node.orelse
        else:
            waiting += ast.iter_child_nodes(node)


@cache
def imports(name: str, *, types: bool = True) -> frozenset[str]:
    """Full names of all that a module imports, wherever in it (also inside functions)."""
    found: set[str] = set()
    for node in nodes(name, types=types):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: relative import"
            found.add(node.module or "")
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return frozenset(found)


def own_imports(name: str, *, types: bool = True) -> set[str]:
    """Modules of ours that a module imports."""
    below = {i.removeprefix("rounds.") for i in imports(name, types=types) if i.startswith("rounds.")}
    return below & set(modules())


def test_no_module_below_the_faces_imports_a_face() -> None:
    wrong = {
        name: sorted(i for i in own_imports(name) if within(i, FACES))
        for name in modules()
        if not within(name, FACES)
    }
    assert {k: v for k, v in wrong.items() if v} == {}


def test_the_core_reaches_no_file_no_device_and_no_database() -> None:
    """However many imports away, also inside functions; what is there for types alone does not count."""
    wrong = {n: sorted(i for i in reach(n) if within(i, SHELL)) for n in core_modules()}
    assert {k: v for k, v in wrong.items() if v} == {}


def reach(name: str) -> set[str]:
    """All modules of ours that a module leads to when it runs."""
    found: set[str] = set()
    waiting = [name]
    while waiting:
        new = own_imports(waiting.pop(), types=False) - found
        found |= new
        waiting += sorted(new)
    return found


def core_modules() -> list[str]:
    return [n for n in modules() if within(n, CORE)]


def test_every_name_listed_here_is_a_module() -> None:
    owners = {name for names in OWNERS.values() for name in names}
    assert {*CORE, *SHELL, *FACES, *owners} - set(modules()) == set()


@pytest.mark.parametrize("library", OWNERS)
def test_only_its_owner_imports_a_library(library: str) -> None:
    users = {n for n in modules() if any(i.split(".")[0] == library for i in imports(n))}
    assert users, f"nothing imports {library}: drop it from the list"
    assert all(within(n, OWNERS[library]) for n in users), users


def test_the_core_reads_no_clock() -> None:
    wrong = [
        f"{name}:{ast.unparse(node)}"
        for name in core_modules()
        for node in ast.walk(tree(name))
        if reads_clock(node) or (isinstance(node, ast.Import) and any(a.name == "time" for a in node.names))
    ]
    assert wrong == []


def reads_clock(node: ast.AST) -> bool:
    """A call such as `time.time()`, `datetime.datetime.now()`, `date.today()`."""
    if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
        return False
    owner = node.func.value
    last = owner.attr if isinstance(owner, ast.Attribute) else owner.id if isinstance(owner, ast.Name) else ""
    return node.func.attr in CLOCK_READINGS and last in (*CLOCKS, "date")


@pytest.mark.parametrize(
    "code", ["time.time()", "datetime.datetime.now()", "date.today()", "datetime.now(tz)"]
)
def test_a_clock_is_recognised(code: str) -> None:
    assert reads_clock(ast.parse(code, mode="eval").body)


def test_no_two_modules_import_each_other() -> None:
    """At import time; a cycle through a function or a type is none."""
    state: dict[str, int] = {}

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert state.get(name) != 1, " -> ".join((*path, name))
        if state.get(name) == 2:
            return
        state[name] = 1
        for other in sorted(top_level_imports(name) - {name}):
            visit(other, (*path, name))
        state[name] = 2

    for name in modules():
        visit(name, ())


def top_level_imports(name: str) -> set[str]:
    """Modules of ours that are loaded when a module is."""
    found: set[str] = set()
    for node in tree(name).body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rounds."):
            module = (node.module or "").removeprefix("rounds.")
            children = {f"{module}.{a.name}" for a in node.names} & set(modules())
            found |= children or ({module} & set(modules()))
    return found
