"""How long the bottles hold, and when the next round is due.

Everything here is worked out from beliefs and a time; nothing is remembered. Chances are of lying
further than the bottle's tolerance from its target, the target moved by `shift_cents`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.belief.in_or_out import LIKELY_OUT
from rounds.gauss import Gauss
from rounds.rig import due_limit_for
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from rounds.belief import Beliefs
    from rounds.rig import Group, Rig

HORIZON_MIN = 120.0
"""Nothing is said about what happens later than this."""
GRID_MIN = tuple(
    float(m) for m in (0, 1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 18, 21, 25, 30, 35, 40, 50, 60, 75, 90, 105, 120)
)
"""Minutes at which paths are worked out; crossings are interpolated between them."""
FINER = 6
"""Parts into which the stretch of the grid with the due time in it is cut."""
ONE_OUT = 0.5
"""With fewer than this expected out it is said that all hold."""
MOST_NAMED = 3
"""So many bottles are named in the reason of a due time."""
SOMEBODY_OUT = 0.9
"""Where the player set no limit, a round is due only when somebody is out with this chance: a call that finds
nobody out costs trust. Our guess."""
WORST_SDS = 1.0
"""The worst deviation told for a take is the mean's plus this many standard deviations."""


@dataclass(frozen=True)
class At:
    """One bottle some minutes ahead. `cents` off its nominal target."""

    minutes: float
    cents: float
    sd_cents: float
    p_out: float


@dataclass(frozen=True)
class BottleForecast:
    """One bottle's forecast. `hold_min`: until it is more likely out than in; `leaves_min`: until its
    expected pitch leaves the tolerance. None past `HORIZON_MIN`; 0 when that is so already."""

    id: str
    group: Group
    heard: bool
    at: tuple[At, ...]
    hold_min: float | None
    leaves_min: float | None


@dataclass(frozen=True)
class Forecast:
    """All bottles of a rig, in the rig's order."""

    now_s: float
    temp_c: float | None
    bottles: tuple[BottleForecast, ...]


@dataclass(frozen=True)
class Due:
    """When the next round is due (None: not within the horizon, or nothing is known) and why.

    `first_s`: when the first bottle is more likely out than in, which may be long before a round is due.
    `put_off_until_s`: the player asked for no call before then.
    """

    due_s: float | None
    reason: str
    doubtful: tuple[str, ...]
    heard: bool = True
    """Whether anything is known of any needed bottle."""
    first_s: float | None = None
    first: tuple[str, ...] = ()
    """The bottles that are the first out."""
    put_off_until_s: float | None = None

    def put_off(self, until_s: float) -> Due:
        """The same with no round due before a time."""
        if self.due_s is None or self.due_s >= until_s:
            return self
        return replace(self, due_s=until_s, put_off_until_s=until_s)


@dataclass(frozen=True)
class Worst:
    """The worst deviation foreseen in a stretch of time and the bottles that are likely out in it."""

    worst_cents: float | None
    worst_bottle: str | None
    doubtful: tuple[str, ...]


def forecast(
    rig: Rig,
    beliefs: Beliefs,
    now_s: float,
    minutes: Sequence[float],
    temp_c: float | None = None,
    shift_cents: float = 0.0,
) -> Forecast:
    """Forecast every bottle at some minutes from now."""
    bottles = tuple(_bottle(rig, beliefs, b.id, now_s, minutes, temp_c, shift_cents) for b in rig.bottles)
    return Forecast(now_s, temp_c if temp_c is not None else beliefs.temp_c, bottles)


