"""Air in a bottle: pressure, strokes, temperature, and the ceiling.

Conventions: gauge pressure `gauge_kpa` (above the atmosphere), absolute pressure is gauge plus
`ATMOSPHERE_KPA`, temperatures in degrees Celsius at the edge and kelvin inside, volumes in mL,
squared frequencies in Hz² (`hz2`), intervals in cents.

The one law everything rests on: a pressurised thin shell has f² = a + b p, squared frequency
rising linearly with pressure (Fung, Sechler & Kaplan 1957, J. Aeronautical Sciences 24(9),
650-660; measured by Mir, Shakouri & Ashory 2020, SN Applied Sciences 2:134).
"""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass
from typing import Literal

from rounds.notes import CENTS_PER_NEPER

ATMOSPHERE_KPA = 101.325
"""Standard atmosphere, exact (CODATA; scipy.constants.atm)."""
KPA_PER_PSI = 6.894757293168
"""Pound-force per square inch (NIST SP 811, 2008, appendix B.8: 6.894757 E+03 Pa)."""
KPA_PER_BAR = 100.0
PressureUnit = Literal["psi", "bar", "kPa"]
KPA_PER: dict[str, float] = {"psi": KPA_PER_PSI, "bar": KPA_PER_BAR, "kPa": 1.0}
"""Kilopascal in one of each unit that gauges show (NIST SP 811, 2008, appendix B.8)."""
ZERO_CELSIUS_K = 273.15
ROOM_C = 20.0
"""Air where nobody said how warm it is."""
HOTTEST_C = 35.0
"""The hottest air of a block where nobody said anything of it: a stage under lights. Our guess."""
WARMER_C = 5.0
"""The air may warm by so much within a block where its temperature was said. Our guess."""
NOTHING_KPA = 10.0
"""A dial that shows no more than this may not have been seated."""
LEAST_AIR_C, MOST_AIR_C = -30.0, 60.0
"""Air temperatures that are believed; anything else is a slip."""
AIR_GAMMA = 1.4
"""Ratio of specific heats of a diatomic gas, air near room temperature."""
SETTLING_BOUND = (AIR_GAMMA - 1.0) / AIR_GAMMA
"""Largest share of a quick pressure change that comes back as the gas cools or warms again: 2/7."""

DEFAULT_CAUTION_KPA = 60.0 * KPA_PER_PSI
"""Advice above this pressure carries a caution (from memory; see docs/safety.md)."""
DEFAULT_CEILING_KPA = 80.0 * KPA_PER_PSI
"""No advice above this pressure: 0.64 of the lowest burst found of a new 2-litre bottle, 125 psi (hobby
tests: 125 to 170), and as much as a carbonated drink makes in its bottle at 38 C (4.0 volumes: 79 psi).
What is off is for fatigue, heat and drilled caps. Nobody rates drink bottles as pressure vessels."""

STIFFNESS_SHARE = 0.3
"""Prior for a / f² at the played note: what the empty shell alone contributes. Common practice, no source."""
_PLAYED_PRESSURE_PSI = ((48, 4.0), (60, 20.0), (72, 35.0), (88, 55.0), (91, 70.0))
"""(MIDI note, gauge psi): what bottles of the usual sizes are pumped to for a note, C3 to G6.
Common practice, no source: bass 2 L at low pressure, the top 600 mL near 70 psi."""


def psi_to_kpa(psi: float) -> float:
    """Pounds-force per square inch to kilopascal."""
    return psi * KPA_PER_PSI


def kpa_to_psi(kpa: float) -> float:
    """Kilopascal to pounds-force per square inch."""
    return kpa / KPA_PER_PSI


NO_GAUGE = "none"
"""What is typed in place of a pressure where the pump has no gauge."""


