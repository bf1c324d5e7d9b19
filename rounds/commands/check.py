"""`rounds check`: which microphones there are, and whether this one will do, in plain words."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rounds.errors import BadInput, ExitCode, RoundsError
from rounds.starting import options

if TYPE_CHECKING:
    import argparse

    import numpy as np
    from numpy.typing import NDArray

    from rounds.hearing.reading import Reading
    from rounds.hearing.sources import Source
    from rounds.hearing.strike_set import Told

NONE = "none"
"""Typed where there is no gauge or no thermometer."""


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
    parser.add_argument(
        "--from", dest="recording", metavar="FILE", help="a recording in place of a microphone"
    )
    kept = parser.add_argument_group(
        "to keep a set of strikes that you can share",
        "One WAV a bottle and pressure, and one table of what they are. Read the gauge, take the pump off, "
        "strike five times.",
    )
    kept.add_argument("--keep", metavar="FOLDER", help="keep what is heard in this folder")
    kept.add_argument("--bottle", metavar="ID", help="which bottle is struck: of the rig, or any name")
    kept.add_argument("--gauge", metavar="PRESSURE", help="what its gauge reads: 35 psi, 2.4 bar, or none")
    kept.add_argument("--temp", metavar="C", help="air temperature in degrees Celsius, or none")
    kept.add_argument("--make", metavar="TEXT", help="what bottle it is: size, make, shape")
    options.add_rig(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Listen, measure, and print whether the microphone will do; keep the strikes where asked."""
    import tempfile

    from rounds.files.places import state_folder
    from rounds.hearing.placing import PLACING, Placing, keep
    from rounds.hearing.quiet import c_noise_to

    if not 1.0 <= args.seconds <= 600.0:
        raise BadInput(f"--seconds: {args.seconds:g} is not between 1 and 600.")
    told = _told(args)
    with tempfile.TemporaryDirectory() as folder, c_noise_to(Path(folder) / "audio.log"):
        heard = _listen(args)
    document = heard.document
    if told is not None:
        document["kept"] = _keep_set(Path(args.keep), replace(told, microphone=document["device"]), heard)
    print(json.dumps(document, allow_nan=False) if args.json else _sentences(document))
    if args.recording is None:
        keep(state_folder() / PLACING, Placing(document["device"], document["placing"], document["says"][0]))
    return int(ExitCode.AUDIO if document["dead"] else ExitCode.FINE)


def _told(args: argparse.Namespace) -> Told | None:
    """What is said of the bottle whose strikes are kept; None where none are."""
    from rounds.air import LEAST_AIR_C, MOST_AIR_C, parse_pressure
    from rounds.faces import typed
    from rounds.hearing.strike_set import Told

    if args.keep is None:
        return None
    for name, example in (("bottle", "C4"), ("gauge", '"35 psi", or none'), ("temp", "21, or none")):
        if getattr(args, name) is None:
            raise BadInput(f"--keep needs --{name} too, as in --{name} {example}")
    if not args.bottle.strip() or not args.bottle.isprintable():
        raise BadInput("--bottle: give a name of printable characters")
    try:
        gauge_kpa = None if args.gauge == NONE else parse_pressure(args.gauge)
    except ValueError as error:
        raise BadInput(f"--gauge: {error}, or {NONE}") from error
    temp_c = None if args.temp == NONE else typed.number(args.temp, "--temp", LEAST_AIR_C, MOST_AIR_C)
    told = Told(args.bottle, make=args.make, gauge_kpa=gauge_kpa, temp_c=temp_c)
    if not options.rig_named(args):
        return told
    rig = options.load(args)
    of_rig = rig.bottle(typed.bottle_or_spare(args.bottle, rig))
    return replace(told, bottle=of_rig.id, note=of_rig.note.name, volume_ml=of_rig.volume_ml)


def _keep_set(folder: Path, told: Told, heard: _Heard) -> str:
    import numpy as np

    from rounds.hearing.strike_set import add

    if not any(strike["verdict"] == "clear" for strike in heard.document["strikes"]):
        raise RoundsError("no strike was clear, so nothing was kept; strike alone, close to the microphone")
    sound = np.concatenate(heard.blocks)
    return str(add(folder, told, sound, heard.document["sample_rate_hz"], heard.readings, time.time()))


@dataclass(frozen=True)
class _Heard:
    """What a check found, and the sound itself."""

    document: dict[str, Any]
    readings: list[Reading]
    blocks: list[NDArray[np.float32]]


def _listen(args: argparse.Namespace) -> _Heard:
    from rounds.hearing.soundcheck import SoundCheck

    source, device, devices = _opened(args)
    try:
        check, blocks = SoundCheck(source.sample_rate_hz), []
        end_s = time.monotonic() + args.seconds
        for block in source.blocks():
            check.feed(block)
            if args.keep is not None:
                blocks.append(block.copy())
            if args.recording is None and time.monotonic() >= end_s:
                break
        check.flush()
    finally:
        source.close()
    document = {
        "devices": [{"number": d.index, "name": d.name, "default": d.is_default} for d in devices],
        "device": device,
        "sample_rate_hz": source.sample_rate_hz,
        **check.figures(),
        "strikes": [_row(r) for r in check.readings],
        "placing": check.placing()[0],
        "dead": check.dead,
        "says": check.says(),
    }
    return _Heard(document, check.readings, blocks)


def _opened(args: argparse.Namespace) -> tuple[Source, str, list[Any]]:
    """What to listen to, its name, and the microphones there are."""
    if args.recording is not None:
        from rounds.hearing.sources import open_recording

        return open_recording(args.recording), args.recording, []
    from rounds.hearing.microphone import Microphone, input_devices

    microphone = Microphone(args.device)
    devices = input_devices()
    if not args.json:
        print(_devices(devices, microphone.device.index), file=sys.stderr)
        often = "five times" if args.keep is not None else "three times"
        print(
            f"Listening for {args.seconds:g} s. Be still for a second, then strike a bottle {often}.",
            file=sys.stderr,
        )
    return microphone, microphone.device.name, devices


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
            *([f"Kept         {document['kept']}"] if "kept" in document else []),
        ]
    )
