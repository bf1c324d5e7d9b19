"""`rounds hear`: read the strikes of recordings."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from rounds.errors import BadInput, ExitCode
from rounds.recognising.odds import FIRST_FILL_CENTS
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import argparse

    from rounds.hearing.reading import Expectation, Reading


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "hear",
        help="read the strikes in recordings",
        description="Measure every strike in WAV files (FLAC and OGG where soundfile is installed).",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="a recording")
    parser.add_argument("--target", metavar="NOTE|HZ", help="the pitch aimed at, such as F#5 or 523.25")
    parser.add_argument("--rig", metavar="RIG", help="rig file, to take the target from")
    parser.add_argument("--bottle", metavar="ID", help="the bottle of the rig that is struck")
    parser.add_argument(
        "--first-fill", action="store_true", help="look up to 700 cents either side of the target"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read every file; a file that cannot be read is named on stderr and makes the exit code 2."""
    expectation = _expectation(args)
    heard, failed = [], False
    for path in args.files:
        try:
            heard.append(_hear(path, expectation))
        except BadInput as error:
            print(f"rounds hear: {plain(error)}", file=sys.stderr)
            failed = True
    if args.json:
        print(json.dumps({"files": [_document(file) for file in heard]}, allow_nan=False))
    else:
        _print_table(heard)
    return int(ExitCode.USAGE if failed else ExitCode.FINE)


def _expectation(args: argparse.Namespace) -> Expectation:
    from rounds.hearing.reading import Expectation

    if bool(args.rig) != bool(args.bottle):
        raise BadInput("--rig and --bottle go together; give both, or --target alone.")
    if args.rig:
        if args.target:
            raise BadInput("--target and --bottle both name a target; give one of them.")
        return _widened(_expectation_from_rig(args.rig, args.bottle), args.first_fill)
    if args.target:
        return _widened(Expectation(target_hz=_target_hz(args.target)), args.first_fill)
    if args.first_fill:
        raise BadInput("--first-fill needs a target; add --target, or --rig and --bottle.")
    return Expectation()


def _widened(expectation: Expectation, first_fill: bool) -> Expectation:
    return replace(expectation, half_width_cents=FIRST_FILL_CENTS) if first_fill else expectation


def _expectation_from_rig(path: str, bottle_id: str) -> Expectation:
    from rounds.hearing.reading import Expectation
    from rounds.rigs.rigfile import load_rig

    rig = load_rig(path)
    if not rig.has_bottle(bottle_id):
        raise BadInput(
            f"{path}: there is no bottle {bottle_id!r}; the rig has {', '.join(b.id for b in rig.by_pitch)}."
        )
    others = tuple(rig.target_hz(b.id) for b in rig.bottles if b.id != bottle_id)
    return Expectation(target_hz=rig.target_hz(bottle_id), others_hz=others)


def _target_hz(text: str) -> float:
    from rounds.notes import parse_pitch_hz

    try:
        hz = parse_pitch_hz(text)
    except ValueError as error:
        raise BadInput(f"--target: {error}.") from error
    if not 20.0 <= hz <= 5000.0:
        raise BadInput(f"--target: {text} is not between 20 and 5000 Hz.")
    return hz


@dataclass(frozen=True)
class _Heard:
    """One recording and its strikes."""

    path: str
    sample_rate_hz: int
    readings: list[Reading]


def _hear(path: str, expectation: Expectation) -> _Heard:
    from rounds.hearing.recording import strikes
    from rounds.hearing.sources import open_recording

    source = open_recording(path)
    try:
        if source.cut_short:
            print(f"rounds hear: {plain(path)}: cut short; read as far as it goes.", file=sys.stderr)
        readings = list(strikes(source, expectation))
    finally:
        source.close()
    return _Heard(path, source.sample_rate_hz, readings)


def _document(file: _Heard) -> dict[str, Any]:
    rows = [_row(reading) for reading in file.readings]
    return {"file": file.path, "sample_rate_hz": file.sample_rate_hz, "strikes": rows}


def _row(reading: Reading) -> dict[str, Any]:
    from rounds.notes import nearest_note

    return {
        "at_s": round(reading.at_s, 4),
        "hz": _rounded(reading.hz, 4),
        "cents": _rounded(reading.cents, 3),
        "u95_cents": _rounded(reading.u95_cents, 3),
        "note": None if reading.hz is None else nearest_note(reading.hz).name,
        "ring_s": _rounded(reading.ring_s, 3),
        "peak_dbfs": _rounded(reading.peak_dbfs, 1),
        "verdict": reading.verdict,
        "clipped": reading.clipped,
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _print_table(heard: list[_Heard]) -> None:
    """A line a strike; under one that is not clear, what to do about it."""
    for file in heard:
        print(f"{plain(file.path)}: {_count(len(file.readings))}")
        for reading in file.readings:
            print("  " + _line(_row(reading)))
            if reading.advice:
                print(f"{'':13}{reading.advice}")


def _count(number: int) -> str:
    return {0: "no strike heard", 1: "1 strike"}.get(number, f"{number} strikes")


def _line(row: dict[str, Any]) -> str:
    at = f"{row['at_s']:9.3f} s"
    if row["hz"] is None:
        return f"{at}  {row['verdict']}"
    off = "" if row["cents"] is None else f"  {row['cents']:+8.2f} cents"
    ring = "" if row["ring_s"] is None else f"  rings {row['ring_s']:.2f} s"
    clip = "  clipped" if row["clipped"] else ""
    sure = f"  ± {row['u95_cents']:.2f}"
    return f"{at}  {row['hz']:9.3f} Hz  {row['note']:<3}{off}{sure}  {row['verdict']}{ring}{clip}"
