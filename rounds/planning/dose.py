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

from rounds.air import (
    kpa_to_psi,
    pressure_figure,
)
from rounds.belief.air_log import NOTHING_KNOWN, kind_of, pressure_now
from rounds.belief.in_or_out import chance_in
from rounds.gauss import Gauss
from rounds.notes import CENTS_PER_NEPER, shifted_hz
from rounds.planning.gauges import cool_limit_kpa
from rounds.planning.strokes import QUARTER, TOUCH, amounts, let_out_sd, pumped_sd
from rounds.rig import READING_SD_KPA, SURE_SD

if TYPE_CHECKING:
    from rounds.belief.air_log import AirLog, Pressure
    from rounds.belief.pressure import DialReading
    from rounds.planning.beliefs_protocol import BeliefsProtocol
    from rounds.rig import Bottle, Pump, Rig

Z_NINE_IN_TEN = 1.2815515655446004
"""90 % of a normal distribution lies below this many standard deviations."""
LAST = 0.75
"""A dose is called final when the bottle is in tolerance after it with this chance."""
HOPELESS = 0.1
"""A dose with no more than this chance to end below the limit is not begun: nobody pumps for nothing."""
WORTH_GIVING = 0.25
"""Where only a part of a dose keeps to the limit, less than this share is not worth giving. Our guess."""
WITHOUT_GAUGE = 0.06
"""The same where there is no gauge to ask for. Our guess."""
UNSEEN_SHARE = 0.5
"""The first air into a bottle that may be of any make is half of what may go in: then its pitch tells."""
MOST_READ = 2
"""At one pitch a gauge is read no more often: the second time to settle what the first left open."""
GAUGE_HELPS = 0.03
"""A gauge is asked for where it has at least this chance to leave room. Our guess."""
HELD_CENTS = 3.0
"""A bottle may be brought this little above the highest pitch it has held. Our guess."""
SMALL_CENTS = 60.0
"""And only from no further below it: what fell further is told by a fill."""
LET_OUT_SHARE = 0.6
"""Air let out may undershoot the aim by this share of the tolerance, 9 times in 10 by no more."""


AS_IF_IN_TUNE = 1.05
"""A bottle that may be in tune already is taken to have this much of what its note needs. Our guess."""


