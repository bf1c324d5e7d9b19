"""`rounds check`: which microphones there are, and whether this one will do, in plain words."""

from __future__ import annotations

import json
import sys
import time
from typing import TYPE_CHECKING, Any

from rounds.errors import BadInput, ExitCode
from rounds.starting import options

if TYPE_CHECKING:
    import argparse

    from rounds.hearing.reading import Reading


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "check",
        help="check the microphone",
        description="List the microphones, listen to one for a few seconds, and say whether it will do.",
    )
    parser.add_argument("--device", metavar="NAME|NUMBER", help="which microphone (default: the system's)")
    parser.add_argument(
        "--seconds", type=options.number("seconds"), default=6.0, help="how long to listen (default 6)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Listen, measure, and print whether the microphone will do."""
    import tempfile
    from pathlib import Path

    from rounds.files.places import state_folder
    from rounds.hearing.placing import PLACING, Placing, keep
    from rounds.hearing.quiet import c_noise_to

    if not 1.0 <= args.seconds <= 600.0:
        raise BadInput(f"--seconds: {args.seconds:g} is not between 1 and 600.")
    with tempfile.TemporaryDirectory() as folder, c_noise_to(Path(folder) / "audio.log"):
        document = _listen(args.device, args.seconds, quietly=args.json)
    print(json.dumps(document, allow_nan=False) if args.json else _sentences(document))
    keep(state_folder() / PLACING, Placing(document["device"], document["placing"], document["says"][0]))
    return int(ExitCode.AUDIO if document["dead"] else ExitCode.FINE)


def _listen(device: str | None, seconds: float, *, quietly: bool) -> dict[str, Any]:
    from rounds.hearing.microphone import Microphone, input_devices
    from rounds.hearing.soundcheck import SoundCheck

    microphone = Microphone(device)
    try:
        devices = input_devices()
        if not quietly:
            print(_devices(devices, microphone.device.index), file=sys.stderr)
            print(
                f"Listening for {seconds:g} s. Be still for a second, then strike a bottle three times.",
                file=sys.stderr,
            )
        check = SoundCheck(microphone.sample_rate_hz)
        end_s = time.monotonic() + seconds
        for block in microphone.blocks():
            check.feed(block)
            if time.monotonic() >= end_s:
                break
    finally:
        microphone.close()
    return {
        "devices": [{"number": d.index, "name": d.name, "default": d.is_default} for d in devices],
        "device": microphone.device.name,
        "sample_rate_hz": microphone.sample_rate_hz,
        **check.figures(),
        "strikes": [_row(r) for r in check.readings],
        "placing": check.placing()[0],
        "dead": check.dead,
        "says": check.says(),
    }


def _row(reading: Reading) -> dict[str, Any]:
    return {"hz": reading.hz, "u95_cents": reading.u95_cents, "verdict": reading.verdict}


def _devices(devices: list[Any], chosen: int) -> str:
    rows = [f" {'>' if d.index == chosen else ' '} {d.index:2d}  {d.name} ({d.channels} in)" for d in devices]
    return "\n".join(["Microphones:", *rows])


def _sentences(document: dict[str, Any]) -> str:
    return "\n".join(
        [
            f"Microphone   {document['device']}, {document['sample_rate_hz']} Hz",
            f"Noise floor  {document['noise_floor_dbfs']:.0f} dBFS",
            f"Loudest      {document['peak_dbfs']:.0f} dBFS",
            f"Strikes      {len(document['strikes'])}",
            *document["says"],
        ]
    )
