"""What each cap and bottle went through, as a fold over events: connections, hours, pressures.

A bottle counts as at pressure between two readings when both sound as pumped. Air moved in between
may mean that it was let down for a while, so then no more than `UNSEEN_H` count; a gap without air
moved counts whole. Pressure is the gauge's where one was read, else what the usual bottle of that
note has at that pitch (`rounds.air.prior_shell`), which is a rough guide.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rounds import events as ev
from rounds.air import prior_shell, psi_to_kpa
from rounds.belief.priors import PRESSURE_X, ROOM_TEMP_C, lag_min, to_linear
from rounds.belief.track import MOVES_KEPT, Move
from rounds.gauss import Z95
from rounds.health.rates import (
    MOST_MIN,
    READING_VAR,
    ROOM_VAR,
    STRETCHES_KEPT,
    Gas,
    Level,
    Rate,
    began_unsettled,
    rate_between,
)
from rounds.notes import cents

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.rig import Bottle, Rig

AT_PRESSURE_KPA = psi_to_kpa(2.0)
"""Below this a bottle counts as let down."""
HOT_KPA = psi_to_kpa(50.0)
"""From here caps are known to warp sooner. Common practice, no source."""
STRAIN_DOUBLES_KPA = psi_to_kpa(10.0)
"""An hour counts double with so much more. A guess."""
UNSEEN_H = 4.0
GAUGES_KEPT = 20


@dataclass
class Use:
    """What one part went through since it was new: hours at pressure, of those at high pressure."""

    since_s: float | None = None
    connections: int = 0
    hours: float = 0.0
    hot_hours: float = 0.0
    hot_kpa: float = 0.0
    """The mean pressure of those."""
    strain_hours: float = 0.0
    """Hours at high pressure, as many as at its lower end would be as hard."""

    def held(self, hours: float, gauge_kpa: float) -> None:
        """So many hours at a pressure."""
        self.hours += hours
        if gauge_kpa >= HOT_KPA and hours > 0.0:
            self.hot_hours += hours
            self.hot_kpa += (gauge_kpa - self.hot_kpa) * hours / self.hot_hours
            self.strain_hours += hours * 2.0 ** ((gauge_kpa - HOT_KPA) / STRAIN_DOUBLES_KPA)


@dataclass(frozen=True)
class GaugeRead:
    """A gauge reading, and the pitch heard nearest to it in time, off the target (None: none)."""

    at_s: float
    gauge_kpa: float
    cents: float | None


@dataclass
class History:
    """One bottle: its cap, itself, and what was read and written of it."""

    cap: Use = field(default_factory=Use)
    bottle: Use = field(default_factory=Use)
    rates: list[Rate] = field(default_factory=list)
    """How fast it fell in stretches with nobody at the bottle, the newest last."""
    gauges: list[GaugeRead] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    readings: int = 0
    """Clear readings since cap or bottle was replaced."""
    is_new: bool = False
    """Whether cap or bottle was replaced: its first stretch says whether it holds."""
    caps: int = 0
    """Caps replaced on this bottle."""
    first_s: float | None = None
    _at_s: float | None = None
    _gauge_kpa: float = 0.0
    _cents: float | None = None
    _moved: bool = False
    _level: Level | None = None
    """The first reading of the stretch that goes on."""
    _grows: bool = False
    """Whether the last rate is of that stretch, which the next reading makes longer."""
    _x: float | None = None
    """The last reading, linear cents."""
    _moved_s: float | None = None
    """When air was moved last, until the next reading tells how far the pitch went."""
    _moves: tuple[Move, ...] = ()


class Histories:
    """The fold: apply events in order, then read `of`."""

    def __init__(self, rig: Rig) -> None:
        self.of: dict[str, History] = {b.id: History() for b in rig.with_spares}
        self._rig = rig
        self._shells = {b.id: prior_shell(rig.target_hz(b.id), b.note.midi) for b in rig.with_spares}
        self.latest_s = -math.inf
        self.in_order = True
        """Whether no event so far was older than one before it."""
        self.gas = {lag: Gas(lag) for lag in sorted({lag_min(b.volume_ml) for b in rig.with_spares})}
        self._gas_of = {b.id: self.gas[lag_min(b.volume_ml)] for b in rig.with_spares}
        self._per_kelvin = {
            b.id: self._shells[b.id].cents_per_kelvin(rig.target_hz(b.id), ROOM_TEMP_C)
            for b in rig.with_spares
        }
        self._group_of = {b.id: b.group for b in rig.with_spares}
        self._handlers: dict[type[ev.Event], Callable[..., None]] = {
            ev.Strike: self._strike,
            ev.AirMoved: self._air_moved,
            ev.Connected: self._connected,
            ev.Gauge: self._gauge,
            ev.Replaced: self._replaced,
            ev.Swapped: self._swapped,
            ev.NoteWritten: self._note,
        }

    def apply(self, event: ev.Event) -> None:
        """Take in one event; those about bottles that the rig does not have are passed over."""
        if event.at_s >= self.latest_s:
            self.latest_s = event.at_s
        else:
            self.in_order = False
        if isinstance(event, (ev.Temperature, ev.RoundOpened)) and event.temp_c is not None:
            for gas in self.gas.values():
                gas.air(event.at_s, event.temp_c)
        handler = self._handlers.get(type(event))
        history = self.of.get(getattr(event, "bottle", None) or "")
        if handler is not None and history is not None:
            handler(history, event)

    def _strike(self, history: History, event: ev.Strike) -> None:
        if event.verdict != "clear" or event.hz is None or event.bottle is None:
            return
        gauge_kpa = max(0.0, self._shells[event.bottle].gauge_kpa(event.hz))
        _pressed(history, event.at_s, gauge_kpa)
        history.readings += 1
        history._cents = event.cents
        self._heard(history, event)

    def _heard(self, history: History, event: ev.Strike) -> None:
        """Take the rate since the stretch began; a pump on the valve makes a reading no start or end."""
        if event.cents is None or event.bottle is None:
            history._level = None
            return
        x = to_linear(event.cents)
        _moves_seen(history, x)
        if event.pump_on:
            history._level = None
            return
        gas_c = self._gas_of[event.bottle].at(event.at_s)
        level = Level(event.at_s, x, gas_c, _own_var(event), history._moves)
        start = history._level
        if start is None or level.at_s - start.at_s > 60.0 * MOST_MIN:
            history._level, history._grows = level, False
            return
        group = self._group_of[event.bottle]
        rate = rate_between(start, level, self._per_kelvin[event.bottle], group)
        if rate is not None:
            falls = history.rates.pop().falls if history._grows else 0
            history.rates.append(replace(rate, falls=falls + 1))
            history._grows = True
            del history.rates[:-STRETCHES_KEPT]
        if began_unsettled(start, level):
            history._level, history._grows = level, False

    def _air_moved(self, history: History, event: ev.AirMoved) -> None:
        if event.strokes != 0.0:
            history._moved = True
            history._moved_s = event.at_s
            history._level = None

    def _connected(self, history: History, event: ev.Connected) -> None:
        history.cap.connections += 1
        history.bottle.connections += 1
        history._level = None

    def _gauge(self, history: History, event: ev.Gauge) -> None:
        _pressed(history, event.at_s, event.gauge_kpa)
        history.gauges.append(GaugeRead(event.at_s, event.gauge_kpa, history._cents))
        del history.gauges[:-GAUGES_KEPT]

    def _replaced(self, history: History, event: ev.Replaced) -> None:
        fresh = History(
            cap=Use(event.at_s),
            bottle=history.bottle,
            caps=history.caps + 1,
            first_s=event.at_s,
            is_new=True,
        )
        if event.part == "bottle":
            fresh.bottle, fresh.caps = Use(event.at_s), 0
        self.of[event.bottle] = fresh

    def _swapped(self, history: History, event: ev.Swapped) -> None:
        """Both histories go with their bottles."""
        other = self.of.get(event.other)
        if other is None:
            return
        for one, place in ((history, event.bottle), (other, event.other)):
            one.cap.since_s = one.cap.since_s or fitted_s(self._rig.bottle(place))
        to_other = cents(self._rig.target_hz(event.bottle), self._rig.target_hz(event.other))
        self.of[event.other] = _moved(history, to_other)
        self.of[event.bottle] = _moved(other, -to_other)

    def _note(self, history: History, event: ev.NoteWritten) -> None:
        history.notes.append(event.text)
        del history.notes[:-3]


def fitted_s(bottle: Bottle) -> float | None:
    """When a cap was fitted, as the rig says."""
    if bottle.cap_fitted is None:
        return None
    return datetime.datetime.combine(bottle.cap_fitted, datetime.time(), datetime.UTC).timestamp()


def _moved(history: History, by_cents: float) -> History:
    """The history of a bottle at a place whose target lies so much lower; its next reading begins a stretch.

    Cents a minute stay as they are: near its note a bottle loses the same share of its pressure.
    """
    gauges = [
        g if g.cents is None else GaugeRead(g.at_s, g.gauge_kpa, g.cents + by_cents) for g in history.gauges
    ]
    off = None if history._cents is None else history._cents + by_cents
    return replace(history, gauges=gauges, _cents=off, _level=None, _grows=False, _x=None, _moves=())


def _own_var(event: ev.Strike) -> float:
    """Variance of a reading, the room's share in it."""
    own = READING_VAR if event.u95_cents is None else (event.u95_cents / Z95) ** 2
    return own + ROOM_VAR


def _moves_seen(history: History, x: float) -> None:
    """A reading after air was moved shows by how much; of a bottle never heard, from empty."""
    if history._moved_s is not None:
        before = -PRESSURE_X if history._x is None else history._x
        history._moves = (*history._moves, Move(history._moved_s, x - before))[-MOVES_KEPT:]
        history._moved_s = None
    history._x = x


def _pressed(history: History, at_s: float, gauge_kpa: float) -> None:
    """A pressure was seen: count the hours since the one before."""
    if history.first_s is None:
        history.first_s = at_s
    lowest = min(gauge_kpa, history._gauge_kpa)
    if history._at_s is not None and at_s > history._at_s and lowest >= AT_PRESSURE_KPA:
        hours = (at_s - history._at_s) / 3600.0
        hours = min(hours, UNSEEN_H) if history._moved else hours
        for use in (history.cap, history.bottle):
            use.held(hours, lowest)
    history._at_s, history._gauge_kpa, history._moved = at_s, gauge_kpa, False