def _bottle(
    rig: Rig,
    beliefs: Beliefs,
    bottle_id: str,
    now_s: float,
    minutes: Sequence[float],
    temp_c: float | None,
    shift_cents: float,
) -> BottleForecast:
    bottle = rig.bottle(bottle_id)
    tolerance = bottle.tolerance_cents
    means, sds = beliefs.path(bottle_id, now_s, (*minutes, *GRID_MIN), temp_c)
    points = [Gauss(float(m), float(s)) for m, s in zip(means, sds, strict=True)]
    at = tuple(
        At(m, p.mean, p.sd, p.outside(tolerance, shift_cents)) for m, p in zip(minutes, points, strict=False)
    )
    if not beliefs.heard(bottle_id):
        return BottleForecast(bottle_id, bottle.group, False, at, None, None)
    later = points[len(minutes) :]
    chances = [p.outside(tolerance, shift_cents) - LIKELY_OUT for p in later]
    distances = [abs(p.mean - shift_cents) - tolerance for p in later]
    return BottleForecast(
        bottle_id, bottle.group, True, at, first_crossing(chances), first_crossing(distances)
    )


def first_crossing(values: Sequence[float], grid: Sequence[float] = GRID_MIN) -> float | None:
    """The first place on a grid where values turn positive, interpolated; None when they never do."""
    if values[0] > 0.0:
        return grid[0]
    for i in range(1, len(values)):
        if values[i] > 0.0:
            share = -values[i - 1] / (values[i] - values[i - 1])
            return grid[i - 1] + share * (grid[i] - grid[i - 1])
    return None


def due(
    rig: Rig,
    beliefs: Beliefs,
    needed: Mapping[str, float],
    now_s: float,
    limit: float | None,
    shift_cents: float = 0.0,
    temp_c: float | None = None,
) -> Due:
    """The first time at which the expected number of needed bottles out passes the limit.

    Many small doubts add up to a bottle though none is likely out; no round is due before one is, and where
    the player set no limit none before somebody is nearly surely out.

    Args:
        rig: the rig.
        beliefs: what is believed.
        needed: bottle id to weight; bottles never heard are left out, nothing is known of them.
        now_s: from when on.
        limit: the player's limit, in bottles; None: as fits the number needed.
        shift_cents: how far the reference is moved.
        temp_c: the air temperature now, when it is known better than the beliefs tell.
    """
    heard = {i: w for i, w in needed.items() if beliefs.heard(i)}
    if not heard:
        return Due(None, "no needed bottle was heard yet", (), heard=False)
    outlook = _Outlook(rig, beliefs, tuple(heard), now_s, shift_cents, temp_c)
    expected = outlook.expected(GRID_MIN)
    first_min, due_min = outlook.first_likely_out(0.0), outlook.due_min(limit, len(needed), expected)
    seen = Due(None, "", ())
    if first_min is not None:
        first = outlook.most_doubtful(first_min)
        seen = replace(seen, first_s=now_s + 60.0 * first_min, first=first)
    if due_min is None:
        return replace(seen, reason=_no_reason(max(expected)))
    out = outlook.most_doubtful(due_min)
    when = "now" if due_min <= 0.0 else f"in {due_min:.0f} min"
    return replace(seen, due_s=now_s + 60.0 * due_min, reason=_likely(out, when), doubtful=out[:MOST_NAMED])


