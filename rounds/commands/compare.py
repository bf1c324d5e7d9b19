"""`rounds compare`: two recordings of strikes side by side."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rounds.errors import BadInput, ExitCode, RoundsError

if TYPE_CHECKING:
    import argparse

    from rounds.workshop.compare import Comparison, Contrast, Heard, Interval, Recording

_DESCRIPTION = """\
Set two bottles, caps or mallets side by side: click against ring, ring time, loudness, brightness
and pitch glide, each with its 95 % interval over the strikes of the file. Record both in the same
place, with the same microphone and the same arm. What each number is: docs/workshop.md."""


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "compare", help="two bottles, caps or mallets side by side", description=_DESCRIPTION
    )
    parser.add_argument("a", metavar="A.wav", help="a recording of strikes on one bottle")
    parser.add_argument("b", metavar="B.wav", help="another, recorded the same way")
    parser.add_argument("--target", metavar="NOTE|HZ", help="pitch of both, where it is not found by itself")
    parser.add_argument("--svg", metavar="FILE", help="write the plot as SVG (an existing file is replaced)")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the table and the plot, or one JSON document."""
    from rounds.workshop.compare import compare

    target_hz = _target_hz(args.target) if args.target else None
    comparison = compare(_hear(args.a, target_hz), _hear(args.b, target_hz))
    if args.svg:
        _write_svg(args.svg, comparison)
    if args.json:
        print(json.dumps(_document(comparison), allow_nan=False))
    else:
        print("\n".join(_text(comparison)))
    return int(ExitCode.FINE)


def _target_hz(text: str) -> float:
    from rounds.notes import parse_pitch_hz

    try:
        hz = parse_pitch_hz(text)
    except ValueError as error:
        raise BadInput(f"--target: {error}.") from error
    if not 50.0 <= hz <= 5000.0:
        raise BadInput(f"--target: {hz:g} Hz is not between 50 and 5000 Hz.")
    return hz


def _hear(path: str, target_hz: float | None) -> Heard:
    from rounds.hearing.sources import open_recording
    from rounds.workshop.compare import hear

    source = open_recording(path)
    try:
        return hear(source, path, target_hz)
    finally:
        source.close()


def _write_svg(path: str, comparison: Comparison) -> None:
    from rounds.files.whole import ANYBODYS_FILE, written_whole
    from rounds.workshop.plot import svg_plot

    try:
        with written_whole(Path(path), replace=True, permissions=ANYBODYS_FILE) as out:
            out.write(svg_plot(comparison).encode())
    except OSError as error:
        raise RoundsError(f"{path} cannot be written ({error.strerror}); choose another place.") from error


def _document(comparison: Comparison) -> dict[str, Any]:
    return {
        "a": _recording_fields(comparison.a),
        "b": _recording_fields(comparison.b),
        "confidence": 0.95,
        "click_above_hz": round(comparison.click_above_hz, 1),
        "loudness_measure": "momentary (400 ms from the onset), K-weighted, ITU-R BS.1770-4",
        "measures": {c.measure.field: _contrast_fields(c) for c in comparison.contrasts},
    }


def _recording_fields(recording: Recording) -> dict[str, Any]:
    return {
        "file": recording.name,
        "sample_rate_hz": recording.sample_rate_hz,
        "strikes": len(recording.tones),
        "left_out": recording.left_out,
        "clipped": recording.clipped,
        "hz": round(recording.hz, 3),
        "integrated_lufs": recording.integrated_lufs and round(recording.integrated_lufs, 2),
        "tones": [_rounded(vars(t)) for t in recording.tones],
    }


def _contrast_fields(contrast: Contrast) -> dict[str, Any]:
    return {
        "a": _interval_fields(contrast.a),
        "b": _interval_fields(contrast.b),
        "b_minus_a": _interval_fields(contrast.difference),
        "differs": contrast.differs,
    }


def _interval_fields(interval: Interval | None) -> dict[str, Any] | None:
    return None if interval is None else _rounded(vars(interval))


def _rounded(fields: dict[str, Any]) -> dict[str, Any]:
    return {name: value if value is None else round(value, 4) for name, value in fields.items()}


def _text(comparison: Comparison) -> list[str]:
    from rounds.workshop.plot import text_plot

    heads = [_head("A", comparison.a), _head("B", comparison.b)]
    table = [f"{'':<27}{'A':>15}{'B':>16}{'B - A':>16}", *(_row(c) for c in comparison.contrasts)]
    notes = [
        "± is the 95 % interval of the mean: these strikes, this room, this microphone.",
        f"Click: above {comparison.click_above_hz:.0f} Hz. Loudness: momentary, ITU-R BS.1770-4.",
    ]
    if comparison.a.sample_rate_hz != comparison.b.sample_rate_hz:
        notes.append("Sample rates differ: do not compare click and brightness.")
    return [*heads, "", *table, "", *text_plot(comparison), "", *_findings(comparison), *notes]


def _head(letter: str, recording: Recording) -> str:
    from rounds.notes import cents, nearest_note
    from rounds.wording.printable import plain

    note = nearest_note(recording.hz)
    count = len(recording.tones)
    more = [f"{recording.left_out} left out" if recording.left_out else ""]
    more.append(f"{recording.clipped} clipped: record it less loud" if recording.clipped else "")
    extra = "".join(f", {m}" for m in more if m)
    off = cents(recording.hz, note.hz())
    from rounds.wording.words import counted

    strikes = counted(count, "strike")
    return f"{letter}  {plain(recording.name, 40)}: {strikes}{extra}; {note} {off:+.1f} cents"


def _row(contrast: Contrast) -> str:
    measure = contrast.measure
    cells = [_cell(i, measure.digits) for i in (contrast.a, contrast.b, contrast.difference)]
    label = f"{measure.label}, {measure.unit}"
    return f"{label:<27}{cells[0]:>15}{cells[1]:>16}{cells[2]:>16}"


def _cell(interval: Interval | None, digits: int) -> str:
    if interval is None:
        return "–"
    half = "" if interval.half_width is None else f" ± {interval.half_width:.{digits}f}"
    return f"{round(interval.mean, digits) + 0.0:.{digits}f}{half}"


def _findings(comparison: Comparison) -> list[str]:
    """Which of the two has more of what, and what these strikes do not tell."""
    judged = [c for c in comparison.contrasts if c.difference and c.difference.half_width is not None]
    if not judged:
        return ["One strike says nothing of the spread: record five or more of each."]
    told = [_finding(c) for c in judged if c.differs]
    untold = [c.measure.label for c in judged if not c.differs]
    return [f"{t}." for t in told] + (
        [f"Not told apart by these strikes: {', '.join(untold)}."] if untold else []
    )


def _finding(contrast: Contrast) -> str:
    """`B is louder (by 3.1 dB)`: how much as well, so that the ear may judge whether it matters."""
    assert contrast.difference is not None
    more, measure = contrast.difference.mean > 0.0, contrast.measure
    unit = "dB" if measure.unit == "LUFS" else measure.unit
    size = f"{abs(contrast.difference.mean):.{measure.digits}f} {unit}"
    return f"{'B' if more else 'A'} {measure.higher} (by {size})"
