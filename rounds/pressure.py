"""What was told of the air in a bottle: gauge readings, and strokes in and out.

The ceiling must not hang on the pitch alone. A bottle that is stiffer than its note lets suppose
takes more air for the same pitch, so the strokes told of are counted too, as a least pressure. They
fade faster than any sound bottle leaks, else topping up for weeks would add up to a pressure that was
never there. A gauge is believed as it stands for two hours while air is only added; after that, or
after a let-out (whose amount is a guess), it too is only a least pressure, and fades.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

FADING_S = 8.0 * 3600.0
"""Strokes told of fade by 1/e in this time. Common practice, no source: sound bottles need a day."""
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
class AirTold:
    """What was told of one bottle's air. `strokes` are those that went in, faded, as at `strokes_at_s`."""

    strokes: float = 0.0
    strokes_at_s: float = 0.0
    gauge_kpa: float | None = None
    gauge_at_s: float = 0.0
    since_gauge: float = 0.0
    """Strokes in, less those let out, since the gauge was read."""
    let_out: bool = False
    """Whether air was let out since then."""
    maybe: float = 0.0
    """Strokes that a strike showed which was taken back, as at `strokes_at_s`: they may be in, and count."""

    def moved(
        self, strokes: float | None, at_s: float, at_most: float | None = None, *, heard: bool = False
    ) -> AirTold:
        """After strokes in (out: negative) or the most it may have been. None ends the worth of a gauge.

        What a strike shows may be the air that a strike before it showed, and that was taken back.
        """
        if strokes is None:
            return replace(self, gauge_kpa=None)
        strokes = strokes if at_most is None else max(strokes, at_most)
        same = heard and strokes > 0.0
        maybe = self.maybe * self._share_left(at_s)
        strokes = max(strokes, maybe) if same else strokes
        return replace(
            self,
            strokes=max(0.0, self.strokes * self._share_left(at_s) + strokes),
            strokes_at_s=max(at_s, self.strokes_at_s),
            since_gauge=self.since_gauge + strokes,
            let_out=self.let_out or strokes < 0.0,
            maybe=0.0 if same else maybe,
        )

    def heard_and_taken_back(self, strokes: float | None, at_s: float, at_most: float | None) -> AirTold:
        """After air that a strike showed, where that strike was taken back: it may have gone in all the same.

        So nothing is let out, what went in still counts, and a gauge read before is only a least pressure.
        """
        if strokes is None:
            return replace(self, let_out=True)
        left = self._share_left(at_s)
        return replace(
            self,
            strokes=self.strokes * left,
            strokes_at_s=max(at_s, self.strokes_at_s),
            maybe=max(self.maybe * left, strokes, at_most or 0.0),
        )

    def gauged(self, gauge_kpa: float, at_s: float) -> AirTold:
        """After a gauge was read; what may be in is in what it reads."""
        told = replace(self, gauge_kpa=gauge_kpa, gauge_at_s=at_s, since_gauge=0.0, let_out=False)
        return replace(told, strokes=self.strokes + self.maybe, maybe=0.0)

    def at(self, now_s: float, stroke_kpa: float) -> PressureTold:
        """What it comes to now, one full stroke being worth `stroke_kpa`."""
        least_kpa = OVERCOUNT * (self.strokes + self.maybe) * self._share_left(now_s) * stroke_kpa
        if self.gauge_kpa is None:
            return PressureTold(None, least_kpa)
        age_s = max(0.0, now_s - self.gauge_at_s)
        gauge_kpa = max(0.0, self.gauge_kpa + (self.since_gauge + self.maybe) * stroke_kpa)
        if age_s <= GAUGE_GOOD_S and not self.let_out:
            return PressureTold(gauge_kpa, least_kpa)
        return PressureTold(None, max(least_kpa, gauge_kpa * math.exp(-age_s / FADING_S)))

    def _share_left(self, now_s: float) -> float:
        return math.exp(-max(0.0, now_s - self.strokes_at_s) / FADING_S)
