"""Read the tables of a rig file: one function a table, every key with its limits.

Pressures are in psi in the file, because pump gauges are, and in kPa inside. The limits are what is
physically sensible for drink bottles on rails; a number outside is a slip of the hand.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from rounds.air import DEFAULT_CAUTION_KPA, DEFAULT_CEILING_KPA, KPA_PER, kpa_to_psi, psi_to_kpa
from rounds.files.problems import Table, is_number, near_miss
from rounds.notes import STANDARD_A4_HZ, Note, parse_note
from rounds.rig import (
    GROUPS,
    PUMP_KINDS,
    USUAL_BARREL_ML,
    VISITING,
    Bottle,
    Group,
    Habits,
    Pump,
    Reference,
    group_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rounds.air import PressureUnit
    from rounds.rig import PumpKind, Visiting

LOWEST, HIGHEST = Note(45), Note(98)
"""A2 to D7: the ear listens between 100 and 2500 Hz."""
CEILING_PSI = round(kpa_to_psi(DEFAULT_CEILING_KPA), 6)
CAUTION_PSI = round(kpa_to_psi(DEFAULT_CAUTION_KPA), 6)
_STEP_CM = 12.0
"""Distance between bottles on a rail when the file gives no position."""


def read_reference(head: Table) -> Reference:
    """What `[rig]` says of A4."""
    kind = head.choice("reference", "fixed", ("fixed", "floating"))
    a4_hz = head.number("reference_hz", STANDARD_A4_HZ, 380.0, 480.0, "Hz for A4")
    if kind != "floating":
        if head.has("limits_cents") and head.raw("reference") in (None, "fixed"):
            head.wrong("limits_cents", 'this key only together with reference = "floating"')
        return Reference(a4_hz)
    low, high = _limits(head)
    return Reference(a4_hz, floating=True, low_cents=low, high_cents=high)


def _limits(head: Table) -> tuple[float, float]:
    value = head.raw("limits_cents")
    if is_number(value) and 0 < value <= 100:
        return -float(value), float(value)
    if isinstance(value, list) and len(value) == 2 and all(map(is_number, value)):
        low, high = value
        if -100 <= low <= 0 <= high <= 100 and low < high:
            return float(low), float(high)
    head.wrong("limits_cents", "a number up to 100, or [low, high] with low <= 0 <= high, within 100 cents")
    return 0.0, 0.0


def read_habits(head: Table) -> Habits:
    """How the players work, from `[rig]`."""
    usual = Habits()
    return Habits(
        due_limit=head.number("due_limit", 1.0, 0.1, 50.0, "bottles") if head.has("due_limit") else None,
        visit=cast("Visiting", head.choice("visit", usual.visit, VISITING)),
        quarantine_s=head.number("quarantine_s", usual.quarantine_s, 0.0, 1800.0, "s"),
        block_s=head.number("block_s", usual.block_s, 10.0, 28800.0, "s"),
        strike_s=head.number("strike_s", usual.strike_s, 0.5, 60.0, "s"),
        connect_s=head.number("connect_s", usual.connect_s, 0.5, 120.0, "s"),
        stroke_s=head.number("stroke_s", usual.stroke_s, 0.1, 20.0, "s"),
        thermometer_file=head.optional_text("thermometer_file", 1000),
        thermometer_command=head.optional_text("thermometer_command", 1000),
    )


def read_pump(table: Table, gauge_unit: PressureUnit = "psi") -> Pump:
    """One `[[pump]]` table; `gauge_unit` is its unit where it names none."""
    usual = Pump(id="", barrel_ml=USUAL_BARREL_ML, gauge_unit=gauge_unit)
    kind = cast("PumpKind", table.choice("kind", usual.kind, PUMP_KINDS))
    barrel_ml = usual.barrel_ml if kind == "regulator" else None
    pump = Pump(
        id=table.text("id", longest=24),
        barrel_ml=table.number("barrel_ml", barrel_ml, 5.0, 2000.0, "mL"),
        release_valve=table.flag("release_valve", usual.release_valve),
        max_gauge_kpa=psi_to_kpa(table.number("max_psi", CEILING_PSI, 1.0, 300.0, "psi")),
        setup_s=table.number("setup_s", usual.setup_s, 0.0, 600.0, "s"),
        kind=kind,
        gauge=table.flag("gauge", False) if table.has("gauge") else None,
        gauge_unit=cast("PressureUnit", table.choice("gauge_unit", usual.gauge_unit, tuple(KPA_PER))),
        gauge_span_kpa=_span_kpa(table),
    )
    table.finish()
    return pump


def _span_kpa(table: Table) -> float | None:
    key = "gauge_span_psi"
    return psi_to_kpa(table.number(key, None, 5.0, 1000.0, "psi")) if table.has(key) else None


def read_bottles(tables: list[Table], pumps: list[Pump]) -> Iterator[Bottle | None]:
    """The `[[bottle]]` tables; None for one without a usable note. Positions default to a row."""
    next_cm: dict[int, float] = {}
    ids = [p.id for p in pumps]
    for table in tables:
        rail = table.whole("rail", 1, 0, 50)
        position_cm = table.number("position_cm", next_cm.get(rail, 0.0), -5000.0, 5000.0, "cm")
        next_cm[rail] = position_cm + _STEP_CM
        yield _bottle(table, rail, position_cm, ids)


def read_spares(tables: list[Table], pumps: list[Pump]) -> Iterator[Bottle | None]:
    """The `[[spare]]` tables: bottles that stand by, on no rail."""
    for table in tables:
        yield _bottle(table, 0, 0.0, [p.id for p in pumps])


def _bottle(table: Table, rail: int, position_cm: float, pumps: list[str]) -> Bottle | None:
    note = _note(table)
    ceiling = _ceiling_psi(table)
    caution = table.number("caution_psi", min(CAUTION_PSI, ceiling), 1.0, ceiling, "psi (the ceiling)")
    usual = group_of(note) if note else "middle"
    volume_ml = table.number("volume_ml", None, 50.0, 6000.0, "mL")
    bottle = Bottle(
        id=table.text("id", note.name if note else "?", longest=24),
        note=note or LOWEST,
        volume_ml=volume_ml,
        rail=rail,
        position_cm=position_cm,
        pump=_pump_id(table, pumps),
        tolerance_cents=table.number("tolerance_cents", 10.0, 0.5, 100.0, "cents"),
        ceiling_kpa=psi_to_kpa(ceiling),
        caution_kpa=psi_to_kpa(caution),
        cap_fitted=table.date("cap_fitted"),
        group=cast("Group", table.choice("group", usual, GROUPS)),
    )
    table.finish()
    return bottle if note else None


def _note(table: Table) -> Note | None:
    value = table.raw("note")
    try:
        note = parse_note(value) if isinstance(value, str) else None
    except ValueError:
        note = None
    if note is not None and LOWEST <= note <= HIGHEST:
        return note
    names = (Note(m).name for m in range(LOWEST.midi, HIGHEST.midi + 1))
    allowed = (
        f"a note from {LOWEST} to {HIGHEST} such as C4, F#5 or Bb3 (the ear listens from 100 to 2500 Hz)"
    )
    table.wrong("note", allowed, "" if note else near_miss(value, names))
    return None


def _ceiling_psi(table: Table) -> float:
    value = table.raw("ceiling_psi")
    if is_number(value) and value > CEILING_PSI:
        # Not a matter of taste: nobody rates these bottles, and a typing slip must not lift the limit.
        why = f"up to {CEILING_PSI:g} psi: no drink bottle is rated as a pressure vessel (see docs/safety.md)"
        table.wrong("ceiling_psi", why)
        return CEILING_PSI
    return table.number("ceiling_psi", CEILING_PSI, 1.0, CEILING_PSI, "psi")


def _pump_id(table: Table, pumps: list[str]) -> str:
    value = table.raw("pump")
    if value is None and len(pumps) == 1:
        return pumps[0]
    if pumps and value not in pumps:
        table.wrong(
            "pump", f"the id of a pump in this file ({', '.join(pumps[:10])})", near_miss(value, pumps)
        )
    return str(value) if isinstance(value, str) else ""