def parse_pressure(text: str, unit: PressureUnit = "psi") -> float:
    """A gauge reading as typed, in kPa: `3.2 bar`, `46psi`, `320 kPa`, or a bare number in `unit`.

    Raises:
        ValueError: it is not a number with at most one of those units.
    """
    found, named = re.fullmatch(r"\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*([A-Za-z]*)\s*", text), named_unit(text)
    if found is None or (found[2] and named is None):
        raise ValueError(f"{text.strip()[:30]!r} is not a pressure; type it like 46 psi, 3.2 bar or 320 kPa")
    return float(found[1].replace(",", ".")) * KPA_PER[named or unit]


def named_unit(text: str) -> str | None:
    """The unit that a gauge reading was typed with; None where it is a bare number, or no unit of ours."""
    word = text.strip().lstrip("0123456789.,").strip().casefold()
    return next((unit for unit in KPA_PER if unit.casefold() == word), None)


def pressure_figure(gauge_kpa: float, unit: str = "psi") -> str:
    """A gauge pressure as a dial is read: `46`, `3.2`; whole psi, tenths of a bar, whole kPa."""
    return f"{gauge_kpa / KPA_PER[unit]:.{1 if unit == 'bar' else 0}f}"


def celsius_to_kelvin(temp_c: float) -> float:
    """Degrees Celsius to kelvin."""
    return temp_c + ZERO_CELSIUS_K


@dataclass(frozen=True)
class Shell:
    """A bottle as a pressurised shell: f² = stiffness_hz2 + slope_hz2_per_kpa × gauge pressure."""

    stiffness_hz2: float
    slope_hz2_per_kpa: float

    def hz(self, gauge_kpa: float) -> float:
        """Frequency of the main mode at a gauge pressure."""
        return math.sqrt(max(0.0, self.stiffness_hz2 + self.slope_hz2_per_kpa * gauge_kpa))

    def gauge_kpa(self, hz: float) -> float:
        """Gauge pressure at which the main mode sounds at hz (negative: the bottle cannot go so low)."""
        return (hz * hz - self.stiffness_hz2) / self.slope_hz2_per_kpa

    def cents_per_kpa(self, hz: float) -> float:
        """dc/dp = (600/ln 2) b / f²."""
        return 0.5 * CENTS_PER_NEPER * self.slope_hz2_per_kpa / (hz * hz)

    def cents_per_kelvin(self, hz: float, temp_c: float) -> float:
        """dc/dT = (600/ln 2) b P / (T f²) at constant volume, P absolute (gas law: P ∝ T)."""
        absolute_kpa = self.gauge_kpa(hz) + ATMOSPHERE_KPA
        return self.cents_per_kpa(hz) * absolute_kpa / celsius_to_kelvin(temp_c)


def played_gauge_kpa(midi: float) -> float:
    """Gauge pressure at which a bottle of usual size plays a note: the prior, before anything is learned."""
    low, high = _PLAYED_PRESSURE_PSI[0], _PLAYED_PRESSURE_PSI[-1]
    if midi <= low[0]:
        return psi_to_kpa(low[1])
    for (m0, p0), (m1, p1) in itertools.pairwise(_PLAYED_PRESSURE_PSI):
        if midi <= m1:
            return psi_to_kpa(p0 + (p1 - p0) * (midi - m0) / (m1 - m0))
    return psi_to_kpa(high[1])


def prior_shell(target_hz: float, midi: float) -> Shell:
    """The shell expected of a bottle that plays a note, before anything is learned of it."""
    hz2 = target_hz * target_hz
    return Shell(
        stiffness_hz2=STIFFNESS_SHARE * hz2,
        slope_hz2_per_kpa=(1.0 - STIFFNESS_SHARE) * hz2 / played_gauge_kpa(midi),
    )


def stroke_kpa(barrel_ml: float, volume_ml: float) -> float:
    """Pressure that one full stroke adds, isothermal: p_atm V_barrel / V_bottle (Boyle's law)."""
    return ATMOSPHERE_KPA * barrel_ml / volume_ml


def hz_after(hz: float, strokes: float, gain_hz2: float) -> float:
    """Frequency after strokes that each add gain_hz2 to f²; never below zero."""
    return math.sqrt(max(0.0, hz * hz + strokes * gain_hz2))
