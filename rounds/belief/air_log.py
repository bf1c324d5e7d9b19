"""What happened to the air in one bottle, kept so that its pressure can be worked out at any time. A fold.

The pitch measures what is still in the bottle (`rounds.belief.pressure`), so time takes nothing off: air
that was counted in, and whose pitch has not fallen, is still there after a night. What a pitch is worth in
pressure is learned from fills: strokes counted between two pitches, or from empty, or from a gauge.

Three things a reader might undo:

* A pitch that fell while nobody let air out counts only when a second strike agrees, and a third where it
  fell far: until then the earlier, higher pitch measures the pressure, strokes since then added.
* Strokes let out take nothing off by themselves, since what the pin lets out is a guess: the pitch tells.
* A gauge that contradicts everything else, or that agrees as well with being in another unit, is read once
  more and its unit is asked for. The same number again settles nothing: until strokes, the pitch or the
  unit named by the player do, the higher counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from rounds.air import NOTHING_KPA, played_gauge_kpa, stroke_kpa
from rounds.belief.pressure import Bottles, DialReading, Fill, Kind, believed
from rounds.notes import cents

if TYPE_CHECKING:
    from rounds.belief.pressure import Floats
    from rounds.rig import Rig

FALL_CENTS = 25.0
"""A pitch lower by no more than this is believed at once: settling, leaks and the ear do that."""
FAR_CENTS = 300.0
"""A fall beyond this needs a third strike."""
AGREE_CENTS = 30.0
"""Strikes as near as this to one another agree."""
FRESH_S = 45.0
"""A gauge belongs to a pitch heard no longer ago than this, else to the next one: the gas cools meanwhile."""
NEAR_CENTS = 35.0
"""A gauge was read at about the pitch of now if it was read no further from it. Our guess."""
BELIEVED = 0.3
"""A gauge reading that is less likely than this to be what it seems is doubted. Our guess."""
MOST_FILLS = 8
"""So many fills and gauge readings are kept."""


@dataclass(frozen=True)
class AirLog:
    """What is known of one bottle's air. `hz` is the pitch that measures its pressure."""

    hz: float | None = None
    hz_at_s: float = -math.inf
    agreed: bool = False
    """Whether two strikes agree on that pitch."""
    empty: bool = False
    """The player said that no air was in it, and it was not heard since."""
    strokes: float = 0.0
    """Strokes in since then, and as many as there may be in."""
    at_most: float = 0.0
    maybe: float = 0.0
    """Strokes that may be in, and count: a strike showed them and was taken back, or they were asked for."""
    let_out: bool = False
    """Whether air was let out since then, or moved by an amount that nobody knows."""
    low: tuple[float, ...] = ()
    """The last pitches, where they were lower than `hz` allows."""
    fills: tuple[Fill, ...] = ()
    readings: tuple[DialReading, ...] = ()
    """Gauge readings with the pitch that belongs to each, oldest first."""
    read_kpa: float | None = None
    """A gauge reading that waits for a strike, the unit it was taken in, and the strokes in since it."""
    read_unit: str | None = None
    read_strokes: float = 0.0
    temp_c: float | None = None
    """The air when it was struck last."""
    lowest_hz: float | None = None
    held_hz: float | None = None
    """The highest pitch that two strikes in a row agreed on: so much the bottle has held already."""

    def heard(self, hz: float, at_s: float, temp_c: float | None = None) -> AirLog:
        """After a clear strike."""
        log = replace(self, lowest_hz=min(hz, self.lowest_hz or hz), temp_c=temp_c)
        if self.hz is None or cents(hz, self.hz) >= -FALL_CENTS:
            return log._counted(hz, at_s)
        low = (*self.low, hz)[-3:]
        agreeing = [h for h in low if abs(cents(h, hz)) <= AGREE_CENTS]
        far = cents(hz, self.hz) < -FAR_CENTS
        needed = 2 + far - self.let_out
        if len(agreeing) >= needed:
            return log._fallen(max(agreeing), at_s, agreed=len(agreeing) > 1)
        return replace(log, low=low)

    def _counted(self, hz: float, at_s: float) -> AirLog:
        """The pitch measures the pressure from now on; how it came there tells of the shell."""
        log, most = self._gauge_met(hz), self.most
        if most > 0.0 and not self.let_out:
            begun_kpa, surely = (0.0 if self.empty else None), self.empty or self.agreed
            fill = Fill(self.strokes, hz, self.hz, begun_kpa, at_most=most, begun_surely=surely)
            log = log if self._was_so_before(fill) else replace(log, fills=_with(self.fills, fill))
        agreed = self.hz is not None and abs(cents(hz, self.hz)) <= AGREE_CENTS
        if self.hz is not None and agreed:
            log = replace(log, held_hz=max(self.held_hz or 0.0, min(hz, self.hz)))
            fills = tuple(replace(f, ended_surely=True) if f.to_hz == self.hz else f for f in log.fills)
            log = log if most > 0.0 else replace(log, fills=fills)
        return log._measured_by(hz, at_s, agreed=agreed and most == 0.0)

    def _was_so_before(self, fill: Fill) -> bool:
        """Whether air was asked for again that may not have gone in, and the pitch is still the same."""
        last = self.fills[-1] if self.fills and fill.strokes == 0.0 else None
        return last is not None and last.strokes == 0.0 and abs(cents(last.to_hz, fill.to_hz)) <= AGREE_CENTS

    def _fallen(self, hz: float, at_s: float, *, agreed: bool) -> AirLog:
        """Strikes agree that the pitch is lower: a fill that only one strike showed ended no higher."""
        log = self._gauge_met(hz)
        if self.hz is not None and (self.held_hz or 0.0) < self.hz:
            fills = tuple(replace(f, to_hz=hz) if f.to_hz == self.hz else f for f in self.fills)
            log = replace(log, fills=fills)
        return log._measured_by(hz, at_s, agreed=agreed)

    def _gauge_met(self, hz: float) -> AirLog:
        """The gauge reading that waited for a pitch has one."""
        if self.read_kpa is None:
            return self
        met = DialReading(self.read_kpa, hz, self.read_strokes, self.read_unit)
        log = replace(self, read_kpa=None, read_strokes=0.0)
        return log if self.let_out else replace(log, readings=(*self.readings, met)[-MOST_FILLS:])

    def _measured_by(self, hz: float, at_s: float, *, agreed: bool = False) -> AirLog:
        air = {"empty": False, "strokes": 0.0, "at_most": 0.0, "maybe": 0.0, "let_out": False, "low": ()}
        return replace(self, hz=hz, hz_at_s=at_s, agreed=agreed, **air)  # type: ignore[arg-type]

    @property
    def most(self) -> float:
        """As many strokes as may have gone in since the pitch was heard."""
        return max(self.at_most, self.strokes) + self.maybe

    def moved(self, strokes: float | None, at_most: float | None = None, *, heard: bool = False) -> AirLog:
        """After strokes in (out: negative) or the most it may have been; None: nobody knows how many.

        What a strike shows may be the air that a strike before it showed, and that was taken back.
        """
        if strokes is None or max(strokes, at_most or 0.0) <= 0.0:
            return replace(self, let_out=True)
        most = max(strokes, at_most or 0.0, self.maybe if heard else 0.0)
        return replace(
            self,
            strokes=self.strokes + strokes,
            at_most=self.at_most + most,
            maybe=0.0 if heard else self.maybe,
            read_strokes=self.read_strokes + strokes,
            low=(),
        )

    def perhaps_moved(self, strokes: float | None, at_most: float | None = None) -> AirLog:
        """After air that may be in: asked for and not shown by the strike, or the strike was taken back."""
        if strokes is None or strokes <= 0.0:
            return self
        return replace(self, maybe=max(self.maybe, strokes, at_most or 0.0))

    @property
    def is_empty(self) -> bool:
        """Whether the player said that no air is in it, and none came since."""
        return self.empty and self.most <= 0.0

    def emptied(self) -> AirLog:
        """After the player said that no air is in it."""
        return AirLog(empty=True, fills=self.fills, readings=self.readings, lowest_hz=self.lowest_hz)

    def gauge_read(self, gauge_kpa: float, at_s: float, unit: str | None = "psi") -> AirLog:
        """After a gauge was read; it belongs to a pitch just heard, or to the next one.

        `unit`: what a bare number was taken for; None where the player named it.
        """
        empty = self.empty and (self.most > 0.0 or gauge_kpa <= NOTHING_KPA)
        log = replace(self, read_kpa=gauge_kpa, read_unit=unit, read_strokes=0.0, empty=empty)
        if self.low and self.most == 0.0:
            # What it reads goes with the pitch heard last, whatever was believed of that.
            return replace(log, let_out=False)._gauge_met(self.low[-1])._measured_by(self.low[-1], at_s)
        moved = self.most > 0.0 or self.let_out
        if self.hz is None or moved or at_s - self.hz_at_s > FRESH_S:
            return log
        return log._gauge_met(self.hz)

    def same_shell(self) -> AirLog:
        """After a new cap: the shell is the same, the air is not."""
        return AirLog(fills=self.fills, readings=self.readings, lowest_hz=self.lowest_hz)

    @classmethod
    def from_kept(cls, kept: dict[str, Any]) -> AirLog:
        """The log that `dataclasses.asdict` took apart, after a way through JSON."""
        fills = tuple(Fill(**f) for f in kept["fills"])
        readings = tuple(DialReading(**r) for r in kept["readings"])
        hz_at_s = -math.inf if kept["hz_at_s"] is None else kept["hz_at_s"]
        others = {"fills": fills, "readings": readings, "low": tuple(kept["low"]), "hz_at_s": hz_at_s}
        return cls(**{**kept, **others})


