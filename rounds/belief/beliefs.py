"""What is believed of every bottle: a fold over the journal's events.

`Beliefs` knows no file, clock or screen; the same events give the same beliefs, so a killed session
comes back as it was. Cents are off the bottle's nominal target (rig reference, no shift); questions
carry their time, and a time before the last event is answered as of that event.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from rounds import events as ev
from rounds.air import SETTLING_BOUND
from rounds.belief.handling import Handling, pump_key
from rounds.belief.leaning import Leaning
from rounds.belief.priors import (
    EMPTY_DOUBT,
    HALF_NEPER_CENTS,
    HEAD,
    JOIN,
    OUT,
    PRESSURE_X,
    gauss_in_cents,
    prior_of,
    to_linear,
)
from rounds.belief.scales import Scales
from rounds.belief.temperature import Air
from rounds.belief.track import CREEP_FROM_MIN, FEW, FIRST_SD, Track
from rounds.bounds import has_time
from rounds.gauss import Z95, Gauss
from rounds.rig import GROUPS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from rounds.belief.priors import Prior
    from rounds.rig import Rig

NO_U95_VAR = 1.0
"""Variance of a reading that came without its uncertainty, beside what the room adds, cents²."""
FORETOLD_AFTER_S = 180.0
FORETOLD_EVERY = 3
"""A reading this long after the last one tests what was foretold; one in so many is enough."""
UNHEARD_AFTER_MIN = 5.0
"""Air moved this long after the last reading was moved because of something that was not written down."""
USUAL_STEP = 1.35
"""The median of how far off the rows of a log are is followed in steps of this factor."""
LEAST_USUAL_SD = 12.0
"""A first row within this of its note, sd, is never doubted. Our guess."""
NORMAL_MEDIAN = 0.6745
"""Half of a normal distribution lies within this many standard deviations."""
RAIL_STEPS_KEPT = 12
SETTLED_AFTER_MIN = 5.0
"""`settling` tells what has come back after this long."""


class Beliefs:
    """Per-bottle state, learned from events."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.priors: dict[str, Prior] = {b.id: prior_of(rig, b) for b in rig.with_spares}
        self.tracks: dict[str, Track] = {i: Track(p) for i, p in self.priors.items()}
        self.handling = Handling(rig, self.priors)
        self.air = Air(tuple(sorted({p.lag_min for p in self.priors.values()})))
        self.scales: dict[str, Scales] = {group: Scales(group) for group in GROUPS}
        self.leaning = Leaning(self.priors)
        self.on: set[str] = set()
        """The bottles that pump heads are on, as far as the events tell: one a person."""
        self.shares: tuple[tuple[str, ...], ...] = ()
        """The bottles of each person, where several tune at once; what is kept between rounds has none."""
        self.usual_sd = FIRST_SD
        """How far off bottles usually are in the rows of a log, sd."""
        self.latest_s = -math.inf
        self.in_order = True
        """Whether no event so far was older than one before it."""
        self.read_since_temp: set[str] = set()
        self._version = 0
        self._track_cache: dict[str, tuple[int, Track]] = {}
        self.rail_air: dict[int, list[tuple[float, float]]] = {}
        """By rail, when the air there became so many kelvin warmer than before, beside the thermometer's."""
        self._handlers: dict[type[ev.Event], Callable[..., None]] = {
            ev.Strike: self._strike,
            ev.AirMoved: self._air_moved,
            ev.Temperature: self._temperature,
            ev.RailAir: self._rail_air,
            ev.RoundOpened: self._round_opened,
            ev.RoundClosed: self._round_closed,
            ev.Connected: self._connected,
            ev.Disconnected: self._disconnected,
            ev.Replaced: self._replaced,
            ev.Swapped: self._swapped,
            ev.ToldEmpty: self._told_empty,
        }

    @classmethod
    def fold(cls, rig: Rig, events: Iterable[ev.Event]) -> Beliefs:
        """The beliefs after events, in their order."""
        beliefs = cls(rig)
        for event in events:
            beliefs.apply(event)
        return beliefs

    def copy(self) -> Beliefs:
        """Independent beliefs, for thinking ahead."""
        self.work_off()
        twin = Beliefs(self.rig)
        twin.tracks = {i: t.copy() for i, t in self.tracks.items()}
        twin.handling = self.handling.copy()
        twin.air = self.air.copy()
        twin.scales = {g: s.copy() for g, s in self.scales.items()}
        twin.leaning = self.leaning.copy()
        twin.on, twin.shares = set(self.on), self.shares
        twin.latest_s, twin.in_order, twin.usual_sd = self.latest_s, self.in_order, self.usual_sd
        twin.read_since_temp = set(self.read_since_temp)
        twin.rail_air = {rail: list(steps) for rail, steps in self.rail_air.items()}
        twin._version = self._version
        return twin

    def work_off(self) -> None:
        """Finish what may wait, before what is believed is copied or kept."""
        for scales in self.scales.values():
            scales.work_off()

    def apply(self, event: ev.Event) -> None:
        """Take in one event."""
        if not has_time(event):
            return
        if event.at_s >= self.latest_s:
            self.latest_s = event.at_s
        else:
            self.in_order = False
        handler = self._handlers.get(type(event))
        if handler is not None:
            handler(event)
            self._version += 1

    # -- events ------------------------------------------------------------------------------------

    def _strike(self, event: ev.Strike) -> None:
        track = self.tracks.get(event.bottle or "")
        if track is None or event.bottle is None or event.verdict != "clear" or event.cents is None:
            return
        if event.bottle in self.on and not event.pump_on:
            self._head_off(event.bottle)
        elif event.pump_on:
            self.on = self.on - self._same_hands(event.bottle) | {event.bottle}
        self._advance(event.bottle, track, event.at_s)
        x = to_linear(event.cents)
        scales = self.scales[self.priors[event.bottle].group]
        if self._tests_what_was_foretold(event, track):
            level, level_var = self.leaning.leaned_level(event.bottle, track)
            scales.foretold(x - level, level_var, _own_var(event))
        expected, handled = Gauss(track.level, math.sqrt(max(0.0, track.a00))), bool(track.pending)
        usual_sd = self._usual_sd(x) if event.u95_cents is None else None
        few = 0 < track.readings <= FEW and not track.moved
        alike = self.leaning.leaned_level(event.bottle, track) if few else None
        surprise = track.read(
            x, _own_var(event), scales, usual_sd=usual_sd, agreed=event.agreed, as_its_group=alike
        )
        self.leaning.count(event.bottle, self.tracks)
        if handled:
            self.handling.learn(event.bottle, track, surprise, expected)
        else:
            self.handling.reconsider(event.bottle, track, x, expected)

    def _usual_sd(self, x: float) -> float:
        """How far off rows of this log usually are, one more row counted."""
        found = max(LEAST_USUAL_SD, self.usual_sd)
        near = abs(x) < NORMAL_MEDIAN * self.usual_sd
        self.usual_sd *= 1.0 / USUAL_STEP if near else USUAL_STEP
        self.usual_sd = min(FIRST_SD, max(1.0, self.usual_sd))
        return found

    def _tests_what_was_foretold(self, event: ev.Strike, track: Track) -> bool:
        """Whether nothing was done to the bottle for a while; every third such reading is enough."""
        if track.read_s is None or track.moved or event.at_s - track.read_s < FORETOLD_AFTER_S:
            return False
        return self.leaning.readings(self.priors[event.bottle or ""].group) % FORETOLD_EVERY == 0

    def _advance(self, bottle_id: str, track: Track, at_s: float) -> None:
        lag = self.priors[bottle_id].lag_min
        unseen_min = self.air.unseen_min(at_s if track.at_s is None else track.at_s, at_s)
        walk = self.scales[self.priors[bottle_id].group].walk_var
        unseen_var = self.air.ahead_var(unseen_min, lag) if unseen_min > 0.0 else 0.0
        track.advance(at_s, self._gas(self.air, bottle_id, at_s), walk, unseen_var)
        self.read_since_temp.add(bottle_id)

    def _air_moved(self, event: ev.AirMoved) -> None:
        track = self.tracks.get(event.bottle)
        if track is None or event.strokes == 0.0:
            return
        if event.strokes is None:
            self._moved_somehow(event.bottle, track, event.at_s)
        else:
            self._advance(event.bottle, track, event.at_s)
            self.handling.strokes(event.bottle, track, event.strokes, event.pump)

    def _moved_somehow(self, bottle_id: str, track: Track, at_s: float) -> None:
        """Air moved by an unknown amount: the level is wherever such moves leave bottles of the group."""
        self._advance(bottle_id, track, at_s)
        if track.read_s is not None and at_s - track.read_s > 60.0 * UNHEARD_AFTER_MIN and not track.moved:
            track.surmise(self.priors[bottle_id].tolerance_cents)
        track.pending.clear()
        scales = self.scales[self.priors[bottle_id].group]
        track.land(scales.landed_mean, scales.landed_var)

    def _temperature(self, event: ev.Temperature) -> None:
        self._air_read(event.at_s, event.temp_c)

    def _rail_air(self, event: ev.RailAir) -> None:
        steps = self.rail_air.setdefault(event.rail, [])
        steps.append((event.at_s, event.warmer_k - sum(step for _, step in steps)))
        if len(steps) > RAIL_STEPS_KEPT:
            steps[:2] = [(steps[1][0], steps[0][1] + steps[1][1])]

    def _warmer_k(self, bottle_id: str, at_s: float) -> float:
        """By how much the gas of a bottle is warmer than the thermometer tells, for its rail."""
        if not self.rail_air:
            return 0.0
        lag_s = 60.0 * self.priors[bottle_id].lag_min
        steps = self.rail_air.get(self.rig.bottle(bottle_id).rail, ())
        return sum(step * -math.expm1(-max(0.0, at_s - begun_s) / lag_s) for begun_s, step in steps)

    def _gas(self, air: Air, bottle_id: str, at_s: float) -> float | None:
        """The temperature of a bottle's gas; None where no air temperature was ever given."""
        gas = air.gas_at(at_s, self.priors[bottle_id].lag_min)
        return None if gas is None else gas + self._warmer_k(bottle_id, at_s)

    def _in_hindsight(self, bottle_id: str, track: Track, air: Air) -> None:
        """The gas at a bottle's last event, now that a later temperature is known."""
        if track.at_s is None or track.teff is None:
            return
        gas = air.gas_in_hindsight(track.at_s, self.priors[bottle_id].lag_min)
        if gas is not None:
            track.teff = gas + self._warmer_k(bottle_id, track.at_s)

    def _round_opened(self, event: ev.RoundOpened) -> None:
        self.shares = event.shares
        if event.temp_c is not None:
            self._air_read(event.at_s, event.temp_c)

    def _round_closed(self, event: ev.RoundClosed) -> None:
        self.shares = ()

    def _same_hands(self, bottle_id: str) -> set[str]:
        """The bottles whose head comes off when the same person puts it onto a bottle."""
        others = {b for share in self.shares if bottle_id not in share for b in share}
        return self.on - others

    def _air_read(self, at_s: float, temp_c: float) -> None:
        """Take in a temperature; bottles read since the last one had warmed along, as is known now."""
        self.air.read(at_s, temp_c)
        for bottle_id in self.read_since_temp:
            self._in_hindsight(bottle_id, self.tracks[bottle_id], self.air)
        self.read_since_temp.clear()

    def _connected(self, event: ev.Connected) -> None:
        for bottle_id in sorted(self._same_hands(event.bottle) - {event.bottle}):
            self._head_off(bottle_id)
        if event.bottle in self.tracks and event.bottle not in self.on:
            self.on.add(event.bottle)
            self._advance(event.bottle, self.tracks[event.bottle], event.at_s)
            self.handling.head(event.bottle, self.tracks[event.bottle], JOIN)

    def _disconnected(self, event: ev.Disconnected) -> None:
        if event.bottle in self.tracks:
            self._advance(event.bottle, self.tracks[event.bottle], event.at_s)
            if event.bottle in self.on:
                self._head_off(event.bottle)

    def _head_off(self, bottle_id: str) -> None:
        """The head comes off the valve, and takes its air with it."""
        self.on.discard(bottle_id)
        self.handling.head(bottle_id, self.tracks[bottle_id], HEAD)

    def _told_empty(self, event: ev.ToldEmpty) -> None:
        """What sounds is the empty shell, whose share of the stiffness is a guess."""
        for bottle_id in event.bottles:
            track = self.tracks.get(bottle_id)
            if track is not None:
                self._advance(bottle_id, track, event.at_s)
                track.emptied(-PRESSURE_X, (EMPTY_DOUBT * HALF_NEPER_CENTS) ** 2)

    def _replaced(self, event: ev.Replaced) -> None:
        prior = self.priors.get(event.bottle)
        if prior is None:
            return
        self.tracks[event.bottle] = Track(prior)
        self.handling.forget(event.bottle)

    def _swapped(self, event: ev.Swapped) -> None:
        """Each bottle takes what was learned of it along; both are to be heard where they stand now."""
        pair = (event.bottle, event.other)
        if pair[0] == pair[1] or not all(b in self.tracks for b in pair):
            return
        self.on -= set(pair)
        self.read_since_temp -= set(pair)
        for bottle_id in pair:
            self._advance(bottle_id, self.tracks[bottle_id], event.at_s)
        here, there = (self.priors[b] for b in pair)
        ratio = there.target_hz2 / here.target_hz2
        one, other = (self.tracks[b] for b in pair)
        self.tracks[pair[0]] = other.moved_to(there, here, ratio)
        self.tracks[pair[1]] = one.moved_to(here, there, 1.0 / ratio)
        self.handling.exchange(*pair, ratio)

    # -- learned numbers ---------------------------------------------------------------------------

    def gain(self, bottle_id: str, pump_id: str) -> Gauss:
        """Hz² that one full stroke of a pump adds to a bottle."""
        return self.handling.now(bottle_id, pump_key(pump_id)).scaled(self._hz2_per_x(bottle_id))

    def pin_gain(self, bottle_id: str) -> Gauss:
        """Hz² that one small let-out takes (unit: one stroke's worth; positive)."""
        return self.handling.now(bottle_id, OUT).scaled(self._hz2_per_x(bottle_id))

    def head_loss(self, bottle_id: str) -> Gauss:
        """Cents by which the pitch changes when the pump head comes off near the target (negative)."""
        return self.handling.now(bottle_id, HEAD)

    def settling(self, bottle_id: str, change_cents: float) -> Gauss:
        """Cents that the pitch moves by itself in the five minutes after a quick change (opposite sign)."""
        track = self.tracks[bottle_id]
        share = self.leaning.coefficient(bottle_id, "settling", track)
        creep = self.leaning.coefficient(bottle_id, "creep", track)
        share = Gauss(min(SETTLING_BOUND, max(0.0, share.mean)), share.sd)
        folds = math.log1p(SETTLED_AFTER_MIN / CREEP_FROM_MIN)
        return share.plus(creep.scaled(folds)).scaled(-change_cents)

    def _hz2_per_x(self, bottle_id: str) -> float:
        return self.priors[bottle_id].target_hz2 / HALF_NEPER_CENTS

    # -- questions ---------------------------------------------------------------------------------

    @property
    def temp_c(self) -> float | None:
        """The latest air temperature as smoothed, None while none was given."""
        return self.air.temp_c

    def heard(self, bottle_id: str) -> bool:
        """Whether the bottle was ever read since its last replacement."""
        return self.tracks[bottle_id].readings > 0

    def changed_since_reading(self, bottle_id: str) -> bool:
        """Whether air moved since the last clear reading."""
        return self.tracks[bottle_id].moved

    def level(self, bottle_id: str, at_s: float, temp_c: float | None = None) -> Gauss:
        """Cents off the nominal target at a time, pump off."""
        means, sds = self.path(bottle_id, at_s, (0.0,), temp_c)
        return Gauss(float(means[0]), float(sds[0]))

    def path(
        self, bottle_id: str, at_s: float, minutes: Sequence[float], temp_c: float | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Cents off the nominal target some minutes after a time, as means and standard deviations.

        Args:
            bottle_id: the bottle.
            at_s: from when the minutes count.
            minutes: how far ahead, each not negative.
            temp_c: the air temperature at `at_s`, when it is known better than the events tell.
        """
        air = self.air
        if temp_c is not None:
            air = self.air.copy()
            air.read(at_s, temp_c)
        lag = self.priors[bottle_id].lag_min
        scales = self.scales[self.priors[bottle_id].group]
        track, unseen_min = self._track_at(bottle_id, at_s, air)
        means, sds = np.empty(len(minutes)), np.empty(len(minutes))
        for k, ahead_min in enumerate(minutes):
            to_s = at_s + 60.0 * ahead_min
            temp_var = air.ahead_var(unseen_min + ahead_min, lag)
            level, var = track.ahead(to_s, self._gas(air, bottle_id, to_s), scales.walk_var, temp_var)
            found = gauss_in_cents(level, scales.widening * var)
            means[k], sds[k] = found.mean, found.sd
        return means, sds

    def _track_at(self, bottle_id: str, at_s: float, air: Air) -> tuple[Track, float]:
        """A bottle's filter at a time, pump off, and for how long nobody read the thermometer."""
        track = self._leaned_now(bottle_id)
        if air is not self.air and bottle_id in self.read_since_temp:
            self._in_hindsight(bottle_id, track, air)
        unseen_min = air.unseen_min(at_s if track.at_s is None else track.at_s, at_s)
        walk = self.scales[self.priors[bottle_id].group].walk_var
        track.advance(at_s, self._gas(air, bottle_id, at_s), walk, 0.0)
        if bottle_id in self.on:
            head = self.handling.now(bottle_id, HEAD)
            track.jump(head.mean, head.var)
        return track, unseen_min

    def _leaned_now(self, bottle_id: str) -> Track:
        cached = self._track_cache.get(bottle_id)
        if cached is None or cached[0] != self._version:
            cached = (self._version, self.leaning.leaned(bottle_id, self.tracks[bottle_id]))
            self._track_cache[bottle_id] = cached
        return cached[1].copy()


def _own_var(event: ev.Strike) -> float:
    return NO_U95_VAR if event.u95_cents is None else (event.u95_cents / Z95) ** 2
