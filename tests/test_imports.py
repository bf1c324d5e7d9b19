"""Which module may import what.

Arrows point from faces to core and never back: the core knows no screen, no sound card, no database
and no clock, so every law in it can be tested without them. `rounds --help` must stay quick, so the
command line imports nothing heavy before a command runs.
"""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Set

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "rounds"

CORE = (
    "notes",
    "rig",
    "air",
    "events",
    "event_fields",
    "bounds",
    "instruction",
    "gauss",
    "times.journal_time",
    "times.local",
    "wording",
    "faces.view",
    "belief",
    "forecast.drift",
    "planning",
    "guide",
    "recognising",
    "sessions",
    "hearing.reading",
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
    "files.places",
    "files.faultlog",
    "rigs",
    "workshop.shelf",
    "hearing.sources",
    "hearing.microphone",
    "hearing.listener",
    "times.run_clock",
)
"""Modules that hold a file, a device, a database or a thread; no core module needs one to run."""
NOT_IN_CORE = ("textual", "sounddevice", "sqlite3", "rich", "platformdirs", "mido", "soundfile", "tomli_w")
FACES = (
    "tui",
    "commands",
    "cli",
    "__main__",
    "faces",
    "starting",
    "simulation.demo",
)
"""Screens, sentences and commands, and the programs that join the core to them."""
LOOSE = frozenset(
    {
        "notes",
        "rig",
        "air",
        "events",
        "event_fields",
        "bounds",
        "instruction",
        "gauss",
        "errors",
        "cli",
        "__main__",
    }
)
"""All that stands outside a room: the words of the field, and the door."""
SLOW = ("textual", "numpy", "aubio", "sounddevice", "scipy", "sqlite3", "soundfile", "mido", "platformdirs")
OWNERS = {
    "sounddevice": ("hearing.microphone",),
    "textual": ("tui",),
    "aubio": ("hearing",),
    "soundfile": ("hearing.sources",),
    "mido": ("rigs.pieces",),
    "platformdirs": ("files.places",),
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


def test_a_reading_can_be_spoken_of_without_what_makes_one() -> None:
    assert json.loads(python(_PROBE, "numpy,aubio,scipy", "hearing.reading")) == {}


@pytest.mark.slow
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


def test_what_stands_outside_a_room_is_named() -> None:
    """A new module belongs to a room; the root keeps what every room speaks of."""
    assert {n for n, path in modules().items() if path.parent == PACKAGE and n} == LOOSE


def test_no_circle_of_modules() -> None:
    """Wherever an import stands, in a function and for types too: who reads one must not need the other."""
    assert circle({n: modules_read(n) - {n} for n in modules()}) == []


def test_no_circle_of_rooms() -> None:
    """Rooms stand one above the other. Nothing is exempt, imports for types neither."""
    rooms: dict[str, set[str]] = {}
    for name in modules():
        rooms.setdefault(room(name), set()).update(room(i) for i in own_imports(name))
    assert circle({a: others - {a} for a, others in rooms.items()}) == []


@cache
def modules_read(name: str) -> frozenset[str]:
    """Modules of ours that one imports; of `from package import module` the module, not the package."""
    found: set[str] = set()
    for node in ast.walk(tree(name)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rounds."):
            source = (node.module or "").removeprefix("rounds.")
            below = {f"{source}.{a.name}" for a in node.names} & set(modules())
            found |= below or {source}
    return frozenset(found)


def test_the_house_is_as_it_is_drawn() -> None:
    """DEVELOPERS.md draws the rooms one above the other: arrows go downwards, and no room is left out."""
    lines = drawn()
    rooms = {room(n) for n in modules()} - {"", "__main__"}
    assert sorted(r for line in lines for r in line) == sorted(rooms)
    level = {r: i for i, line in enumerate(lines) for r in line}
    up = {
        f"{name} -> {other}"
        for name in modules()
        for other in own_imports(name)
        if room(name) in level and room(name) != room(other) and not below(level, room(name), room(other))
    }
    assert up == set()


def test_every_file_that_developers_are_sent_to_is_there() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:[a-z_]+/)+[a-z_]+\.py)`", page))
    assert len(named) > 10
    assert {n for n in named if not (PACKAGE / n).exists() and not (ROOT / n).exists()} == set()
    rooms = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert {r for r in rooms if f"`{r}/`" not in page} == set()


def below(level: dict[str, int], here: str, there: str) -> bool:
    """Whether a room may import another; on the lowest line any may import any."""
    return level[there] > level[here] or level[there] == level[here] == max(level.values())


def drawn() -> list[list[str]]:
    """The lines of the drawing: the rooms on each, from the top."""
    drawing = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("```")[1]
    return [line.partition("#")[0].split() for line in drawing.strip().splitlines()]


def room(name: str) -> str:
    """The package that a module is in; a loose one is its own."""
    return name.partition(".")[0]


def circle(arrows: Mapping[str, Set[str]]) -> list[str]:
    """One circle among things that point at others, the empty list when there is none."""
    done: set[str] = set()

    def found(name: str, path: list[str]) -> list[str]:
        if name in path:
            return [*path[path.index(name) :], name]
        if name in done:
            return []
        for other in sorted(arrows.get(name, ())):
            if way := found(other, [*path, name]):
                return way
        done.add(name)
        return []

    return next((way for name in sorted(arrows) if (way := found(name, []))), [])


def test_a_circle_is_found() -> None:
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == ["b", "c", "b"]
    assert circle({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []
