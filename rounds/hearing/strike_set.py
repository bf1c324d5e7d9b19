"""A set of strikes that can be given away: one WAV a bottle and pressure, and a table of what they are.

No real bottle under pressure was ever published as sound with its pressure beside it, so the table asks for
all that a stranger needs to make sense of one: bottle, size, make, gauge, air, microphone. A WAV has 24
bits and nothing done to it. A table that is there already is gone on with.
"""

from __future__ import annotations

import csv
import datetime
import io
import statistics
import wave
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds.air import kpa_to_psi
from rounds.errors import BadInput, RoundsError
from rounds.files.places import make_folder
from rounds.files.whole import ANYBODYS_FILE, written_whole

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from rounds.hearing.reading import Reading

TABLE = "strikes.csv"
COLUMNS = (
    "file", "at", "bottle", "note", "volume_ml", "make", "gauge_psi", "temp_c", "microphone",
    "sample_rate_hz", "strikes", "clear", "hz", "u95_cents",
)  # fmt: skip
MOST_BYTES = 4_000_000
_LARGEST = 2**23 - 1


@dataclass(frozen=True)
class Told:
    """What the player says of the bottle that is struck; None: not known."""

    bottle: str
    note: str | None = None
    volume_ml: float | None = None
    make: str | None = None
    gauge_kpa: float | None = None
    temp_c: float | None = None
    microphone: str = ""


def add(
    folder: Path,
    told: Told,
    sound: NDArray[np.float32],
    rate_hz: int,
    readings: Sequence[Reading],
    at_s: float,
) -> Path:
    """Write the sound of some strikes and their line of the table; the name of the WAV.

    Args:
        folder: where the set is, made if it is not there.
        told: what the player says.
        sound: all that was heard, mono, -1 to 1.
        rate_hz: its sample rate.
        readings: the strikes found in it.
        at_s: when, UTC epoch seconds.

    Raises:
        BadInput: the table there is none of ours.
        RoundsError: it cannot be written.
    """
    rows = _rows(folder / TABLE)
    moment = datetime.datetime.fromtimestamp(at_s, datetime.UTC)
    psi = "" if told.gauge_kpa is None else f"_{kpa_to_psi(told.gauge_kpa):.0f}psi"
    name = f"{_safe(told.bottle)}{psi}_{moment:%Y%m%dT%H%M%SZ}.wav"
    try:
        make_folder(folder)
        _write_wav(folder / name, sound, rate_hz)
        _write_table(folder / TABLE, [*rows, _row(name, told, rate_hz, readings, moment)])
    except FileExistsError as error:
        raise RoundsError(f"{folder / name} is there already; wait a second and strike again") from error
    except OSError as error:
        raise RoundsError(f"{folder}: no strikes can be kept there ({error.strerror})") from error
    return folder / name


def _row(
    name: str, told: Told, rate_hz: int, readings: Sequence[Reading], moment: datetime.datetime
) -> dict[str, str]:
    clear = [r for r in readings if r.verdict == "clear" and r.hz is not None and r.u95_cents is not None]
    values = {
        "file": name,
        "at": f"{moment:%Y-%m-%dT%H:%M:%SZ}",
        "bottle": told.bottle,
        "note": told.note,
        "volume_ml": told.volume_ml,
        "make": told.make,
        "gauge_psi": None if told.gauge_kpa is None else round(kpa_to_psi(told.gauge_kpa), 1),
        "temp_c": told.temp_c,
        "microphone": told.microphone,
        "sample_rate_hz": rate_hz,
        "strikes": len(readings),
        "clear": len(clear),
        "hz": round(statistics.median(r.hz or 0.0 for r in clear), 3) if clear else None,
        "u95_cents": round(statistics.median(r.u95_cents or 0.0 for r in clear), 2) if clear else None,
    }
    return {column: _cell(values[column]) for column in COLUMNS}


def _cell(value: object) -> str:
    """A value as text; no text that a spreadsheet takes for a formula."""
    text = "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return (
        f"'{text}"
        if text.startswith(("=", "+", "-", "@", "\t")) and not isinstance(value, float | int)
        else text
    )


def _rows(table: Path) -> list[dict[str, str]]:
    """The lines of a table of ours that is there already."""
    if not table.exists():
        return []
    try:
        if table.stat().st_size > MOST_BYTES:
            raise BadInput(f"{table} is larger than {MOST_BYTES // 1_000_000} MB; name another folder")
        reader = csv.DictReader(io.StringIO(table.read_text(encoding="utf-8")))
        rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{table} cannot be read; name another folder") from error
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise BadInput(f"{table} is no table of strikes of this program; name another folder")
    return rows


def _write_table(table: Path, rows: Sequence[dict[str, str]]) -> None:
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    with written_whole(table, replace=True, permissions=ANYBODYS_FILE) as raw:
        raw.write(out.getvalue().encode())


def _write_wav(path: Path, sound: NDArray[np.float32], rate_hz: int) -> None:
    whole = np.round(np.clip(sound, -1.0, 1.0) * _LARGEST).astype("<i4")
    data = whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    with (
        written_whole(path, replace=False, permissions=ANYBODYS_FILE) as raw,
        wave.open(raw, "wb") as file,
    ):
        file.setnchannels(1)
        file.setsampwidth(3)
        file.setframerate(rate_hz)
        file.writeframes(data)


def _safe(text: str) -> str:
    return "".join(c if c.isalnum() or c in "#-" else "-" for c in text)[:24]
