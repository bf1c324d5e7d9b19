"""What is believed of a bottle before anything was heard of it.

Units: the filter works in *linear cents* (`x`): x = (600/ln 2) (f²/f_target² − 1). Near the target
they are cents; far away they stay proportional to pressure, so a stroke, a kelvin and a leak add the
same number wherever the bottle stands. Rates are per minute. Positive is sharp.

The leak, settling and creep numbers are common practice, no source (the bass is out in about ten
minutes, the middle holds best); each is wide, and the journal replaces it. The rest follows from the
thin-shell and gas laws of `rounds.air`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.air import STIFFNESS_SHARE, prior_shell, stroke_kpa
from rounds.gauss import Gauss
from rounds.notes import CENTS_PER_NEPER

if TYPE_CHECKING:
    from rounds.rig import Bottle, Group, Pump, Rig

HALF_NEPER_CENTS = 0.5 * CENTS_PER_NEPER
"""600/ln 2: cents per relative change of squared frequency."""
EMPTY_DOUBT = 0.15
"""Sd of the empty shell's share of the stiffness at the note. Our guess: measured shares are 0.2 to 0.65."""
PRESSURE_X = (1.0 - STIFFNESS_SHARE) * HALF_NEPER_CENTS
"""Linear cents that all the gauge pressure contributes at the played note (prior shell)."""

ROOM_TEMP_C = 20.0
"""Temperature at which the prior cents per kelvin is worked out; 10 K off changes it by 3 %."""
CENTS_PER_K_DOUBT = 0.25
"""Relative sd of the prior cents per kelvin: the shell's own share and the pressure are guesses."""
SETTLING = Gauss(0.12, 0.08)
"""Share of a change that comes back in a minute or so. Wide, and near half of the 2/7 that the gas law
allows: a guess too small was too sure for too long. Our guess."""
CREEP = Gauss(0.006, 0.012)
"""Share of a change that the wall gives back per e-fold of time."""
GAIN_DOUBT = 0.35
"""Relative sd of the prior gain of a stroke."""
LET_OUT_DOUBT = 0.6
"""Relative sd of the prior of a small let-out: it depends on the finger."""
HEAD_ML = 3.0
"""What a pump head takes from the bottle as it goes on, and again as it comes off. A guess."""
HEAD_DOUBT = 0.6

HEAD, JOIN, OUT = "head", "join", "out"
"""Keys of what is learned from handling: air lost as the head comes off, as it goes on, and a small
let-out. Every other key is a pump's id."""

# Ten minutes of leak and settling take a bass bottle ten cents flat, so it leaks less than a cent a minute.
_LEAK_PER_MIN: dict[Group, Gauss] = {
    "bass": Gauss(-0.75, 0.50),
    "middle": Gauss(-0.12, 0.22),
    "top": Gauss(-0.35, 0.40),
}
LEAK_ALLOWED = 2.5
"""A single bottle may leak this many times further from its group than the guess of the group says: a
bad cap must be seen as a leak, not as strikes of another bottle."""
_LAG_MIN = ((600.0, 2.0), (2000.0, 5.0))
"""(volume in mL, minutes) between which the lag behind the air temperature is interpolated."""


@dataclass(frozen=True)
class Prior:
    """Everything believed of one bottle at first, in linear cents, minutes and kelvin."""

    leak_per_min: Gauss
    """Wide, for the bottle's own filter."""
    group_leak: Gauss
    """What bottles of its group are first believed to be like."""
    per_kelvin: Gauss
    settling: Gauss
    creep: Gauss
    head_x: Gauss
    lag_min: float
    target_hz2: float
    tolerance_cents: float
    group: Group


def prior_of(rig: Rig, bottle: Bottle) -> Prior:
    """The prior of one bottle of a rig."""
    hz = rig.target_hz(bottle.id)
    per_kelvin = prior_shell(hz, bottle.note.midi).cents_per_kelvin(hz, ROOM_TEMP_C)
    head = -PRESSURE_X * HEAD_ML / bottle.volume_ml
    leak = _LEAK_PER_MIN[bottle.group]
    return Prior(
        leak_per_min=Gauss(leak.mean, LEAK_ALLOWED * leak.sd),
        group_leak=leak,
        per_kelvin=Gauss(per_kelvin, CENTS_PER_K_DOUBT * per_kelvin),
        settling=SETTLING,
        creep=CREEP,
        head_x=Gauss(head, HEAD_DOUBT * abs(head)),
        lag_min=lag_min(bottle.volume_ml),
        target_hz2=hz * hz,
        tolerance_cents=bottle.tolerance_cents,
        group=bottle.group,
    )


def prior_gain_hz2(rig: Rig, bottle: Bottle, pump: Pump) -> float:
    """Hz² that one full stroke of a pump is expected to add to a bottle."""
    shell = prior_shell(rig.target_hz(bottle.id), bottle.note.midi)
    return shell.slope_hz2_per_kpa * stroke_kpa(pump.barrel_ml, bottle.volume_ml)


def lag_min(volume_ml: float) -> float:
    """Minutes by which the gas in a bottle of a volume follows the air, to the half minute."""
    (v0, t0), (v1, t1) = _LAG_MIN
    share = min(1.0, max(0.0, (volume_ml - v0) / (v1 - v0)))
    return round(2.0 * (t0 + (t1 - t0) * share)) / 2.0


def to_linear(cents: float) -> float:
    """Linear cents of a number of cents off the target."""
    return HALF_NEPER_CENTS * math.expm1(cents / HALF_NEPER_CENTS)


def from_linear(x: float) -> float:
    """Cents off the target of linear cents (no lower than five octaves down)."""
    return HALF_NEPER_CENTS * math.log(max(0.001, 1.0 + x / HALF_NEPER_CENTS))


def gauss_in_cents(x: float, var: float) -> Gauss:
    """Cents off the target as a distribution, from linear cents and their variance."""
    slope = max(0.03, 1.0 + x / HALF_NEPER_CENTS)
    return Gauss(from_linear(x), math.sqrt(max(0.0, var)) / slope)
