"""How many strokes: enough to arrive, seldom too many, never above the ceiling.

Each full stroke adds the same amount g to the squared frequency (see rounds.air), so strokes =
(f_aim² - f²) / g. What is not known exactly (the level, g, the hand, the loss as the head comes off)
makes the dose smaller: it is the largest whose overshoot stays under the tolerance 9 times in 10.
Where g is well known that changes nothing; a bass bottle, whose first small push is about a
semitone, is approached in parts by the same rule. Letting out is guarded more closely: air let out
by the pin costs no connection, putting it back does.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds import air
from rounds.air import kpa_to_psi
from rounds.belief.air_log import NOTHING_TOLD
from rounds.belief.in_or_out import chance_in
from rounds.gauss import Gauss
from rounds.notes import CENTS_PER_NEPER, shifted_hz
from rounds.planning.strokes import QUARTER, TOUCH, amounts, let_out_sd, pumped_sd

if TYPE_CHECKING:
    from rounds.belief.air_log import PressureTold
    from rounds.planning.beliefs_protocol import BeliefsProtocol
    from rounds.rig import Bottle, Pump, Rig

Z_NINE_IN_TEN = 1.2815515655446004
"""90 % of a normal distribution lies below this many standard deviations."""
LAST = 0.75
"""A dose is called final when the bottle is in tolerance after it with this chance."""
HOPELESS = 1.25
"""A dose that would pass the limit by no more than this is given as far as the limit: the estimate may be
too high, and the next strike tells more. Beyond it nobody is sent pumping for nothing."""
LET_OUT_SHARE = 0.6
"""Air let out may undershoot the aim by this share of the tolerance, 9 times in 10 by no more."""


AS_IF_IN_TUNE = 1.05
"""A bottle that may be in tune already is taken to have this much of what its note needs. Our guess."""
DELIVERED = 0.9
"""Share of a full stroke that reaches the bottle. Common practice, no source."""


@dataclass(frozen=True)
class Dose:
    """Strokes to add (negative: let out that much). `after` is the level to expect, pump off."""

    strokes: float
    final: bool
    """The head may come off after this: likely in tune then, or no smaller dose would help."""
    after: Gauss
    gauge_kpa: float
    """Estimated gauge pressure after the strokes, pump still on."""
    warn: str | None = None
    refused: str | None = None
    doubt: str | None = None
    """Why no air goes in, nor is refused, on the strength of one strike: a second one is to agree."""


@dataclass(frozen=True)
class _Task:
    """One dose to be worked out, in squared frequency. `loss_cents` comes when the head comes off."""

    bottle: Bottle
    pump: Pump
    target_hz: float
    level: Gauss
    aim_cents: float
    gain: Gauss
    sharp: bool
    loss_cents: Gauss
    gauge_now_kpa: float
    stroke_kpa: float
    limit_kpa: float
    told_kpa: float
    """What a gauge or the strokes told of say of the pressure now, whatever was heard."""
    misheard_kpa: float | None
    """Pressure now if the one strike was wrong and the bottle is in tune; None when two strikes agree."""

    def hz2(self, cents: float) -> float:
        return shifted_hz(self.target_hz, cents) ** 2

    @property
    def cents_per_hz2(self) -> float:
        return 0.5 * CENTS_PER_NEPER / self.hz2(self.aim_cents)

    def after(self, strokes: float) -> Gauss:
        """Level after strokes and with the head off again."""
        hz2 = max(1.0, self.hz2(self.level.mean) + strokes * self.gain.mean)
        cents = 0.5 * CENTS_PER_NEPER * math.log(hz2 / self.target_hz**2)
        moved = self.moved_sd_hz2(abs(strokes)) * self.cents_per_hz2
        known = self.level.sd * self.hz2(self.level.mean) / self.hz2(self.aim_cents)
        return Gauss(cents + self.loss_cents.mean, math.hypot(moved, known, self.loss_cents.sd))

    def exact(self) -> float:
        """Strokes that lead to the aim if everything is as believed."""
        return (self.hz2(self.aim_cents - self.loss_cents.mean) - self.hz2(self.level.mean)) / self.gain.mean

    def moved_sd_hz2(self, strokes: float) -> float:
        """What is not known of the change that some strokes make: the gain, and the hand."""
        hand = let_out_sd(strokes) if self.sharp else pumped_sd(strokes)
        return math.hypot(strokes * self.gain.sd, hand * self.gain.mean)

    @property
    def fine(self) -> bool:
        """Whether a quarter stroke moves the pitch by more than half the tolerance."""
        return QUARTER * self.gain.mean * self.cents_per_hz2 > 0.5 * self.bottle.tolerance_cents

    def amounts(self) -> list[float]:
        """What may be asked for, none and more than enough included."""
        return [0.0, *amounts(abs(self.exact()), fine=self.fine)]

    def gauge_kpa(self, strokes: float) -> float:
        """Estimated gauge pressure after strokes."""
        return max(0.0, self.gauge_now_kpa + strokes * self.stroke_kpa)

    def last(self, strokes: float) -> bool:
        """Whether nothing more is likely to be needed, or can be done."""
        likely = chance_in(self.after(strokes), self.bottle.tolerance_cents, self.aim_cents)
        return abs(strokes) <= TOUCH or likely >= LAST


def dose(
    rig: Rig,
    beliefs: BeliefsProtocol,
    bottle_id: str,
    *,
    level_cents: Gauss,
    aim_cents: float,
    pump_on: bool,
    at_s: float,
    told: PressureTold = NOTHING_TOLD,
    confirmed: bool = True,
) -> Dose:
    """Strokes from the level just read to the aim.

    Args:
        level_cents: the level off the nominal target, as read in the present pump state.
        aim_cents: where the bottle shall be with the pump off.
        told: what a gauge and the strokes of the last hours say of the pressure.
        confirmed: the level was heard twice, so that it does not hang on one strike.
    """
    bottle, pump = rig.bottle(bottle_id), rig.pump_of(bottle_id)
    head = beliefs.head_loss(bottle_id)
    sharp = level_cents.mean + (head.mean if pump_on else 0.0) > aim_cents
    by_pin = sharp and not pump_on
    strokes_hz2 = beliefs.gain(bottle_id, pump.id)
    gain = beliefs.pin_gain(bottle_id) if by_pin else strokes_hz2
    target_hz, stroke_kpa = rig.target_hz(bottle_id), air.stroke_kpa(pump.barrel_ml, bottle.volume_ml)
    slope = strokes_hz2.mean / stroke_kpa
    gauge_kpa, in_tune_kpa = told.gauge_kpa, told.gauge_kpa
    if gauge_kpa is None or in_tune_kpa is None:
        now_hz, aim_hz = (shifted_hz(target_hz, c) for c in (level_cents.mean, aim_cents))
        gauge_kpa = _estimated_kpa(bottle, target_hz, now_hz, slope)
        in_tune_kpa = AS_IF_IN_TUNE * _estimated_kpa(bottle, target_hz, aim_hz, slope)
    gauge_kpa = max(gauge_kpa, told.least_kpa)
    task = _Task(
        bottle=bottle,
        pump=pump,
        target_hz=target_hz,
        level=level_cents,
        aim_cents=aim_cents,
        gain=Gauss(max(1e-9, abs(gain.mean)), gain.sd),
        sharp=sharp,
        loss_cents=Gauss(0.0, 0.0) if by_pin else head,
        gauge_now_kpa=max(0.0, gauge_kpa),
        stroke_kpa=stroke_kpa,
        limit_kpa=rig.limit_kpa(bottle_id),
        told_kpa=max(told.least_kpa, told.gauge_kpa or 0.0),
        misheard_kpa=None if confirmed else max(gauge_kpa, in_tune_kpa),
    )
    return _let_out(task, pump_on) if sharp else _add(task)


def strokes_between(
    rig: Rig, beliefs: BeliefsProtocol, bottle_id: str, from_cents: float, to_cents: float
) -> float:
    """Strokes that lead from one level to another, both off the nominal target, (out: negative)."""
    pump = rig.pump_of(bottle_id)
    target_hz = rig.target_hz(bottle_id)
    gain = beliefs.gain(bottle_id, pump.id) if to_cents >= from_cents else beliefs.pin_gain(bottle_id)
    change_hz2 = shifted_hz(target_hz, to_cents) ** 2 - shifted_hz(target_hz, from_cents) ** 2
    return change_hz2 / max(1e-9, abs(gain.mean))


def _estimated_kpa(bottle: Bottle, target_hz: float, hz: float, slope_hz2_per_kpa: float) -> float:
    """Gauge pressure of a bottle nobody has put a gauge on: as is usual for its note, or by its strokes.

    The other is as good as the guess of how stiff the empty shell is. The higher counts.
    """
    usual = air.prior_shell(target_hz, bottle.note.midi)
    learned = air.Shell(usual.stiffness_hz2, max(1e-9, slope_hz2_per_kpa / DELIVERED))
    return max(0.0, usual.gauge_kpa(hz), learned.gauge_kpa(hz))


def _add(task: _Task) -> Dose:
    offered, exact = task.amounts(), max(0.0, task.exact())
    place = _below(offered, exact) if task.bottle.group == "bass" else _nearest(offered, exact)
    while place > 1 and not _safe_up(task, offered[place]):
        place -= 1
    if _hangs_on_one_strike(task, offered[place], offered[1]):
        return Dose(0.0, False, task.after(0.0), task.gauge_now_kpa, doubt=_doubt(task))
    wanted_kpa = task.gauge_kpa(offered[place])
    if place and wanted_kpa > task.limit_kpa:
        room = _below(offered, (task.limit_kpa - task.gauge_now_kpa) / task.stroke_kpa)
        if not room or wanted_kpa > HOPELESS * task.limit_kpa:
            refusal = _refusal(task, wanted_kpa, task.limit_kpa)
            return Dose(0.0, False, task.after(0.0), task.gauge_now_kpa, refused=refusal)
        place = room
    strokes = offered[place]
    after_kpa = task.gauge_kpa(strokes)
    warning = _warning(task, strokes, after_kpa)
    return Dose(strokes, task.last(strokes), task.after(strokes), after_kpa, warn=warning)


def _below(offered: list[float], strokes: float) -> int:
    """The place of the most that is not more than some strokes; 0 where even the least is more."""
    return max(0, bisect.bisect_right(offered, strokes) - 1)


def _nearest(offered: list[float], strokes: float) -> int:
    return min(range(len(offered)), key=lambda i: abs(offered[i] - strokes))


def _hangs_on_one_strike(task: _Task, strokes: float, least: float) -> bool:
    """Whether one strike alone leads to the limit: by refusing air, or, if it was misheard, by asking for it.

    Where a gauge or the strokes told of leave no room for the smallest part, no strike is needed.
    """
    if (
        task.misheard_kpa is None
        or strokes <= 0.0
        or task.told_kpa + least * task.stroke_kpa > task.limit_kpa
    ):
        return False
    return task.misheard_kpa + strokes * task.stroke_kpa > task.limit_kpa


def _safe_up(task: _Task, strokes: float) -> bool:
    """Tested in squared frequency, where strokes add up: far from the aim, cents are bent."""
    start, limit = task.level.mean, task.aim_cents + task.bottle.tolerance_cents - task.loss_cents.mean
    mean_hz2 = task.hz2(start) + strokes * task.gain.mean
    sd_hz2 = math.hypot(
        task.moved_sd_hz2(strokes),
        2.0 * task.level.sd * task.hz2(start) / CENTS_PER_NEPER,
        2.0 * task.loss_cents.sd * task.hz2(limit) / CENTS_PER_NEPER,
    )
    return mean_hz2 + Z_NINE_IN_TEN * sd_hz2 <= task.hz2(limit)


def _let_out(task: _Task, pump_on: bool) -> Dose:
    if pump_on and not task.pump.release_valve:
        return Dose(0.0, True, task.after(0.0), task.gauge_now_kpa, warn="Take the pump off first.")
    offered = task.amounts()
    place = _nearest(offered, -task.exact())
    while place > 1 and not _safe_down(task, -offered[place]):
        place -= 1
    strokes = -offered[place]
    return Dose(strokes, task.last(strokes), task.after(strokes), task.gauge_kpa(strokes))


def _safe_down(task: _Task, strokes: float) -> bool:
    after = task.after(strokes)
    floor_cents = task.aim_cents - LET_OUT_SHARE * task.bottle.tolerance_cents
    return after.mean - Z_NINE_IN_TEN * after.sd >= floor_cents


def _refusal(task: _Task, after_kpa: float, limit_kpa: float) -> str:
    return (
        f"No more air: this would take {task.bottle.id} to about {kpa_to_psi(after_kpa):.0f} psi, "
        f"above its limit of {kpa_to_psi(limit_kpa):.0f} psi. If you doubt it, read a gauge. "
        "Let a smaller or fresh bottle play this note, or leave it out."
    )


def _doubt(task: _Task) -> str:
    limit_psi = kpa_to_psi(task.limit_kpa)
    return f"to be sure before any air: this one may come near its limit of {limit_psi:.0f} psi"


def _warning(task: _Task, strokes: float, after_kpa: float) -> str | None:
    if strokes <= 0.0:
        return None
    if after_kpa > task.bottle.caution_kpa:
        return f"About {kpa_to_psi(after_kpa):.0f} psi: eyes protected, nobody over the cap."
    if task.fine and task.bottle.group == "bass":
        moved_cents = QUARTER * task.gain.mean * task.cents_per_hz2
        return f"gently: a quarter stroke is about {moved_cents:.0f} cents here"
    return None
