"""`rounds settings`: where the player's settings are, what they are, and which keys do what."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from rounds.wording.printable import plain

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from rounds.files.settings import Settings
    from rounds.tui.intents import Intent


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "settings",
        help="show what you set once for every rig, and your keys",
        description="Show where the settings are, what they are, and which keys do what. "
        "To begin: rounds settings --example, and save what it prints where rounds settings says.",
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--example", action="store_true", help="print a file to begin with")
    what.add_argument("--json", action="store_true", help="print one JSON document")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Show them."""
    from rounds.files.places import settings_file
    from rounds.files.problems import Problems
    from rounds.files.settings import EXAMPLE
    from rounds.starting.settings import checked_settings
    from rounds.tui.keying import intents_with

    if args.example:
        print(EXAMPLE, end="")
        return 0
    settings = checked_settings()
    intents = intents_with(settings.keys, Problems())
    place = settings_file()
    if args.json:
        print(json.dumps({"file": str(place), **_values(settings), "keys": _keys(intents)}))
        return 0
    there = "" if place.exists() else " (not there yet: all is as it comes)"
    print(f"Settings: {plain(str(place))}{there}\n")
    for name, value in _values(settings).items():
        print(f"{name:<12} {_written(value)}")
    print("\n[keys]")
    for intent in intents:
        keys = json.dumps(_keys([intent])[intent.name], ensure_ascii=False)
        print(f"{intent.name:<12} {keys:<28} {intent.title}")
    return 0


def _values(settings: Settings) -> dict[str, str | bool | None]:
    return {
        "rig": None if settings.rig is None else str(settings.rig),
        "theme": settings.theme,
        "glyphs": settings.glyphs,
        "bell": settings.bell,
        "voice": settings.voice,
        "voice_output": settings.voice_output,
        "pressure": settings.pressure,
    }


def _written(value: str | bool | None) -> str:
    return "not set" if value is None else plain(json.dumps(value, ensure_ascii=False), 200)


def _keys(intents: Sequence[Intent]) -> dict[str, list[str]]:
    return {i.name: [key for key in i.keys.split(",") if key] for i in intents}