@dataclass(frozen=True)
class Dose:
    """Strokes to add (negative: let out that much). `after` is the level to expect, pump off."""

    strokes: float
    final: bool
    """The head may come off after this: likely in tune then, or no smaller dose would help."""
    after: Gauss
    gauge_kpa: float
    """Expected gauge pressure after the strokes, pump still on."""
    warn: str | None = None
    refused: str | None = None
    doubt: str | None = None
    """Why no air goes in, nor is refused, on the strength of one strike: a second one is to agree."""
    ask: str | None = None
    """Why a gauge is to be read before anything else."""


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
    pressure: Pressure
    limit_kpa: float
    """What the upper bound must not pass, the hottest air of the block counted in."""
    named_limit_kpa: float
    """The limit as it is written in the rig."""
    in_tune_kpa: float | None
    """Pressure now if the one strike was wrong and the bottle is in tune; None when two strikes agree."""
    may_ask: bool
    known_well: bool
    """Whether its fills or a gauge say where it is, so that one strike alone decides little."""
    waits: bool
    """Whether a gauge was read and it was not struck since."""
    held: bool
    """Whether the aim is no higher than the bottle has held before."""

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
    def room(self) -> float:
        """As many strokes as keep to the limit; half of them while no fill and no gauge was seen of it."""
        room = self.pressure.room(self.limit_kpa)
        return room if self.pressure.seen else UNSEEN_SHARE * room

    @property
    def fine(self) -> bool:
        """Whether a quarter stroke moves the pitch by more than half the tolerance."""
        return QUARTER * self.gain.mean * self.cents_per_hz2 > 0.5 * self.bottle.tolerance_cents

    def amounts(self) -> list[float]:
        """What may be asked for, none and more than enough included."""
        return [0.0, *amounts(abs(self.exact()), fine=self.fine)]

    def gauge_kpa(self, strokes: float) -> float:
        """Expected gauge pressure after strokes."""
        return self.pressure.after_kpa(strokes)

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
    known: AirLog = NOTHING_KNOWN,
    temp_c: float | None = None,
    may_ask: bool = False,
    confirmed: bool = True,
) -> Dose:
    """Strokes from the level just read to the aim.

    Args:
        level_cents: the level off the nominal target, as read in the present pump state.
        aim_cents: where the bottle shall be with the pump off.
        known: what happened to its air.
        temp_c: the air temperature now; None where nobody said.
        may_ask: a gauge can be asked for.
        confirmed: the level was heard twice, so that it does not hang on one strike.
    """
    bottle, pump = rig.bottle(bottle_id), rig.pump_of(bottle_id)
    head = beliefs.head_loss(bottle_id)
    sharp = level_cents.mean + (head.mean if pump_on else 0.0) > aim_cents
    by_pin = sharp and not pump_on
    gain = beliefs.pin_gain(bottle_id) if by_pin else beliefs.gain(bottle_id, pump.id)
    target_hz = rig.target_hz(bottle_id)
    now_hz, aim_hz = (shifted_hz(target_hz, c) for c in (level_cents.mean, aim_cents))
    pressure = pressure_now(kind_of(rig, bottle_id), known, now_hz)
    held_hz = shifted_hz(known.held_hz or 1.0, HELD_CENTS)
    task = _Task(
        bottle=bottle,
        pump=pump,
        target_hz=target_hz,
        level=level_cents,
        aim_cents=aim_cents,
        gain=Gauss(max(1e-9, abs(gain.mean)), gain.sd),
        sharp=sharp,
        loss_cents=Gauss(0.0, 0.0) if by_pin else head,
        pressure=pressure,
        limit_kpa=cool_limit_kpa(rig, bottle_id, temp_c),
        named_limit_kpa=rig.limit_kpa(bottle_id),
        in_tune_kpa=None if confirmed else AS_IF_IN_TUNE * pressure.expected_at_kpa(aim_hz),
        may_ask=may_ask,
        known_well=bool(known.fills or known.readings) and not known.low,
        waits=known.read_kpa is not None,
        held=aim_hz <= held_hz and level_cents.mean > aim_cents - SMALL_CENTS and known.most == 0.0,
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


def room_strokes(rig: Rig, bottle_id: str, known: AirLog, temp_c: float | None) -> float:
    """As many strokes as keep the upper bound of a bottle's pressure under its limit."""
    pressure = pressure_now(kind_of(rig, bottle_id), known, rig.target_hz(bottle_id))
    return pressure.room(cool_limit_kpa(rig, bottle_id, temp_c))


def _add(task: _Task) -> Dose:
    offered, exact = task.amounts(), max(0.0, task.exact())
    place = _below(offered, exact) if task.bottle.group == "bass" else _nearest(offered, exact)
    while place > 1 and not _safe_up(task, offered[place]):
        place -= 1
    if task.may_ask and task.pressure.doubted_as_too_low and task.pressure.times_read < MOST_READ:
        return _nothing(task, ask=_question(task))
    if _hangs_on_one_strike(task, offered[place], offered[1]):
        return _nothing(task, doubt=_doubt(task))
    wanted, room = offered[place], task.room
    if wanted > room and not task.held:
        place = _below(offered, room)
        hopeless = task.pressure.chance_below(task.limit_kpa, wanted) < HOPELESS
        if (
            not place
            or hopeless
            or offered[place] < (WORTH_GIVING if task.may_ask else WITHOUT_GAUGE) * wanted
        ):
            return _no_more(task, wanted)
    strokes = offered[place]
    after_kpa = task.gauge_kpa(strokes)
    warning = _warning(task, strokes, after_kpa)
    return Dose(strokes, task.last(strokes), task.after(strokes), after_kpa, warn=warning)


def _nothing(
    task: _Task, *, refused: str | None = None, doubt: str | None = None, ask: str | None = None
) -> Dose:
    """No air now, and why."""
    now_kpa = task.gauge_kpa(0.0)
    return Dose(0.0, False, task.after(0.0), now_kpa, refused=refused, doubt=doubt, ask=ask)


def _no_more(task: _Task, wanted: float) -> Dose:
    """A gauge tells more where it has not told already; else the bottle gets no more air."""
    pressure = task.pressure
    if task.waits:
        return _nothing(task, doubt="to hear what it sounds like at the pressure that was read")
    if task.in_tune_kpa is not None and pressure.newest is None and not task.known_well:
        return _nothing(task, doubt=_doubt(task))
    if task.may_ask and pressure.times_read == 0 and _gauge_may_help(task):
        limit_psi = kpa_to_psi(task.named_limit_kpa)
        most_psi = kpa_to_psi(pressure.most_after_kpa(wanted))
        why = f"it may come to {most_psi:.0f} psi, its limit is {limit_psi:.0f}: the gauge tells"
        return _nothing(task, ask=why)
    unsettled = pressure.room_as_read(task.limit_kpa) > max(TOUCH, pressure.room(task.limit_kpa))
    if task.may_ask and 0 < pressure.times_read < MOST_READ and unsettled:
        return _nothing(task, ask=_question(task))
    return _nothing(task, refused=_refusal(task, wanted))


def _gauge_may_help(task: _Task) -> bool:
    """Whether a gauge, read now, may leave room for air: not where its known error is too large for that."""
    pump = task.pump
    if pump.gauge_span_kpa is None:
        return True
    margin_kpa = SURE_SD * math.hypot(pump.gauge_sd_kpa, READING_SD_KPA)
    return task.pressure.chance_below(task.limit_kpa - margin_kpa, TOUCH) >= GAUGE_HELPS


def _below(offered: list[float], strokes: float) -> int:
    """The place of the most that is not more than some strokes; 0 where even the least is more."""
    return max(0, bisect.bisect_right(offered, strokes) - 1)


def _nearest(offered: list[float], strokes: float) -> int:
    return min(range(len(offered)), key=lambda i: abs(offered[i] - strokes))


def _hangs_on_one_strike(task: _Task, strokes: float, least: float) -> bool:
    """Whether one strike alone leads to the limit: by refusing air, or, if it was misheard, by asking for it.

    Where even the least that is believed leaves no room for the smallest part, no strike is needed.
    """
    stroke_kpa = task.gauge_kpa(1.0) - task.gauge_kpa(0.0)
    if task.in_tune_kpa is None or strokes <= 0.0 or task.known_well:
        return False
    if task.pressure.least_kpa + least * stroke_kpa > task.limit_kpa:
        return False
    return max(task.in_tune_kpa, task.gauge_kpa(0.0)) + strokes * stroke_kpa > task.limit_kpa


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
        return Dose(0.0, True, task.after(0.0), task.gauge_kpa(0.0), warn="Take the pump off first.")
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


def _refusal(task: _Task, wanted: float) -> str:
    most_psi, limit_psi = (
        kpa_to_psi(p) for p in (task.pressure.most_after_kpa(wanted), task.named_limit_kpa)
    )
    id, expected_psi = task.bottle.id, kpa_to_psi(task.gauge_kpa(wanted))
    if expected_psi > limit_psi:
        why = f"this would take {id} to about {expected_psi:.0f} psi, above its limit of {limit_psi:.0f} psi"
    else:
        why = f"this could take {id} to {most_psi:.0f} psi, and its limit is {limit_psi:.0f} psi"
    reading = task.pressure.newest
    doubt = "If you doubt it, read a gauge. " if reading is None else ""
    if reading is not None and reading.unit is not None and task.pressure.doubted:
        doubt = f"{_read(task, reading)} was read: if that is another unit, name it, as in 3.2 bar. "
    return f"No more air: {why}. {doubt}Let a smaller or fresh bottle play this note, or leave it out."


def _question(task: _Task) -> str:
    """Why a gauge is read again: both numbers in one sentence, and its unit where that may be the matter."""
    reading = task.pressure.newest
    assert reading is not None
    unit = reading.unit or task.pump.gauge_unit
    least, most = (pressure_figure(p, unit) for p in task.pressure.without_gauge_kpa())
    how = "read it once more"
    if reading.unit is not None:
        how = f"{how} and name its unit, as in {'320 kPa' if unit == 'bar' else '3.2 bar'}"
    return f"{_read(task, reading)} was read, but its strokes and pitch say {least} to {most} {unit}: {how}"


def _read(task: _Task, reading: DialReading) -> str:
    """What a dial showed, with its unit."""
    unit = reading.unit or task.pump.gauge_unit
    return f"{pressure_figure(reading.read_kpa, unit)} {unit}"


def _doubt(task: _Task) -> str:
    limit_psi = kpa_to_psi(task.named_limit_kpa)
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