@dataclass(frozen=True)
class _Outlook:
    """The chances of some bottles to be out, as functions of minutes from now."""

    rig: Rig
    beliefs: Beliefs
    bottles: tuple[str, ...]
    now_s: float
    shift_cents: float
    temp_c: float | None

    def chances(self, bottle_id: str, minutes: Sequence[float]) -> list[float]:
        """The chance to be out at each of some moments."""
        tolerance = self.rig.bottle(bottle_id).tolerance_cents
        means, sds = self.beliefs.path(bottle_id, self.now_s, minutes, self.temp_c)
        return [
            Gauss(float(m), float(s)).outside(tolerance, self.shift_cents)
            for m, s in zip(means, sds, strict=True)
        ]

    def expected(self, minutes: Sequence[float]) -> list[float]:
        """The expected number out at each of some moments."""
        rows = [self.chances(i, minutes) for i in self.bottles]
        return [sum(column) for column in zip(*rows, strict=True)]

    def crossing(self, limit: float, expected: Sequence[float]) -> float | None:
        """The first minute at which the expected number passes a limit: on the grid, then within it."""
        values = [n - limit for n in expected]
        coarse = first_crossing(values)
        if coarse is None or coarse <= 0.0:
            return coarse
        after = next(k for k, v in enumerate(values) if v > 0.0)
        low, high = GRID_MIN[after - 1], GRID_MIN[after]
        fine = tuple(low + (high - low) * k / FINER for k in range(FINER + 1))
        return first_crossing([n - limit for n in self.expected(fine)], fine)

    def due_min(self, limit: float | None, needed: int, expected: Sequence[float]) -> float | None:
        """When a round is due: the limit is passed, and somebody is out."""
        crossing = self.crossing(due_limit_for(needed) if limit is None else limit, expected)
        if crossing is not None:
            crossing = self.first_likely_out(crossing)
        if crossing is None or limit is not None:
            return crossing
        return self.somebody_out(crossing, SOMEBODY_OUT)

    def first_likely_out(self, from_min: float) -> float | None:
        """The first minute from one on at which a bottle is more likely out than in."""
        return self._first(from_min, lambda chances: max(chances) - LIKELY_OUT)

    def somebody_out(self, from_min: float, chance: float) -> float | None:
        """The first minute from one on at which at least one is out with some chance."""
        return self._first(from_min, lambda chances: 1.0 - math.prod(1.0 - c for c in chances) - chance)

    def _first(self, from_min: float, over: Callable[[Sequence[float]], float]) -> float | None:
        """The first minute from one on at which something of all chances is over 0."""
        later = (from_min, *(m for m in GRID_MIN if m > from_min))
        rows = [self.chances(i, later) for i in self.bottles]
        values = [over(column) for column in zip(*rows, strict=True)]
        return later[0] if values[0] >= 0.0 else first_crossing(values, later)

    def most_doubtful(self, minutes: float) -> tuple[str, ...]:
        """The bottles likely out at a moment, the likeliest first; at the least the likeliest."""
        chances = {i: self.chances(i, (minutes,))[0] for i in self.bottles}
        ranked = sorted(chances, key=lambda i: -chances[i])
        return tuple(i for i in ranked if chances[i] >= LIKELY_OUT) or tuple(ranked[:1])


def _no_reason(most_out: float) -> str:
    """Why no round is due: nobody leaves, or no more do than the player puts up with."""
    if most_out < ONE_OUT:
        return f"all hold for the next {HORIZON_MIN:.0f} min"
    return f"no more than {most_out:.1f} likely out in the next {HORIZON_MIN:.0f} min"


def _likely(names: tuple[str, ...], when: str) -> str:
    """`C3 and D3 are likely out now`, `C3 is likely out in 6 min`."""
    more = len(names) - MOST_NAMED
    named = in_words(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"
    return f"{named} {'is' if len(names) == 1 else 'are'} likely out {when}"


def worst_in(
    rig: Rig,
    beliefs: Beliefs,
    needed: Mapping[str, float],
    start_s: float,
    end_s: float,
    shift_cents: float = 0.0,
) -> Worst:
    """The worst deviation foreseen between two times, for the log of a take."""
    worst: tuple[float, str] | None = None
    doubtful: list[str] = []
    minutes = [k / 6.0 * max(0.0, end_s - start_s) / 60.0 for k in range(7)]
    for bottle_id in needed:
        if not beliefs.heard(bottle_id):
            continue
        tolerance = rig.bottle(bottle_id).tolerance_cents
        means, sds = beliefs.path(bottle_id, start_s, minutes)
        points = [Gauss(float(m) - shift_cents, float(s)) for m, s in zip(means, sds, strict=True)]
        far = max(points, key=lambda p: abs(p.mean) + WORST_SDS * p.sd)
        deviation = far.mean + (WORST_SDS * far.sd if far.mean >= 0.0 else -WORST_SDS * far.sd)
        if worst is None or abs(deviation) > abs(worst[0]):
            worst = (deviation, bottle_id)
        if max(p.outside(tolerance) for p in points) >= LIKELY_OUT:
            doubtful.append(bottle_id)
    if worst is None:
        return Worst(None, None, tuple(doubtful))
    return Worst(worst[0], worst[1], tuple(doubtful))
