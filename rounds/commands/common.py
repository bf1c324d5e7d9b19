"""Options that several commands share, and what they open."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.errors import BadInput

if TYPE_CHECKING:
    import argparse

    from rounds.journal import Journal
    from rounds.rig import Rig


def add_rig(parser: argparse.ArgumentParser, *, required: bool = True) -> None:
    """Add `--rig`."""
    parser.add_argument("--rig", required=required, metavar="RIG", help="the rig's TOML file")


def add_journal(parser: argparse.ArgumentParser) -> None:
    """Add `--journal`."""
    parser.add_argument("--journal", metavar="FILE", help="the journal (default: the one of this user)")


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add `--json`."""
    parser.add_argument("--json", action="store_true", help="print one JSON document")


def load(args: argparse.Namespace) -> Rig:
    """The rig named by `--rig`."""
    from rounds.rigfile import load_rig

    return load_rig(args.rig)


def open_journal(args: argparse.Namespace, *, read_only: bool = False) -> Journal:
    """The journal named by `--journal`, or the usual one."""
    from rounds.journal import Journal
    from rounds.places import journal_path

    return Journal(journal_path(args.journal), read_only=read_only)


def known_bottle(rig: Rig, bottle_id: str) -> str:
    """A bottle id given by the user, checked.

    Raises:
        BadInput: the rig has no such bottle.
    """
    if not rig.has_bottle(bottle_id):
        raise BadInput(
            f"{rig.name} has no bottle {bottle_id!r}; it has {', '.join(b.id for b in rig.by_pitch)}"
        )
    return bottle_id
