"""Read and write the rig's TOML file.

Everything wrong is told at once (see `rounds.files.problems`), so the first fault does not end the
reading; only a file that is no TOML at all does.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomli_w

from rounds.air import kpa_to_psi
from rounds.errors import BadRig, RoundsError
from rounds.files.problems import Problems, Table, shown
from rounds.files.tomltext import parse_toml, read_toml
from rounds.files.whole import ANYBODYS_FILE, written_whole
from rounds.rig import Rig
from rounds.rigs.pieces import BACKING_TRACK, read_piece
from rounds.rigs.rigtables import read_bottles, read_habits, read_pump, read_reference, read_spares

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable

    from rounds.air import PressureUnit
    from rounds.rig import Bottle, Piece, Pump, Reference

WHAT = "rig file"
MOST_BOTTLES = 500
_SECTIONS = ("rig", "pump", "bottle", "spare", "piece")


def load_rig(path: str | os.PathLike[str], gauge_unit: PressureUnit = "psi") -> Rig:
    """Read and check a rig file; `gauge_unit` is that of pumps which name none.

    Raises:
        BadRig: the file cannot be read or has problems; all of them are listed.
    """
    where = Path(path)
    tables = read_toml(where, WHAT, mend="check its name, or make one: rounds new")
    return _checked(tables, str(where), where.parent, gauge_unit)


def parse_rig(text: str, path: str = "rig", folder: Path | None = None) -> Rig:
    """Check the text of a rig file; `folder` is where its MIDI files lie.

    Raises:
        BadRig: it has problems; all of them are listed.
    """
    return _checked(parse_toml(text, path, WHAT), path, folder or Path())


def _checked(tables: dict[str, Any], path: str, folder: Path, gauge_unit: PressureUnit = "psi") -> Rig:
    problems = Problems()
    rig = _read_rig(tables, problems, folder, Path(path).stem or "rig", gauge_unit)
    if problems.found:
        raise BadRig(path, problems.found)
    return rig


def _read_rig(
    data: dict[str, Any], problems: Problems, folder: Path, stem: str, gauge_unit: PressureUnit
) -> Rig:
    top = Table(data, "top level", problems, set(_SECTIONS))
    top.finish()
    head = _head(data, problems)
    pumps = [read_pump(t, gauge_unit) for t in _tables(data, "pump", problems)]
    bottles = [b for b in read_bottles(_tables(data, "bottle", problems), pumps) if b]
    spares = [b for b in read_spares(_tables(data, "spare", problems, least=0), pumps) if b]
    pieces = [read_piece(t, folder) for t in _tables(data, "piece", problems, least=0)]
    _report_twins("[[pump]]", "id", [p.id for p in pumps], problems)
    _report_twins("[[bottle]]", "id", [b.id for b in bottles], problems)
    _report_twins("[[spare]]", "id", _twins_of(bottles, spares), problems)
    _report_twins("[[piece]]", "name", [p.name for p in pieces], problems)
    rig = Rig(
        name=head.text("name", stem if stem.isprintable() else "rig"),
        bottles=tuple(bottles),
        pumps=tuple(pumps),
        pieces=tuple(pieces),
        reference=read_reference(head),
        habits=read_habits(head),
        spares=tuple(spares),
    )
    head.finish()
    return rig


def _head(data: dict[str, Any], problems: Problems) -> Table:
    value = data.get("rig", {})
    if not isinstance(value, dict):
        problems.add("[rig]", f"found {shown(value)}", "a table: [rig] on a line of its own, its keys below")
        value = {}
    return Table(value, "[rig]", problems)


def _tables(data: dict[str, Any], key: str, problems: Problems, least: int = 1) -> list[Table]:
    value = data.get(key, [])
    entries = value if isinstance(value, list) and all(isinstance(v, dict) for v in value) else None
    if entries is None or not least <= len(entries) <= MOST_BOTTLES:
        what = f"found {len(entries)}" if entries is not None else f"found {shown(value)}"
        problems.add(f"[[{key}]]", what, f"{least} to {MOST_BOTTLES} tables, each under a line [[{key}]]")
        return []
    return [Table(v, f"[[{key}]] {i}{_label(v)}", problems) for i, v in enumerate(entries, 1)]


def _label(values: dict[str, Any]) -> str:
    name = next((values[k] for k in ("id", "name", "note") if isinstance(values.get(k), str)), None)
    return f" ({shown(name)[1:-1]})" if name else ""


def _twins_of(bottles: list[Bottle], spares: list[Bottle]) -> list[str]:
    """The ids of the spares, those that a bottle has twice."""
    taken = {b.id for b in bottles}
    return [s.id for s in spares for _ in range(2 if s.id in taken else 1)]


def _report_twins(place: str, key: str, names: Iterable[str], problems: Problems) -> None:
    seen: set[str] = set()
    for name in names:
        if name and name in seen:
            problems.add(f"{place} {key}", f"found {shown(name)} twice", f"each {key} once")
        seen.add(name)


def rig_to_dict(rig: Rig) -> dict[str, Any]:
    """The rig as the tables of its file; `parse_rig` of them gives the same rig back."""
    data: dict[str, Any] = {
        "rig": {"name": rig.name, **_reference_keys(rig.reference), **_habit_keys(rig)},
        "pump": [_pump_keys(p) for p in rig.pumps],
        "bottle": [_bottle_keys(b) for b in rig.bottles],
    }
    if rig.spares:
        spares = [_bottle_keys(b) for b in rig.spares]
        data["spare"] = [
            {k: v for k, v in keys.items() if k not in ("rail", "position_cm")} for keys in spares
        ]
    if rig.pieces:
        data["piece"] = [_piece_keys(p) for p in rig.pieces]
    return data


def rig_to_toml(rig: Rig, heading: str = "") -> str:
    """The text of a rig file; each line of `heading` becomes a comment on top."""
    data = rig_to_dict(rig)
    parts = ["".join(f"# {line}".rstrip() + "\n" for line in heading.splitlines())]
    parts.append("[rig]\n" + tomli_w.dumps(data.pop("rig")))
    # Table by table, since tomli_w would write short ones on one line.
    parts += [f"[[{key}]]\n{tomli_w.dumps(table)}" for key, tables in data.items() for table in tables]
    return "\n".join(part for part in parts if part)


def save_rig(rig: Rig, path: str | os.PathLike[str], *, heading: str = "", force: bool = False) -> None:
    """Write a rig file; an existing file is left alone unless forced.

    Raises:
        RoundsError: the file exists, or cannot be written.
    """
    where = Path(path)
    try:
        with written_whole(where, replace=force, permissions=ANYBODYS_FILE) as file:
            file.write(rig_to_toml(rig, heading).encode())
    except FileExistsError as error:
        raise RoundsError(
            f"{where} exists and was left as it is; choose another name or add --force."
        ) from error
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RoundsError(f"{where} cannot be written ({why}); choose another place.") from error


def _psi(gauge_kpa: float) -> float:
    return round(kpa_to_psi(gauge_kpa), 9)


def _reference_keys(reference: Reference) -> dict[str, Any]:
    keys: dict[str, Any] = {"reference_hz": reference.a4_hz}
    if reference.floating:
        keys["reference"] = "floating"
        keys["limits_cents"] = [reference.low_cents, reference.high_cents]
    return keys


def _habit_keys(rig: Rig) -> dict[str, Any]:
    return {k: v for k, v in dataclasses.asdict(rig.habits).items() if v is not None}


def _pump_keys(pump: Pump) -> dict[str, Any]:
    keys = {
        "id": pump.id,
        "kind": pump.kind,
        "barrel_ml": pump.barrel_ml,
        "release_valve": pump.release_valve,
        "max_psi": _psi(pump.max_gauge_kpa),
        "setup_s": pump.setup_s,
        "gauge": pump.gauge,
        "gauge_unit": pump.gauge_unit,
        "gauge_span_psi": None if pump.gauge_span_kpa is None else _psi(pump.gauge_span_kpa),
    }
    return {key: value for key, value in keys.items() if value is not None}


def _bottle_keys(bottle: Bottle) -> dict[str, Any]:
    keys: dict[str, Any] = {
        "id": bottle.id,
        "note": bottle.note.name,
        "volume_ml": bottle.volume_ml,
        "rail": bottle.rail,
        "position_cm": bottle.position_cm,
        "pump": bottle.pump,
        "tolerance_cents": bottle.tolerance_cents,
        "ceiling_psi": _psi(bottle.ceiling_kpa),
        "caution_psi": _psi(bottle.caution_kpa),
        "group": bottle.group,
    }
    return keys if bottle.cap_fitted is None else {**keys, "cap_fitted": bottle.cap_fitted}


def _piece_keys(piece: Piece) -> dict[str, Any]:
    keys: dict[str, Any] = {"name": piece.name, "notes": [n.name for n in piece.notes]}
    exposed = [n.name for n, weight in piece.weights.items() if weight > 1.0]
    if exposed:
        keys["exposed"] = exposed
    if piece.fixed_by:
        track = piece.fixed_by.startswith(BACKING_TRACK)
        key = "backing_track" if track else "fixed_pitch"
        keys[key] = piece.fixed_by.removeprefix(BACKING_TRACK)
    return keys
