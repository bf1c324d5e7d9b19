"""The pages print what the program prints, and name only commands and options that it has."""

from __future__ import annotations

import argparse
import importlib.util
import re

import pytest

from rounds.cli import COMMANDS, build_parser
from tests.printed import PAGES, Printed, dear, differences, named, printed

CHEAP = [one for page in PAGES for one in printed(page) if not one.is_dear]


@pytest.mark.parametrize("one", CHEAP, ids=lambda one: f"{one.page}: {one.command}")
def test_what_a_page_prints_is_what_the_command_prints(one: Printed) -> None:
    assert differences(one) == []


def test_there_is_something_to_compare_and_a_difference_is_found() -> None:
    assert len(CHEAP) >= 3
    assert differences(Printed("x", CHEAP[0].command, ("never printed",)))
    assert differences(Printed("x", CHEAP[0].command, ("...", "never printed")))


def test_every_dear_command_is_one_that_can_be_run() -> None:
    modules = {m for command in dear() if (m := re.match(r"python -m ([\w.]+)", command))}
    assert len(modules) > 10
    assert [m[1] for m in modules if importlib.util.find_spec(m[1]) is None] == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_command_and_option_that_a_page_names_is_there(page) -> None:  # type: ignore[no-untyped-def]
    (commands,) = (a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    wrong = []
    for text in named(page):
        word, *rest = text.split()[1:] if text.startswith("rounds") else ["", ""]
        if not word or word == "help":
            continue
        if word not in COMMANDS:
            wrong.append(text)
            continue
        known = options_of(commands.choices[word])
        used = {r.strip("[],.|").split("=")[0] for part in rest for r in part.split("|")}
        wrong += [text for option in used if option.startswith("--") and option not in known]
    assert wrong == []


def options_of(parser: argparse.ArgumentParser) -> set[str]:
    found = set(parser._option_string_actions)
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            found |= {name for inner in action.choices.values() for name in options_of(inner)}
    return found
