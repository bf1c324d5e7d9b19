"""What happened to the air in one bottle, kept so that its pressure can be worked out at any time. A fold.

The pitch measures what is still in the bottle (`rounds.belief.pressure`), so time takes nothing off: air
that was counted in, and whose pitch has not fallen, is still there after a night. What a pitch is worth in
pressure is learned from fills: strokes counted between two pitches, or from empty, or from a gauge.

Three things a reader might undo:

* A pitch that fell while nobody let air out counts only when a second strike agrees, and a third where it
  fell far: until then the earlier, higher pitch measures the pressure, strokes since then added.
* Strokes let out take nothing off by themselves, since what the pin lets out is a guess: the pitch tells.
* A gauge that reads far less than everything else leaves possible is not believed (a head that is not
  seated reads 0, bar are typed for psi). It is asked for once more; a second reading settles it, and what
  reads too low twice is bar where that fits, else set aside: of gauge and strokes the higher counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from rounds.air import KPA_PER_BAR, KPA_PER_PSI, played_gauge_kpa, stroke_kpa
from rounds.belief.pressure import NOTHING_KPA, Bottles, Fill, Kind, believed
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
SURE_SD = 3.09
"""A reading so many standard deviations outside all that is possible is asked for again."""
FRESH_S = 180.0
"""A gauge belongs to a pitch heard no longer ago than this; else to the next one."""
MOST_FILLS = 8
"""So many fills and gauge readings are kept."""


@dataclass(frozen=True)
class AirLog:
    """What is known of one bottle's air. `hz` is the pitch that measures its pressure."""

    hz: float | None = None
    hz_at_s: float = -math.inf
    empty: bool = False
    """The player said that no air was in it, and it was not heard since."""
    strokes: float = 0.0
    """Strokes in since then, and as many as there may be in."""
    at_most: float = 0.0
    maybe: float = 0.0
    """Strokes that a strike showed which was taken back: they may be in, and count."""
    let_out: bool = False
    """Whether air was let out since then, or moved by an amount that nobody knows."""
    low: tuple[float, ...] = ()
    """The last pitches, where they were lower than `hz` allows."""
    fills: tuple[Fill, ...] = ()
    readings: tuple[Fill, ...] = ()
    """Gauge readings, oldest first, as fills that began at what the gauge showed."""
    read_kpa: float | None = None
    """A gauge reading that waits for a strike, and the strokes in since it."""
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
            return log._fallen(max(agreeing), at_s)
        return replace(log, low=low)

    def _counted(self, hz: float, at_s: float) -> AirLog:
        """The pitch measures the pressure from now on; how it came there tells of the shell."""
        log, most = self._gauge_met(hz), self.most
        if most > 0.0 and not self.let_out:
            fill = Fill(self.strokes, hz, self.hz, 0.0 if self.empty else None, at_most=most)
            log = replace(log, fills=_with(self.fills, fill))
        if self.hz is not None and abs(cents(hz, self.hz)) <= AGREE_CENTS:
            log = replace(log, held_hz=max(self.held_hz or 0.0, min(hz, self.hz)))
        return log._measured_by(hz, at_s)

    def _fallen(self, hz: float, at_s: float) -> AirLog:
        """Strikes agree that the pitch is lower: a fill that only one strike showed ended no higher."""
        log = self._gauge_met(hz)
        if self.hz is not None and (self.held_hz or 0.0) < self.hz:
            fills = tuple(replace(f, to_hz=hz) if f.to_hz == self.hz else f for f in self.fills)
            log = replace(log, fills=fills)
        return log._measured_by(hz, at_s)

    def _gauge_met(self, hz: float) -> AirLog:
        """The gauge reading that waited for a pitch has one."""
        if self.read_kpa is None:
            return self
        met = Fill(self.read_strokes, hz, None, self.read_kpa, gauged=True)
        log = replace(self, read_kpa=None, read_strokes=0.0)
        return log if self.let_out else replace(log, readings=(*self.readings, met)[-MOST_FILLS:])

    def _measured_by(self, hz: float, at_s: float) -> AirLog:
        air = {"empty": False, "strokes": 0.0, "at_most": 0.0, "maybe": 0.0, "let_out": False, "low": ()}
        return replace(self, hz=hz, hz_at_s=at_s, **air)  # type: ignore[arg-type]

    @property
    def most(self) -> float:
        """As many strokes as may have gone in since the pitch was heard."""
        return max(self.at_most, self.strokes) + self.maybe

    def moved(self, strokes: float | None, at_most: float | None = None, *, heard: bool = False) -> AirLog:
        """After strokes in (out: negative) or the most it may have been; None: nobody knows how many.

        What a strike shows may be the air that a strike before it showed, and that was taken back.
        """
        if strokes is None or strokes <= 0.0:
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

    def heard_and_taken_back(self, strokes: float | None, at_most: float | None) -> AirLog:
        """After air that a strike showed, where that strike was taken back: it may have gone in."""
        if strokes is None or strokes <= 0.0:
            return self
        return replace(self, maybe=max(self.maybe, strokes, at_most or 0.0))

    def emptied(self) -> AirLog:
        """After the player said that no air is in it."""
        return AirLog(empty=True, fills=self.fills, readings=self.readings, lowest_hz=self.lowest_hz)

    def gauge_read(self, gauge_kpa: float, at_s: float) -> AirLog:
        """After a gauge was read; it belongs to a pitch just heard, or to the next one."""
        log = replace(self, read_kpa=gauge_kpa, read_strokes=0.0)
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
        fills = {name: tuple(Fill(**f) for f in kept[name]) for name in ("fills", "readings")}
        hz_at_s = -math.inf if kept["hz_at_s"] is None else kept["hz_at_s"]
        return cls(**{**kept, **fills, "low": tuple(kept["low"]), "hz_at_s": hz_at_s})


