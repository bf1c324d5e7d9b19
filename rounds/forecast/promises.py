"""How far what was promised held, on this player's rig: from the journal alone.

The journal is folded once more, and before each clear strike it is asked what was promised of it then: a
forecast where nothing was done to the bottle since it was heard, a dose where air was moved by a counted
number of strokes, a reading where the bottle was struck again at once. Each promise is a band, and a band is
judged by the share that it holds. No journal tells what a bottle truly did: a strike does, with a doubt that
is counted in, and a room that shifts every strike alike is not seen here.

Cents are off the bottle's nominal target.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from rounds.belief import Beliefs
from rounds.events import AirMoved, Connected, Disconnected, Replaced, RoundClosed, RoundOpened, Strike
from rounds.forecast.drift import due
from rounds.gauss import Z95, Gauss
from rounds.rig import GROUPS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rounds.events import Event
    from rounds.rig import Group, Rig

Kind = Literal["reading", "forecast", "dose"]
AGAIN_S = 60.0
"""Struck again within this long, a bottle has hardly moved."""
AT_REST_S = 300.0
"""A bottle whose air was moved within this long still settles: two strikes of it are no two of the same."""
FORETOLD_S = 180.0
"""From here on a reading tests a forecast."""
FURTHEST_S = 4.0 * 3600.0
"""Past this nothing is promised."""
HORIZONS_MIN = (5.0, 10.0, 20.0, 40.0)
"""Forecasts are counted up to each of these, and past the last."""
Z90 = 1.6448536269514722
"""Half-width in standard deviations of the central 90 %."""
PROMISED: dict[Kind, float] = {"reading": 0.95, "forecast": 0.9, "dose": 0.9}
"""The share of each that its band promises to hold."""
ENOUGH = 20
"""Fewer than this tell nothing of a share."""
USUAL_SD = 1.0
"""Of a reading that came without its doubt, cents, as the beliefs take it."""
WIDEST_Z = 1.96
"""A share is said to be off where that is unlikelier than one in twenty."""
HEARD_SHARE = 0.5
"""A round tells whether anybody was out where this share of its bottles was heard."""


@dataclass(frozen=True)
class Tested:
    """One promise and what came of it: cents off what was promised, and the sd of that as it was promised."""

    kind: Kind
    group: Group
    horizon_min: float
    off_cents: float
    sd_cents: float

    @property
    def held(self) -> bool:
        """Whether it lay in the band."""
        z = Z95 if self.kind == "reading" else Z90
        return abs(self.off_cents) <= z * self.sd_cents


@dataclass(frozen=True)
class Called:
    """A round: whether it was due as it began, how many bottles were expected out, and found out."""

    due: bool
    expected_out: float
    found_out: int
    heard: int


@dataclass(frozen=True)
class Finding:
    """Promises of one kind, group and horizon together. Cents are None where none was tested."""

    kind: Kind
    name: str
    count: int
    held: int
    median_cents: float | None
    ninth_cents: float | None
    """Nine in ten lay no further off."""

    @property
    def verdict(self) -> str:
        """What the share says: as promised, too sure, too careful, or too few to tell."""
        if self.count < ENOUGH:
            return "too few to tell"
        promised = PROMISED[self.kind]
        spread = math.sqrt(promised * (1.0 - promised) / self.count)
        z = (self.held / self.count - promised) / spread
        return "too sure" if z < -WIDEST_Z else "too careful" if z > WIDEST_Z else "as promised"


@dataclass(frozen=True)
class Promises:
    """Everything that was tested, and what was learned from it."""

    tested: tuple[Tested, ...] = ()
    rounds: tuple[Called, ...] = ()
    widening: dict[Group, float] = field(default_factory=dict)
    """By how much the sd of a group's forecasts is stretched now."""
    room_cents: dict[Group, float] = field(default_factory=dict)
    """What the room adds to the doubt of a group's readings, sd."""

    def findings(self, kind: Kind) -> tuple[Finding, ...]:
        """By group and, for forecasts, by how far ahead; then all of them."""
        of_kind = [t for t in self.tested if t.kind == kind]
        by_group = [_finding(kind, g, [t for t in of_kind if t.group == g]) for g in GROUPS]
        ahead = _by_horizon(of_kind) if kind == "forecast" else []
        return (*by_group, *ahead, _finding(kind, "all", of_kind))


def _by_horizon(tested: Sequence[Tested]) -> list[Finding]:
    found, from_min = [], FORETOLD_S / 60.0
    for to_min in (*HORIZONS_MIN, math.inf):
        name = f"over {from_min:g} min" if math.isinf(to_min) else f"{from_min:g} to {to_min:g} min"
        found.append(_finding("forecast", name, [t for t in tested if from_min <= t.horizon_min < to_min]))
        from_min = to_min
    return found


def _finding(kind: Kind, name: str, tested: Sequence[Tested]) -> Finding:
    off = sorted(abs(t.off_cents) for t in tested)
    ninth = off[min(len(off) - 1, math.ceil(0.9 * len(off)) - 1)] if off else None
    median = statistics.median(off) if off else None
    return Finding(kind, name, len(off), sum(t.held for t in tested), median, ninth)


def promises_of(rig: Rig, events: Iterable[Event]) -> Promises:
    """What was promised and what came of it, over events in the order of their times."""
    grader = _Grader(rig)
    for event in events:
        grader.take(event)
    grader.end_round()
    scales = grader.beliefs.scales
    return Promises(
        tuple(grader.tested),
        tuple(grader.rounds),
        {g: math.sqrt(scales[g].widening) for g in GROUPS},
        {g: math.sqrt(scales[g].room_var) for g in GROUPS},
    )


