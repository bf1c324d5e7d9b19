"""The house rules, held by test: clean tools, documented commands, nothing left half done."""

from __future__ import annotations

import argparse
import ast
import subprocess
import sys
from pathlib import Path

import pytest

from rounds.cli import COMMANDS, build_parser

ROOT = Path(__file__).parents[1]
SOURCES = sorted([*(ROOT / "rounds").rglob("*.py"), *(ROOT / "tests").rglob("*.py")])
LONGEST_MODULE = 450
LONGEST_FUNCTION = 45
"""Modules are cut by meaning: these catch only what has grown wild. Usual are 300 and 30."""
LEFT_UNDONE = ("TO" + "DO", "FIX" + "ME", "X" + "XX")


def tool(*argv: str) -> None:
    """Run a tool over the tree; its own words are the failure."""
    done = subprocess.run(
        [sys.executable, "-m", *argv], capture_output=True, text=True, cwd=ROOT, timeout=240, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing() -> None:
    tool("ruff", "check", "rounds", "tests")


def test_every_file_is_formatted() -> None:
    tool("ruff", "format", "--check", "rounds", "tests")


@pytest.mark.slow
@pytest.mark.skipif(
    sys.version_info[:2] != (3, 11),
    reason="numpy 2.5 (Python 3.12 and later) describes its types otherwise than 2.4: held on 3.11",
)
def test_types_are_strict_and_right() -> None:
    tool("mypy")


def commands_of(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    """The commands right below a parser."""
    found = [a.choices for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    return dict(found[0]) if found else {}


def without_help(parser: argparse.ArgumentParser) -> list[str]:
    """Commands, options and arguments below a parser that say nothing of themselves."""
    bare: list[str] = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            told = {choice.dest for choice in action._choices_actions if choice.help}
            bare += [f"{parser.prog} {name}" for name in action.choices if name not in told]
            bare += [line for below in action.choices.values() for line in without_help(below)]
        elif not action.help:
            bare.append(f"{parser.prog} {'/'.join(action.option_strings) or action.dest}")
    return bare


def test_every_command_module_is_registered() -> None:
    """A module of rounds/commands with a `register` is in COMMANDS, and the other way round."""
    with_register = {
        path.stem
        for path in (ROOT / "rounds" / "commands").glob("*.py")
        if any(
            isinstance(n, ast.FunctionDef) and n.name == "register" for n in ast.parse(path.read_text()).body
        )
    }
    assert with_register == set(COMMANDS)


def test_every_command_and_every_option_has_help() -> None:
    assert set(commands_of(build_parser())) == set(COMMANDS)
    assert without_help(build_parser()) == []


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_docs(name: str) -> None:
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    assert any(f"rounds {name}" in page.read_text(encoding="utf-8") for page in pages)


@pytest.mark.parametrize("word", LEFT_UNDONE)
def test_nothing_is_left_undone(word: str) -> None:
    texts = [*SOURCES, *sorted((ROOT / "docs").glob("*.md")), *sorted((ROOT / "configs").glob("*.toml"))]
    assert [str(p.relative_to(ROOT)) for p in texts if word in p.read_text(encoding="utf-8")] == []


def test_no_module_is_too_long() -> None:
    lengths = {
        str(p.relative_to(ROOT)): len(p.read_text(encoding="utf-8").splitlines())
        for p in SOURCES
        if p.is_relative_to(ROOT / "rounds")
    }
    assert {k: n for k, n in lengths.items() if n > LONGEST_MODULE} == {}


def test_no_function_is_too_long() -> None:
    """Lines of a function without its docstring."""
    found = {}
    for path in SOURCES:
        if not path.is_relative_to(ROOT / "rounds"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
                and body_lines(node) > LONGEST_FUNCTION
            ):
                found[f"{path.relative_to(ROOT)}:{node.name}"] = body_lines(node)
    assert found == {}


def body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from `def` to the end, docstring not counted."""
    total = (node.end_lineno or node.lineno) - node.lineno + 1
    if ast.get_docstring(node) is None:
        return total
    doc = node.body[0]
    return total - ((doc.end_lineno or doc.lineno) - doc.lineno + 1)


def test_every_module_says_why_it_is() -> None:
    bare = [
        str(p.relative_to(ROOT))
        for p in SOURCES
        if p.stat().st_size and not ast.get_docstring(ast.parse(p.read_text()))
    ]
    assert bare == []
