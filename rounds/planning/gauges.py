"""Which bottles cannot be brought to their notes without a gauge, and which dial would do. Pure.

Told at home, from the rig alone: the usual pressure of each note stands for what the bottle needs. What the
round does later hangs on what it learns of each bottle (`rounds.belief.pressure`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.air import (
    ATMOSPHERE_KPA,
    HOTTEST_C,
    ROOM_C,
    WARMER_C,
    celsius_to_kelvin,
    kpa_to_psi,
    played_gauge_kpa,
)
from rounds.rig import DIAL_SD_SHARE, LEAST_DIAL_SD_KPA, READING_SD_KPA, SURE_SD

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.rig import Pump, Rig

COUNTED_SHARE = 2.2
"""Counted strokes may be so many times the pressure they seem: a volume in the rig may be wrong by half."""
STEP_PSI, WIDEST_PSI = 10.0, 160.0
"""Dials are named in steps of this, and none wider than those of floor pumps."""


@dataclass(frozen=True)
class GaugeNeed:
    """A bottle that is refused before its note, as far as its note tells."""

    bottle: str
    pump: str
    need_kpa: float
    limit_kpa: float
    widest_span_kpa: float | None
    """The widest dial that would do; None: none does."""


def cool_limit_kpa(rig: Rig, bottle_id: str, temp_c: float | None) -> float:
    """The gauge pressure now that reaches the ceiling in the hottest air of the block (P in proportion to T).

    Where the temperature was said, air a little warmer is counted with, else a hot stage.
    """
    now_c = ROOM_C if temp_c is None else temp_c
    hottest_c = max(HOTTEST_C, now_c) if temp_c is None else now_c + WARMER_C
    share = celsius_to_kelvin(now_c) / celsius_to_kelvin(hottest_c)
    ceiling_kpa = (rig.bottle(bottle_id).ceiling_kpa + ATMOSPHERE_KPA) * share - ATMOSPHERE_KPA
    return min(ceiling_kpa, rig.pump_of(bottle_id).max_gauge_kpa)


def gauge_needs(rig: Rig, temp_c: float | None = None) -> tuple[GaugeNeed, ...]:
    """The bottles that the pumps, as the rig describes them, do not bring to their notes; low to high."""
    found = []
    for bottle in rig.by_pitch:
        need_kpa, limit_kpa = played_gauge_kpa(bottle.note.midi), cool_limit_kpa(rig, bottle.id, temp_c)
        if need_kpa + _margin_kpa(rig.pump_of(bottle.id), need_kpa) > limit_kpa:
            span_kpa = _widest_span_kpa(need_kpa, limit_kpa)
            found.append(GaugeNeed(bottle.id, bottle.pump, need_kpa, limit_kpa, span_kpa))
    return tuple(found)


def _margin_kpa(pump: Pump, need_kpa: float) -> float:
    """How much more may be in a bottle than it seems: by strokes alone, or by the pump's gauge."""
    by_strokes = (COUNTED_SHARE - 1.0) * need_kpa
    if not pump.gauge:
        return by_strokes
    return min(by_strokes, SURE_SD * math.hypot(pump.gauge_sd_kpa, READING_SD_KPA))


def _widest_span_kpa(need_kpa: float, limit_kpa: float) -> float | None:
    """The widest dial whose error leaves room for a need below a limit, if it still shows the limit."""
    sd_kpa = (limit_kpa - need_kpa) / SURE_SD
    if sd_kpa < math.hypot(LEAST_DIAL_SD_KPA, READING_SD_KPA):
        return None
    span_kpa = math.sqrt(sd_kpa**2 - READING_SD_KPA**2) / DIAL_SD_SHARE
    return span_kpa if span_kpa >= limit_kpa else None


def gauge_sentences(rig: Rig, temp_c: float | None = None) -> list[str]:
    """What to say of the gauges of a rig: one sentence a pump and trouble; none where all is well."""
    needs = gauge_needs(rig, temp_c)
    said = []
    for pump in rig.pumps:
        of_pump = [n for n in needs if n.pump == pump.id]
        curable = [n for n in of_pump if n.widest_span_kpa is not None]
        if curable:
            said.append(f"{_trouble(pump)} {_names(curable)}: {_cure(curable)}.")
        hopeless = [n for n in of_pump if n.widest_span_kpa is None]
        if hopeless:
            said.append(
                f"No gauge would do for {_names(hopeless)}: at the usual pressure of the note it is too near "
                "its limit. Give it a smaller bottle, or leave it out."
            )
    return said


def _trouble(pump: Pump) -> str:
    if pump.gauge is None:
        return f"Pump {pump.id}: has it a gauge? Without one air is refused before the notes of"
    if not pump.gauge:
        return f"Pump {pump.id} has no gauge: air is refused before the notes of"
    off_psi = kpa_to_psi(SURE_SD * math.hypot(pump.gauge_sd_kpa, READING_SD_KPA))
    return f"Pump {pump.id}: its gauge may be off by {off_psi:.0f} psi. Air is refused before the notes of"


def _cure(needs: Iterable[GaugeNeed]) -> str:
    widest_psi = kpa_to_psi(min(n.widest_span_kpa or 0.0 for n in needs))
    widest_psi = min(WIDEST_PSI, max(STEP_PSI, STEP_PSI * math.floor(widest_psi / STEP_PSI)))
    return f"a gauge of up to {widest_psi:.0f} psi would do (gauge, gauge_span_psi)"


def _names(needs: list[GaugeNeed]) -> str:
    names = [n.bottle for n in needs]
    return ", ".join(names) if len(names) <= 6 else f"{', '.join(names[:5])} and {len(names) - 5} more"
