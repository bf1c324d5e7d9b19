"""`rounds pieces`: which bottles each piece needs, and which of its notes the rig lacks."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from rounds.starting import options
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import argparse

    from rounds.rig import Piece, Rig


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "pieces",
        help="show which bottles each piece needs",
        description="Show which bottles each piece of the rig needs, and which notes the rig lacks.",
    )
    options.add_rig(parser)
    options.add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the pieces of a rig."""
    rig = options.load(args)
    if args.json:
        print(json.dumps({"pieces": [_as_json(rig, p) for p in rig.pieces]}, ensure_ascii=False))
    elif not rig.pieces:
        print("The rig file names no piece: every bottle is needed.")
    else:
        print("\n\n".join(_sentences(rig, p) for p in rig.pieces))
    return 0


def _as_json(rig: Rig, piece: Piece) -> dict[str, Any]:
    return {
        "name": piece.name,
        "notes": [n.name for n in piece.notes],
        "weights": {n.name: piece.weights[n] for n in piece.notes},
        "bottles": _bottles(rig, piece),
        "missing": [n.name for n in rig.missing_for(piece)],
        "fixed_by": piece.fixed_by,
    }


def _bottles(rig: Rig, piece: Piece) -> list[str]:
    needed = rig.needed_for((piece,))
    return [b.id for b in rig.by_pitch if b.id in needed]


def _sentences(rig: Rig, piece: Piece) -> str:
    bottles = _bottles(rig, piece)
    lines = [f"{plain(piece.name)}: {len(bottles)} of {len(rig.bottles)} bottles."]
    if bottles:
        lines.append(f"  Needs {', '.join(named(rig, b) for b in bottles)}.")
    exposed = [n.name for n in piece.notes if piece.weights[n] > 1.0]
    if exposed:
        lines.append(f"  Exposed, so they weigh more: {', '.join(exposed)}.")
    missing = rig.missing_for(piece)
    if missing:
        lines.append(f"  No bottle plays {', '.join(n.name for n in missing)}.")
    if piece.fixed_by:
        lines.append(f"  Pitch fixed by {plain(piece.fixed_by)}: the reference may not float.")
    return "\n".join(lines)


def named(rig: Rig, bottle_id: str) -> str:
    """A bottle and its note, once where both are the same."""
    note = rig.bottle(bottle_id).note.name
    return plain(bottle_id) if bottle_id == note else f"{plain(bottle_id)} ({note})"