def _with(fills: tuple[Fill, ...], fill: Fill) -> tuple[Fill, ...]:
    """One fill more, oldest first; where there are many, one that goes on from the last is added to it."""
    if len(fills) < MOST_FILLS:
        return (*fills, fill)
    last = fills[-1]
    if fill.from_hz == last.to_hz:
        most = (last.at_most or last.strokes) + (fill.at_most or fill.strokes)
        strokes = last.strokes + fill.strokes
        return (*fills[:-1], replace(last, strokes=strokes, at_most=most, to_hz=fill.to_hz))
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

    bottles: Bottles
    now_kpa: Floats
    doubted_kpa: float | None
    """A gauge reading that all else contradicts, and that is to be read again."""
    gauged_kpa: float | None
    """The pressure at the newest gauge reading that is believed."""
    aside: bool
    """Whether a gauge made no sense twice: it is not asked for again."""

    @property
    def expected_kpa(self) -> float:
        """The most likely pressure."""
        return float(self.bottles.weight @ self.now_kpa)

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


def pressure_now(kind: Kind, log: AirLog, level_hz: float) -> Pressure:
    """The pressure as everything that is known leaves it; `level_hz` where no strike counts yet."""
    judged = _judged(kind, log.fills, log.readings, log.lowest_hz)
    bottles = believed(kind, judged.fills, log.lowest_hz)
    if log.empty:
        now_kpa = log.most * bottles.stroke_kpa
    else:
        now_kpa = bottles.pressures_kpa(log.hz or level_hz) + log.most * bottles.stroke_kpa
    gauged = [f.from_kpa for f in judged.fills if f.gauged and f.from_kpa is not None]
    return Pressure(bottles, now_kpa, judged.doubted_kpa, gauged[-1] if gauged else None, judged.aside)


Verdict = Literal["fits", "impossible", "unlikely", "high"]


@dataclass(frozen=True)
class _Judged:
    """The fills and readings that are believed, and the reading that is not."""

    fills: tuple[Fill, ...]
    doubted_kpa: float | None
    aside: bool


@lru_cache(maxsize=512)
def _judged(
    kind: Kind, fills: tuple[Fill, ...], readings: tuple[Fill, ...], lowest_hz: float | None
) -> _Judged:
    """Hold each gauge reading against all else; a second one settles what the first one leaves open."""
    accepted: list[Fill] = []
    doubted: Fill | None = None
    aside = False
    for reading in readings:
        bottles = believed(kind, (*fills, *accepted), lowest_hz)
        verdict = _verdict(bottles, kind, reading)
        if verdict == "fits":
            accepted, doubted = [*accepted, reading], None
        elif doubted is None or not _same(doubted, reading, kind):
            doubted = reading
        else:
            settled = _settled(bottles, kind, reading, verdict)
            aside = aside or settled is None
            accepted = accepted if settled is None else [*accepted, settled]
            doubted = None
    if (
        doubted is not None
        and _verdict(believed(kind, (*fills, *accepted), lowest_hz), kind, doubted) == "high"
    ):
        accepted = [*accepted, doubted]
    return _Judged((*fills, *accepted), None if doubted is None else doubted.from_kpa, aside)


def _settled(bottles: Bottles, kind: Kind, reading: Fill, verdict: Verdict) -> Fill | None:
    """What is believed of a reading that was the same twice, though it did not fit; None: nothing."""
    if verdict != "impossible":
        return reading
    in_bar = replace(reading, from_kpa=(reading.from_kpa or 0.0) * KPA_PER_BAR / KPA_PER_PSI)
    seated = (reading.from_kpa or 0.0) > NOTHING_KPA
    return in_bar if seated and _verdict(bottles, kind, in_bar) == "fits" else None


def _verdict(bottles: Bottles, kind: Kind, reading: Fill) -> Verdict:
    """How a reading fits what else is believed: `impossible` is too low, `unlikely` is far under the likely.

    A dial that shows nothing says nothing of a bottle that is likely to hold something.
    """
    begun_kpa = bottles.pressures_kpa(reading.to_hz) - reading.strokes * bottles.stroke_kpa
    read_kpa, sd_kpa = reading.from_kpa or 0.0, kind.gauge_sd_kpa
    likely_kpa = float(bottles.weight @ begun_kpa)
    nothing = read_kpa <= NOTHING_KPA < 0.25 * likely_kpa
    if nothing or read_kpa + SURE_SD * sd_kpa < begun_kpa.min():
        return "impossible"
    if read_kpa - SURE_SD * sd_kpa > begun_kpa.max():
        return "high"
    return "unlikely" if read_kpa + 2.0 * sd_kpa < 0.5 * likely_kpa else "fits"


def _same(one: Fill, other: Fill, kind: Kind) -> bool:
    return abs((one.from_kpa or 0.0) - (other.from_kpa or 0.0)) <= 1.5 * kind.gauge_sd_kpa