@dataclass
class _Round:
    """A round on the way."""

    opened: RoundOpened
    due: bool
    expected_out: float = 0.0
    found_out: int = 0
    heard: set[str] = field(default_factory=set)


@dataclass
class _Grader:
    """The fold. `counted`: air was moved since the last reading, by strokes that were counted."""

    rig: Rig
    tested: list[Tested] = field(default_factory=list)
    rounds: list[Called] = field(default_factory=list)
    last: dict[str, Strike] = field(default_factory=dict)
    moved_s: dict[str, float] = field(default_factory=dict)
    counted: dict[str, bool] = field(default_factory=dict)
    round: _Round | None = None

    def __post_init__(self) -> None:
        self.beliefs = Beliefs(self.rig)

    def take(self, event: Event) -> None:
        """Test what the event tests, then believe it."""
        match event:
            case Strike():
                self._strike(event)
            case AirMoved():
                exact = event.strokes is not None and event.at_most is None
                self.counted[event.bottle] = self.counted.get(event.bottle, True) and exact
                self.moved_s[event.bottle] = event.at_s
            case Connected() | Disconnected():
                self.moved_s[event.bottle] = event.at_s
            case Replaced():
                self.last.pop(event.bottle, None)
            case RoundOpened():
                self._opened(event)
            case RoundClosed():
                self.end_round()
        self.beliefs.apply(event)

    def _strike(self, event: Strike) -> None:
        bottle_id = event.bottle
        if bottle_id is None or event.verdict != "clear" or event.cents is None:
            return
        if not self.rig.has_bottle(bottle_id):
            return
        before = self.last.get(bottle_id)
        if before is not None and event.at_s - before.at_s <= FURTHEST_S:
            self._test(bottle_id, event, before)
        self._found(bottle_id, event)
        self.last[bottle_id] = event
        self.counted.pop(bottle_id, None)

    def _test(self, bottle_id: str, event: Strike, before: Strike) -> None:
        """One strike against what was promised of it."""
        age_s, moved_s = event.at_s - before.at_s, self.moved_s.get(bottle_id, -math.inf)
        if moved_s > before.at_s or bottle_id in self.counted:
            if self.counted.get(bottle_id):
                self._against_belief("dose", event, bottle_id, age_s)
        elif age_s >= FORETOLD_S:
            self._against_belief("forecast", event, bottle_id, age_s)
        elif age_s <= AGAIN_S and event.at_s - moved_s > AT_REST_S:
            self._against_another(event, before, bottle_id)

    def _against_another(self, event: Strike, before: Strike, bottle_id: str) -> None:
        """Two readings of the same, each with a doubt of its own."""
        if event.u95_cents is None or before.u95_cents is None or before.pump_on != event.pump_on:
            return
        off = (event.cents or 0.0) - (before.cents or 0.0)
        both = math.hypot(event.u95_cents, before.u95_cents) / Z95
        self._tested("reading", bottle_id, event.at_s - before.at_s, Gauss(off, both))

    def _against_belief(self, kind: Kind, event: Strike, bottle_id: str, age_s: float) -> None:
        """A level that was foretold, with the head on or off, and the doubt of the reading beside it."""
        level = self.beliefs.level(bottle_id, event.at_s)
        on_cents = self.beliefs.head_loss(bottle_id).mean if event.pump_on else 0.0
        off = (event.cents or 0.0) + on_cents - level.mean
        self._tested(kind, bottle_id, age_s, Gauss(off, math.hypot(level.sd, self._doubt(event, bottle_id))))

    def _doubt(self, event: Strike, bottle_id: str) -> float:
        """Sd of a reading: its own, or a usual one where it came without, and the room's."""
        own = USUAL_SD if event.u95_cents is None else event.u95_cents / Z95
        return math.hypot(own, math.sqrt(self.beliefs.scales[self.rig.bottle(bottle_id).group].room_var))

    def _tested(self, kind: Kind, bottle_id: str, age_s: float, off: Gauss) -> None:
        group = self.rig.bottle(bottle_id).group
        self.tested.append(Tested(kind, group, age_s / 60.0, off.mean, off.sd))

    # Rounds and due times

    def _opened(self, event: RoundOpened) -> None:
        self.end_round()
        needed = {b: w for b, w in event.needed.items() if self.rig.has_bottle(b)}
        if not any(self.beliefs.heard(b) for b in needed):
            return
        seen = due(self.rig, self.beliefs, needed, event.at_s, self.rig.habits.due_limit, event.shift_cents)
        self.round = _Round(event, seen.due_s is not None and seen.due_s <= event.at_s)

    def _found(self, bottle_id: str, event: Strike) -> None:
        """The first strike of a bottle in a round, its air not moved: was it out, as it was thought to be?"""
        led = self.round
        if led is None or event.playing or bottle_id in led.heard or bottle_id not in led.opened.needed:
            return
        if not self.beliefs.heard(bottle_id) or self.moved_s.get(bottle_id, -math.inf) >= led.opened.at_s:
            return
        led.heard.add(bottle_id)
        tolerance, shift = self.rig.bottle(bottle_id).tolerance_cents, led.opened.shift_cents
        level = self.beliefs.level(bottle_id, event.at_s)
        doubt = math.hypot(level.sd, self._doubt(event, bottle_id))
        led.expected_out += Gauss(level.mean, doubt).outside(tolerance, shift)
        led.found_out += abs((event.cents or 0.0) - shift) > tolerance

    def end_round(self) -> None:
        """Count a round that heard enough of its bottles."""
        led, self.round = self.round, None
        if led is not None and len(led.heard) >= HEARD_SHARE * len(led.opened.needed):
            self.rounds.append(Called(led.due, led.expected_out, led.found_out, len(led.heard)))
