"""What each cap and bottle went through, as a fold over events: connections, hours, pressures.

A bottle counts as at pressure between two readings when both sound as pumped. Air moved in between
may mean that it was let down for a while, so then no more than `UNSEEN_H` count; a gap without air
moved counts whole. Pressure is the gauge's where one was read, else what the usual bottle of that
note has at that pitch (`rounds.air.prior_shell`), which is a rough guide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rounds import events as ev
from rounds.air import prior_shell, psi_to_kpa
from rounds.belief.priors import ROOM_TEMP_C, lag_min, to_linear
from rounds.health.rates import MOST_MIN, PAIRS_KEPT, Gas, Level, Rate, rate_between

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.rig import Rig

AT_PRESSURE_KPA = psi_to_kpa(2.0)
"""Below this a bottle counts as let down."""
HOT_KPA = psi_to_kpa(50.0)
"""From here caps are known to warp sooner. Common practice, no source."""
UNSEEN_H = 4.0
GAUGES_KEPT = 20


@dataclass
class Use:
    """What one part went through since it was new: hours at pressure, of those at high pressure."""

    since_s: float | None = None
    connections: int = 0
    hours: float = 0.0
    hot_hours: float = 0.0


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
    """Falls between readings with nobody at the bottle, of the newest pairs."""
    gauges: list[GaugeRead] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    readings: int = 0
    """Clear readings since cap or bottle was replaced."""
    caps: int = 0
    """Caps replaced on this bottle."""
    first_s: float | None = None
    _at_s: float | None = None
    _gauge_kpa: float = 0.0
    _cents: float | None = None
    _moved: bool = False
    _level: Level | None = None


class Histories:
    """The fold: apply events in order, then read `of`."""

    def __init__(self, rig: Rig) -> None:
        self.of: dict[str, History] = {b.id: History() for b in rig.bottles}
        self._shells = {b.id: prior_shell(rig.target_hz(b.id), b.note.midi) for b in rig.bottles}
        self.latest_s = -math.inf
        self.in_order = True
        """Whether no event so far was older than one before it."""
        self.gas = {lag: Gas(lag) for lag in sorted({lag_min(b.volume_ml) for b in rig.bottles})}
        self._gas_of = {b.id: self.gas[lag_min(b.volume_ml)] for b in rig.bottles}
        self._per_kelvin = {
            b.id: self._shells[b.id].cents_per_kelvin(rig.target_hz(b.id), ROOM_TEMP_C) for b in rig.bottles
        }
        self._handlers: dict[type[ev.Event], Callable[..., None]] = {
            ev.Strike: self._strike,
            ev.AirMoved: self._air_moved,
            ev.Connected: self._connected,
            ev.Gauge: self._gauge,
            ev.Replaced: self._replaced,
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
        self._pair(history, event)

    def _pair(self, history: History, event: ev.Strike) -> None:
        """Take the rate since the reading before; a pump on the valve makes a reading no start or end."""
        if event.cents is None or event.bottle is None or event.pump_on:
            history._level = None
            return
        level = Level(event.at_s, to_linear(event.cents), self._gas_of[event.bottle].at(event.at_s))
        if history._level is None:
            history._level = level
            return
        rate = rate_between(history._level, level, self._per_kelvin[event.bottle])
        if rate is not None:
            history.rates.append(rate)
            del history.rates[:-PAIRS_KEPT]
        if rate is not None or level.at_s - history._level.at_s > 60.0 * MOST_MIN:
            history._level = level

    def _air_moved(self, history: History, event: ev.AirMoved) -> None:
        if event.strokes != 0.0:
            history._moved = True
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
        fresh = History(cap=Use(event.at_s), bottle=history.bottle, caps=history.caps + 1, first_s=event.at_s)
        if event.part == "bottle":
            fresh.bottle, fresh.caps = Use(event.at_s), 0
        self.of[event.bottle] = fresh

    def _note(self, history: History, event: ev.NoteWritten) -> None:
        history.notes.append(event.text)
        del history.notes[:-3]


def _pressed(history: History, at_s: float, gauge_kpa: float) -> None:
    """A pressure was seen: count the hours since the one before."""
    if history.first_s is None:
        history.first_s = at_s
    lowest = min(gauge_kpa, history._gauge_kpa)
    if history._at_s is not None and at_s > history._at_s and lowest >= AT_PRESSURE_KPA:
        hours = (at_s - history._at_s) / 3600.0
        hours = min(hours, UNSEEN_H) if history._moved else hours
        for use in (history.cap, history.bottle):
            use.hours += hours
            use.hot_hours += hours if lowest >= HOT_KPA else 0.0
    history._at_s, history._gauge_kpa, history._moved = at_s, gauge_kpa, False