def _with(fills: tuple[Fill, ...], fill: Fill) -> tuple[Fill, ...]:
    """One fill more, oldest first; where there are many, one that goes on from the last is added to it."""
    if len(fills) < MOST_FILLS:
        return (*fills, fill)
    last = fills[-1]
    if fill.from_hz == last.to_hz:
        most = (last.at_most or last.strokes) + (fill.at_most or fill.strokes)
        strokes = last.strokes + fill.strokes
        return (
            *fills[:-1],
            replace(last, strokes=strokes, at_most=most, to_hz=fill.to_hz, ended_surely=False),
        )
    least = min(fills, key=lambda f: f.at_most or f.strokes)
    return (*(f for f in fills if f is not least), fill)


NOTHING_KNOWN = AirLog()


def kind_of(rig: Rig, bottle_id: str) -> Kind:
    """What is supposed of a bottle before anything is known of it."""
    bottle, pump = rig.bottle(bottle_id), rig.pump_of(bottle_id)
    return Kind(
        rig.target_hz(bottle_id),
        played_gauge_kpa(bottle.note.midi),
        stroke_kpa(pump.barrel_ml, bottle.volume_ml),
        pump.gauge_sd_kpa,
    )


@dataclass(frozen=True, eq=False)
class Pressure:
    """What may be in a bottle now: a pressure for each thinkable bottle, in kPa."""

    kind: Kind
    log: AirLog
    hz: float
    """The pitch that measures it."""

    @cached_property
    def bottles(self) -> Bottles:
        """All that is not ruled out."""
        return believed(self.kind, self.log.fills, self.log.readings, self.log.lowest_hz)

    @cached_property
    def now_kpa(self) -> Floats:
        """The pressure in each of them, the strokes counted since its pitch was heard on top."""
        return self._now_kpa(self.bottles)

    def _now_kpa(self, bottles: Bottles) -> Floats:
        begun_kpa = 0.0 if self.log.empty else bottles.pressures_kpa(self.hz)
        return begun_kpa + self.log.most * bottles.stroke_kpa

    @property
    def expected_kpa(self) -> float:
        """The most likely pressure."""
        return float(self.bottles.weight @ self.now_kpa)

    @property
    def surely_expected_kpa(self) -> float:
        """The most likely pressure, where one strike alone, sharper than at the gauge, counts for nothing."""
        sharper = self.newest is not None and not self.log.agreed and self.newest.to_hz < self.hz
        if self.newest is None or not sharper:
            return self.expected_kpa
        pumped_kpa = self.log.most * self.bottles.stroke_kpa
        return float(self.bottles.weight @ (self.bottles.pressures_kpa(self.newest.to_hz) + pumped_kpa))

    @property
    def counted_kpa(self) -> float:
        """What counts as in the bottle: of that and a gauge reading that is doubted, the higher."""
        if self.newest is None or not self.doubted or not self.times_read:
            return self.surely_expected_kpa
        return max(self.surely_expected_kpa, self.newest.read_kpa)

    def expected_at_kpa(self, hz: float) -> float:
        """The most likely pressure at a pitch."""
        return float(self.bottles.weight @ self.bottles.pressures_kpa(hz))

    @property
    def least_kpa(self) -> float:
        """The lower bound."""
        return float(self.now_kpa.min())

    @property
    def most_kpa(self) -> float:
        """The upper bound."""
        return float(self.now_kpa.max())

    def after_kpa(self, strokes: float) -> float:
        """The most likely pressure after strokes."""
        return max(0.0, float(self.bottles.weight @ (self.now_kpa + strokes * self.bottles.stroke_kpa)))

    def most_after_kpa(self, strokes: float) -> float:
        """The upper bound after strokes."""
        return float((self.now_kpa + strokes * self.bottles.stroke_kpa).max())

    def room(self, limit_kpa: float) -> float:
        """As many strokes as keep the upper bound at a limit; negative where it is above already."""
        return float(((limit_kpa - self.now_kpa) / self.bottles.stroke_kpa).min())

    def chance_below(self, limit_kpa: float, strokes: float) -> float:
        """The chance that strokes end below a limit."""
        after_kpa = self.now_kpa + strokes * self.bottles.stroke_kpa
        return float(self.bottles.weight[after_kpa <= limit_kpa].sum())

    @property
    def seen(self) -> bool:
        """Whether anything but its pitch is known: a fill, a gauge, or that it is empty."""
        return bool(self.log.empty or self.log.fills or self.log.readings)

    @property
    def newest(self) -> DialReading | None:
        """The newest gauge reading, None where none was taken."""
        return self.log.readings[-1] if self.log.readings else None

    @property
    def times_read(self) -> int:
        """How often a gauge was read at about the pitch of now."""
        if self.log.most > 0.0:
            return 0
        return sum(abs(cents(r.to_hz, self.hz)) <= NEAR_CENTS for r in self.log.readings)

    @property
    def doubted(self) -> bool:
        """Whether strokes and pitch rather say that the newest gauge reading is not what it seems."""
        return self.newest is not None and float(self.bottles.weight @ self.bottles.as_read) < BELIEVED

    @property
    def doubted_as_too_low(self) -> bool:
        """Whether it is doubted, and more may be in the bottle than it says."""
        return self.doubted and float(self.now_kpa[self.bottles.as_read].max(initial=0.0)) < self.most_kpa

    def room_as_read(self, limit_kpa: float) -> float:
        """The room, if the newest gauge reading is what it seems."""
        room = (limit_kpa - self.now_kpa) / self.bottles.stroke_kpa
        return float(room[self.bottles.as_read].min(initial=math.inf))

    def without_gauge_kpa(self) -> tuple[float, float]:
        """The bounds if no gauge had been read, lower and upper."""
        now_kpa = self._now_kpa(believed(self.kind, self.log.fills, (), self.log.lowest_hz))
        return float(now_kpa.min()), float(now_kpa.max())


def pressure_now(kind: Kind, log: AirLog, level_hz: float) -> Pressure:
    """The pressure as everything that is known leaves it; `level_hz` where no strike counts yet."""
    return Pressure(kind, log, log.hz or level_hz)
