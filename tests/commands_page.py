"""Write docs/commands.md from the command line itself: `python -m tests.commands_page`.

A renderer of our own, because argparse words its help differently from one Python to the next.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from rounds.cli import build_parser

PAGE = Path(__file__).parent.parent / "docs" / "commands.md"
HEAD = """# Commands

Written by `python -m tests.commands_page` from the command line itself; a test holds it so. `rounds COMMAND
--help` says the same. Data goes to stdout, talk to stderr. Exit codes: 0 fine, 1 failed, 2 a wrong command
line or file, 3 no sound, 10 due (`rounds due` only), 130 interrupted.
"""


def page() -> str:
    """The whole page."""
    (commands,) = _subparsers(build_parser())
    return HEAD + "".join(_section(f"rounds {name}", parser, 2) for name, parser in commands.choices.items())


def _subparsers(parser: argparse.ArgumentParser) -> list[argparse._SubParsersAction[argparse.ArgumentParser]]:
    return [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]


def _section(name: str, parser: argparse.ArgumentParser, depth: int) -> str:
    lines = ["", f"{'#' * depth} {name}", ""]
    if parser.description:
        lines += [parser.description, ""]
    rows = [
        _row(a)
        for a in parser._actions
        if not isinstance(a, (argparse._SubParsersAction, argparse._HelpAction))
        and a.help != argparse.SUPPRESS
    ]
    if rows:
        lines += ["| option | meaning |", "| --- | --- |", *rows]
    text = "\n".join(lines).rstrip() + "\n"
    for nested in _subparsers(parser):
        text += "".join(_section(f"{name} {n}", p, depth + 1) for n, p in nested.choices.items())
    return text


def _row(action: argparse.Action) -> str:
    metavar = action.metavar or action.dest.upper()
    shown = " ".join(metavar) if isinstance(metavar, tuple) else metavar
    takes = action.nargs != 0
    names = [f"{o} {shown}" if takes else o for o in action.option_strings] or [shown]
    meaning = (action.help or "").replace("%(default)s", str(action.default)).replace("|", "\\|")
    return f"| `{'`, `'.join(names).replace('|', chr(92) + '|')}` | {meaning} |"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
