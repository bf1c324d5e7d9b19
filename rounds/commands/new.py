"""`rounds new`: make a first rig file from a few answers or options.

Questions go to stderr like all talk. Without a terminal nothing is asked: the options and their
defaults decide. A file that exists is never overwritten unless forced.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from rounds.errors import BadInput, ExitCode, RoundsError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from rounds.rigs.rigmaker import Answers

_T = TypeVar("_T")
_MOST_TRIES = 5
_HEADING = """A rig made by `rounds new`: a start to be edited. Keys are explained in docs/rig.md.
Volumes in mL, positions in cm from the left end of a rail, pressures in psi.
Bottles are not rated pressure vessels: read docs/safety.md before pumping."""


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "new",
        help="make a rig file",
        description="Make a rig file by asking a few questions, or from options where there is no terminal.",
    )
    parser.add_argument("rig", metavar="RIG.toml", help="the file to make")
    parser.add_argument("--name", help="what the rig is called (default: the file's name)")
    parser.add_argument("--range", metavar="LOW-HIGH", help="lowest and highest note (default: C4-A5)")
    parser.add_argument(
        "--scale",
        choices=("white", "chromatic"),
        help="which notes between (default: white)",
    )
    parser.add_argument(
        "--volumes",
        metavar="BASS,MIDDLE,TOP",
        help="bottle volumes in mL below C4, up to B5, above; one number for all (default: 2000,1250,600)",
    )
    parser.add_argument(
        "--pumps",
        metavar="ML[,ML...]",
        help="barrel of each pump in mL; with two the smaller is for the bass",
    )
    parser.add_argument("--reference", metavar="HZ", help="frequency of A4 in Hz (default: 440)")
    parser.add_argument("--yes", action="store_true", help="ask nothing, even on a terminal")
    parser.add_argument("--force", action="store_true", help="overwrite the file if it exists")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Ask or take the options, and write the file."""
    from rounds.planning.gauges import gauge_sentences
    from rounds.rigs.rigfile import parse_rig, rig_to_toml, save_rig
    from rounds.rigs.rigmaker import make_rig

    path = Path(args.rig)
    if path.exists() and not args.force:
        raise RoundsError(f"{path} exists and was left as it is; choose another name or add --force.")
    ask = _Asker(interactive=sys.stdin.isatty() and not args.yes)
    rig = parse_rig(rig_to_toml(make_rig(_answers(args, ask))), str(path))
    save_rig(rig, path, heading=_HEADING, force=args.force)
    first, last = rig.by_pitch[0], rig.by_pitch[-1]
    print(f"{path}: {len(rig.bottles)} bottles from {first.id} to {last.id}", file=sys.stderr)
    print("Now put in the true volumes and places of your bottles.", file=sys.stderr)
    for said in gauge_sentences(rig):
        print(said, file=sys.stderr)
    return int(ExitCode.FINE)


def _answers(args: argparse.Namespace, ask: _Asker) -> Answers:
    from rounds.rigs.rigmaker import Answers, read_numbers, read_range

    stem = Path(args.rig).stem
    name = stem if stem.isprintable() and 0 < len(stem) <= 60 else "My rig"
    low, high = ask("Lowest and highest note", args.range, "C4-A5", read_range)
    return Answers(
        name=ask("Name of the rig", args.name, name, _read_name),
        low=low,
        high=high,
        scale=ask("Scale, white or chromatic", args.scale, "white", _read_scale),
        volumes_ml=ask("Volumes in mL: bass, middle, top", args.volumes, "2000,1250,600", _read_volumes),
        barrels_ml=ask(
            "Barrel of each pump in mL",
            args.pumps,
            "160",
            lambda t: read_numbers(t, 5, 2000, "mL", (1, 2, 3)),
        ),
        reference_hz=ask("A4 in Hz", args.reference, "440", lambda t: read_numbers(t, 380, 480, "Hz", (1,)))[
            0
        ],
    )


def _read_name(text: str) -> str:
    if not text.strip() or not text.isprintable() or len(text) > 60:
        raise BadInput(f"{text[:60]!r} cannot be a name; give 1 to 60 printable characters")
    return text.strip()


def _read_scale(text: str) -> str:
    from rounds.rigs.rigmaker import SCALES

    if text not in SCALES:
        raise BadInput(f"{text!r} is no scale here; give {' or '.join(SCALES)}")
    return text


def _read_volumes(text: str) -> tuple[float, float, float]:
    from rounds.rigs.rigmaker import read_numbers

    values = read_numbers(text, 50, 6000, "mL", (1, 3))
    return (values[0], values[-1] if len(values) == 1 else values[1], values[-1])


class _Asker:
    """Takes an option, or asks on the terminal, or takes the default."""

    def __init__(self, *, interactive: bool) -> None:
        self.interactive = interactive

    def __call__(self, question: str, given: str | None, default: str, read: Callable[[str], _T]) -> _T:
        if given is not None or not self.interactive:
            return read(default if given is None else given)
        for _ in range(_MOST_TRIES):
            print(f"{question} [{default}]: ", end="", file=sys.stderr, flush=True)
            answer = sys.stdin.readline()
            if not answer:
                raise BadInput("the answers ended early; nothing was written")
            try:
                return read(answer.strip() or default)
            except BadInput as error:
                print(f"  {error}", file=sys.stderr)
        raise BadInput(f"no usable answer to {question!r} in {_MOST_TRIES} tries; nothing was written")
