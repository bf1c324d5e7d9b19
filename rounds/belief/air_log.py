"""What is known of the air in a bottle beside its pitch: gauge readings, and strokes counted in and out.

The ceiling must not hang on the pitch alone. A bottle that is stiffer than its note lets suppose
takes more air for the same pitch, so the strokes counted are added up too, as a least pressure. Time
alone takes nothing off it: air that went in, and whose pitch has not fallen, is still there after a
night. Where the pitch fell while no air was moved, the same share of the counted air is gone at most
(f² = a + b p, so p falls by no smaller share than f²). A fall counts only when two strikes show it. A gauge
is believed for two hours while air is only added; after that, or after a let-out (whose amount is a
guess), it too is only a least pressure. Of gauge and strokes the higher counts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

OVERCOUNT = 1.05
"""Strokes are counted for a little more than they are told: hands are not exact."""
GAUGE_GOOD_S = 2.0 * 3600.0
"""A gauge reading is believed as it stands for so long. Common practice, no source."""


@dataclass(frozen=True)
class PressureTold:
    """At one moment: pressure by a gauge that still counts, and the least that was told of, in kPa."""

    gauge_kpa: float | None = None
    least_kpa: float = 0.0


NOTHING_TOLD = PressureTold()


@dataclass(frozen=True)
class AirLog:
    """What was told of one bottle's air. `strokes` are those that went in, as at the last move of air."""

    strokes: float = 0.0
    gauge_kpa: float | None = None
    gauge_at_s: float = 0.0
    since_gauge: float = 0.0
    """Strokes in, less those let out, since the gauge was read."""
    let_out: bool = False
    """Whether air was let out since then."""
    maybe: float = 0.0
    """Strokes that a strike showed which was taken back: they may be in, and count."""
    highest_hz: float | None = None
    """The highest pitch that two strikes in a row reached since air was moved, and the last two pitches."""
    last_hz: float | None = None
    before_hz: float | None = None

    def heard(self, hz: float) -> AirLog:
        """After a strike, no air moved: the pitch may have fallen since the one before."""
        both_hz = 0.0 if self.last_hz is None else min(hz, self.last_hz)
        highest_hz = max(both_hz, self.highest_hz or 0.0) or None
        return replace(self, highest_hz=highest_hz, last_hz=hz, before_hz=self.last_hz)

    def moved(
        self, strokes: float | None, at_s: float, at_most: float | None = None, *, heard: bool = False
    ) -> AirLog:
        """After strokes in (out: negative) or the most it may have been. None ends the worth of a gauge.

        What a strike shows may be the air that a strike before it showed, and that was taken back.
        """
        if strokes is None:
            return replace(self._faded(), gauge_kpa=None)
        strokes = strokes if at_most is None else max(strokes, at_most)
        same = heard and strokes > 0.0
        told = self._faded()
        strokes = max(strokes, told.maybe) if same else strokes
        return replace(
            told,
            strokes=max(0.0, told.strokes + strokes),
            since_gauge=told.since_gauge + strokes,
            let_out=told.let_out or strokes < 0.0,
            maybe=0.0 if same else told.maybe,
        )

    def heard_and_taken_back(self, strokes: float | None, at_s: float, at_most: float | None) -> AirLog:
        """After air that a strike showed, where that strike was taken back: it may have gone in all the same.

        So nothing is let out, what went in still counts, and a gauge read before is only a least pressure.
        """
        if strokes is None:
            return replace(self, let_out=True)
        told = self._faded()
        return replace(told, maybe=max(told.maybe, strokes, at_most or 0.0))

    def gauged(self, gauge_kpa: float, at_s: float) -> AirLog:
        """After a gauge was read; what may be in is in what it reads."""
        told = replace(self._faded(), gauge_kpa=gauge_kpa, gauge_at_s=at_s, since_gauge=0.0, let_out=False)
        return replace(told, strokes=told.strokes + told.maybe, maybe=0.0)

    def at(self, now_s: float, stroke_kpa: float) -> PressureTold:
        """What it comes to now, one full stroke being worth `stroke_kpa`."""
        told = self._faded()
        least_kpa = OVERCOUNT * (told.strokes + told.maybe) * stroke_kpa
        if told.gauge_kpa is None:
            return PressureTold(None, least_kpa)
        gauge_kpa = max(0.0, told.gauge_kpa + (told.since_gauge + told.maybe) * stroke_kpa)
        if now_s - self.gauge_at_s <= GAUGE_GOOD_S and not told.let_out:
            return PressureTold(gauge_kpa, least_kpa)
        return PressureTold(None, max(least_kpa, gauge_kpa))

    def _faded(self) -> AirLog:
        """The same with what the pitch shows to be gone taken off, as if nothing had been heard since."""
        unheard = replace(self, highest_hz=None, last_hz=None, before_hz=None)
        if self.highest_hz is None or self.last_hz is None or self.before_hz is None:
            return unheard
        left = min(1.0, (max(self.last_hz, self.before_hz) / self.highest_hz) ** 2)
        gauge_kpa = None if self.gauge_kpa is None else left * self.gauge_kpa
        return replace(
            unheard,
            strokes=left * self.strokes,
            maybe=left * self.maybe,
            gauge_kpa=gauge_kpa,
            since_gauge=left * self.since_gauge,
        )
