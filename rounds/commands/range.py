"""`rounds range`: what each note of a wanted range needs, and which bottle of the shelf fits where."""

from __future__ import annotations

import itertools
import json
import sys
from typing import TYPE_CHECKING, Any

from rounds.errors import BadInput, ExitCode
from rounds.starting import options

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from rounds.notes import Note
    from rounds.workshop.fit import ShelfPlan
    from rounds.workshop.range import Need

CAUTION = (
    "Pressures are common practice, no source: pump slowly, eyes covered, never lean over a cap; "
    "read docs/safety.md, and let a competent person decide."
)
STANDING_WORDS = {
    "reliable": "reliable",
    "drifts": "drifts",
    "hard_to_hold": "hard to hold",
    "too_high": "out of reach",
    "too_low": "out of reach",
}
_DESCRIPTION = """\
For every note: the usual size of bottle, its pressure, and whether it holds. With a shelf file
(docs/workshop.md) also which of your bottles plays what, solved exactly."""


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "range", help="volume and pressure for each note; bottles of a shelf", description=_DESCRIPTION
    )
    parser.add_argument("notes", metavar="NOTES", help="what is wanted: C3-G6, or C4,E4,G4, or a mixture")
    parser.add_argument("--naturals", action="store_true", help="leave the sharps out of C3-G6 and the like")
    parser.add_argument("--shelf", metavar="FILE", help="the bottles you have (TOML)")
    parser.add_argument(
        "--barrel-ml",
        type=options.number("millilitres"),
        default=100.0,
        metavar="ML",
        help="barrel of the pump (default 100 mL)",
    )
    parser.add_argument(
        "--a4-hz",
        type=options.number("hertz"),
        default=440.0,
        metavar="HZ",
        help="reference (default 440 Hz)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the needs of the notes; with a shelf, the assignment."""
    from rounds.workshop.range import usual_need

    notes = _notes(args)
    print(CAUTION, file=sys.stderr)
    if args.shelf:
        return _run_shelf(args, notes)
    needs = [usual_need(n, barrel_ml=args.barrel_ml, a4_hz=args.a4_hz) for n in notes]
    if args.json:
        print(json.dumps(_head(args) | {"notes": [_need_fields(n) for n in needs]}, allow_nan=False))
    else:
        print("\n".join([*_table(needs), *_reaches(args.barrel_ml)]))
    return int(ExitCode.FINE)


def _run_shelf(args: argparse.Namespace, notes: tuple[Note, ...]) -> int:
    from rounds.workshop.fit import fit_shelf
    from rounds.workshop.shelf import load_shelf

    plan = fit_shelf(notes, load_shelf(args.shelf), barrel_ml=args.barrel_ml, a4_hz=args.a4_hz)
    if args.json:
        print(json.dumps(_head(args) | _plan_fields(plan), allow_nan=False))
    else:
        print("\n".join([*_plan_table(plan), *_plan_talk(plan)]))
    return int(ExitCode.FINE)


def _notes(args: argparse.Namespace) -> tuple[Note, ...]:
    from rounds.workshop.range import parse_notes

    for name, value, low, high in (
        ("--barrel-ml", args.barrel_ml, 5.0, 5000.0),
        ("--a4-hz", args.a4_hz, 380.0, 500.0),
    ):
        if not low <= value <= high:
            raise BadInput(f"{name}: {value:g} is not between {low:g} and {high:g}.")
    try:
        notes = parse_notes(args.notes, naturals_only=args.naturals)
    except ValueError as error:
        raise BadInput(f"{error}; write a range such as C3-G6, or notes such as C4,E4,G4.") from error
    if not notes:
        raise BadInput(f"{args.notes!r} holds no note; leave --naturals out, or name a range such as C3-G6.")
    return notes


def _head(args: argparse.Namespace) -> dict[str, Any]:
    return {"a4_hz": args.a4_hz, "barrel_ml": args.barrel_ml}


def _need_fields(need: Need) -> dict[str, Any]:
    from rounds.air import kpa_to_psi

    psi = None if need.gauge_kpa is None else kpa_to_psi(need.gauge_kpa)
    return {
        "note": need.note.name,
        "hz": round(need.hz, 3),
        "volume_ml": need.volume_ml,
        "gauge_kpa": _rounded(need.gauge_kpa),
        "gauge_psi": _rounded(psi),
        "strokes": _rounded(need.strokes),
        "cents_per_kelvin": _rounded(need.cents_per_kelvin),
        "cents_per_stroke": _rounded(need.cents_per_stroke),
        "standing": need.standing,
        "why": need.why,
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _plan_fields(plan: ShelfPlan) -> dict[str, Any]:
    rows = [{**_need_fields(f.need), "bottle": f.line.id if f.line else None} for f in plan.fits]
    return {
        "notes": rows,
        "unfilled": [n.name for n in plan.unfilled],
        "left_over": plan.left_over,
    }


_HEADING = "note       Hz    mL   psi   bar strokes c/°C c/stroke  holds"


_LEGEND = (
    "Strokes from empty; cents for a degree (c/°C) and for a full stroke (c/stroke).\n"
    "Pressures are guesses until a bottle of the make was heard."
)


def _table(needs: Sequence[Need]) -> list[str]:
    return [_HEADING, *(_line(n) for n in needs), _LEGEND, *_reasons(needs)]


def _reaches(barrel_ml: float) -> list[str]:
    """What each usual size can play between C3 and G6, and where it holds best."""
    from rounds.workshop.range import USUAL_VOLUME_ML, parse_notes, reach_of

    lines = []
    for volume_ml in USUAL_VOLUME_ML.values():
        needs = reach_of(volume_ml, parse_notes("C3-G6"), barrel_ml=barrel_ml)
        best = [n.note.name for n in needs if n.standing == "reliable"]
        reliable = f", reliable from {best[0]} to {best[-1]}" if best else ""
        lines.append(f"{volume_ml:.0f} mL can play {needs[0].note.name} to {needs[-1].note.name}{reliable}.")
    return lines


def _line(need: Need) -> str:
    from rounds.air import KPA_PER_BAR, kpa_to_psi

    start = f"{need.note.name:<4}{need.hz:9.2f}{need.volume_ml:6.0f}"
    word = STANDING_WORDS[need.standing]
    if need.gauge_kpa is None:
        return f"{start}{'–':>6}{'–':>6}{'–':>8}{'–':>5}{'–':>9}  {word}"
    psi, bar = kpa_to_psi(need.gauge_kpa), need.gauge_kpa / KPA_PER_BAR
    return (
        f"{start}{psi:6.0f}{bar:6.1f}{need.strokes:8.0f}{need.cents_per_kelvin:5.1f}"
        f"{need.cents_per_stroke:9.0f}  {word}"
    )


def _reasons(needs: Sequence[Need]) -> list[str]:
    """Why notes lie beyond the reliable range, neighbours with one reason on one line."""
    lines: list[str] = []
    for why, group in itertools.groupby(needs, key=lambda n: n.why):
        notes = [n.note.name for n in group]
        span = notes[0] if len(notes) == 1 else f"{notes[0]} to {notes[-1]}"
        if why:
            lines.append(f"{span}: {why}.")
    return lines


def _plan_table(plan: ShelfPlan) -> list[str]:
    from rounds.wording.printable import plain

    rows = [f"{plain(f.line.id, 16) if f.line else '(none)':<17}{_line(f.need)}" for f in plan.fits]
    return [f"{'bottle':<17}{_HEADING}", *rows, _LEGEND, *_reasons([f.need for f in plan.fits])]


def _plan_talk(plan: ShelfPlan) -> list[str]:
    from rounds.wording.printable import plain

    left = ", ".join(f"{count} × {plain(name, 40)}" for name, count in plan.left_over.items() if count)
    lines = [f"Left on the shelf: {left or 'nothing'}."]
    if plan.unfilled:
        names = ", ".join(n.name for n in plan.unfilled)
        lines.append(f"No bottle for {names}; their lines show what the usual bottle would need.")
    return lines
