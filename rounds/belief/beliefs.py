"""What is believed of every bottle: a fold over the journal's events.

`Beliefs` knows no file, clock or screen; the same events give the same beliefs, so a killed session
comes back as it was. Cents are off the bottle's nominal target (rig reference, no shift); questions
carry their time, and a time before the last event is answered as of that event.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rounds import events as ev
from rounds.belief import pooling
from rounds.belief.priors import (
    GAIN_DOUBT,
    HALF_NEPER_CENTS,
    LET_OUT_DOUBT,
    gauss_in_cents,
    prior_gain_hz2,
    prior_of,
    to_linear,
)
from rounds.belief.scales import Scales
from rounds.belief.temperature import Air
from rounds.belief.track import CREEP_FROM_MIN, Pending, Track
from rounds.gauss import Z95, Gauss
from rounds.rig import GROUPS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from rounds.belief.priors import Prior
    from rounds.rig import Rig

COEFFICIENTS = ("leak", "per_k", "settling", "creep")
HEAD, JOIN = "head", "join"
"""What a pump head takes from a bottle as it comes off, and as it goes on."""
OUT = "out"
STROKE_DOUBT = 0.12
"""Relative sd of one stroke against the next of the same pump on the same bottle."""
NO_U95_VAR = 1.0
LEAST_SHARE, MOST_SHARE = 0.1, 5.0
"""A learned number stays within these shares of its prior: one slip must not turn a pump around."""
WIDENED = 1.08
"""Forecast variances are this much larger, since the learned variances are themselves uncertain."""
UNHEARD_AFTER_MIN = 5.0
"""Air moved this long after the last reading was moved because of something that was not written down."""
SETTLED_AFTER_MIN = 5.0
"""`settling` tells what has come back after this long."""


@dataclass(slots=True)
class Learned:
    """A number of one bottle that air moves teach, in linear cents: its prior and what is believed now."""

    prior: Gauss
    mean: float
    var: float

    @property
    def now(self) -> Gauss:
        """As a distribution."""
        return Gauss(self.mean, math.sqrt(self.var))


class Beliefs:
    """Per-bottle state, learned from events."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.priors: dict[str, Prior] = {b.id: prior_of(rig, b) for b in rig.bottles}
        self.tracks: dict[str, Track] = {i: Track(p) for i, p in self.priors.items()}
        self.learned: dict[tuple[str, str], Learned] = {}
        self.air = Air(tuple(sorted({p.lag_min for p in self.priors.values()})))
        self.scales: dict[str, Scales] = {group: Scales() for group in GROUPS}
        self.on: str | None = None
        self._version = 0
        self._pool_cache: dict[tuple[str, str], tuple[int, Gauss]] = {}
        self._handlers: dict[type[ev.Event], Callable[..., None]] = {
            ev.Strike: self._strike,
            ev.AirMoved: self._air_moved,
            ev.Temperature: self._temperature,
            ev.RoundOpened: self._round_opened,
            ev.Connected: self._connected,
            ev.Disconnected: self._disconnected,
            ev.Replaced: self._replaced,
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
        twin = Beliefs(self.rig)
        twin.tracks = {i: t.copy() for i, t in self.tracks.items()}
        twin.learned = {k: Learned(v.prior, v.mean, v.var) for k, v in self.learned.items()}
        twin.air = self.air.copy()
        twin.scales = {g: s.copy() for g, s in self.scales.items()}
        twin.on = self.on
        twin._version = self._version
        return twin

    def apply(self, event: ev.Event) -> None:
        """Take in one event."""
        handler = self._handlers.get(type(event))
        if handler is not None:
            handler(event)

    # -- events ------------------------------------------------------------------------------------

    def _strike(self, event: ev.Strike) -> None:
        track = self.tracks.get(event.bottle or "")
        if track is None or event.bottle is None or event.verdict != "clear" or event.cents is None:
            return
        if self.on == event.bottle and not event.pump_on:
            self._head_off(event.bottle)
        elif event.pump_on:
            self.on = event.bottle
        self._advance(event.bottle, track, event.at_s)
        x = to_linear(event.cents)
        scales = self.scales[self.priors[event.bottle].group]
        surprise = track.read(x, _own_var(event) + scales.room_var, scales)
        for part in track.pending:
            self._learn(event.bottle, part, surprise.innovation / surprise.spread, surprise.spread)
        track.pending.clear()
        self._version += 1

    def _learn(self, bottle_id: str, part: Pending, normalised: float, spread: float) -> None:
        known = self.learned[bottle_id, part.key]
        lever = part.coefficient * known.var
        low, high = sorted((LEAST_SHARE * known.prior.mean, MOST_SHARE * known.prior.mean))
        known.mean = min(high, max(low, known.mean + lever * normalised))
        known.var = max(known.var - lever * lever / spread, 1e-4 * known.prior.var)

    def _advance(self, bottle_id: str, track: Track, at_s: float) -> None:
        gas = self.air.gas_at(at_s, self.priors[bottle_id].lag_min)
        since = track.at_s if track.at_s is not None else at_s
        walk = self.scales[self.priors[bottle_id].group].walk_var
        track.advance(at_s, gas, walk, self.air.unseen_var(since, at_s))

    def _air_moved(self, event: ev.AirMoved) -> None:
        track = self.tracks.get(event.bottle)
        if track is None or event.strokes == 0.0:
            return
        if event.strokes is None:
            self._moved_somehow(event.bottle, track, event.at_s)
        else:
            self._advance(event.bottle, track, event.at_s)
            self._strokes(event.bottle, track, event.strokes, event.pump)
        self._version += 1

    def _moved_somehow(self, bottle_id: str, track: Track, at_s: float) -> None:
        """Air moved by an unknown amount: the bottle stands wherever such moves leave the group."""
        self._advance(bottle_id, track, at_s)
        if track.read_s is not None and at_s - track.read_s > 60.0 * UNHEARD_AFTER_MIN and not track.moved:
            track.surmise(self.priors[bottle_id].tolerance_cents)
        track.pending.clear()
        scales = self.scales[self.priors[bottle_id].group]
        track.land(scales.landed_mean, scales.landed_var)

    def _strokes(self, bottle_id: str, track: Track, strokes: float, pump_id: str | None) -> None:
        key = OUT if strokes < 0.0 or pump_id is None else pump_id
        known = self._known(bottle_id, key)
        dose_var = abs(strokes) * (STROKE_DOUBT * known.mean) ** 2
        track.jump(strokes * known.mean, strokes * strokes * known.var + dose_var)
        track.pending.append(Pending(key, strokes))

    def _temperature(self, event: ev.Temperature) -> None:
        self.air.read(event.at_s, event.temp_c)
        self._version += 1

    def _round_opened(self, event: ev.RoundOpened) -> None:
        if event.temp_c is not None:
            self.air.read(event.at_s, event.temp_c)
            self._version += 1

    def _connected(self, event: ev.Connected) -> None:
        if self.on is not None and self.on != event.bottle:
            self._head_off(self.on)
        if event.bottle in self.tracks and self.on != event.bottle:
            self.on = event.bottle
            self._advance(event.bottle, self.tracks[event.bottle], event.at_s)
            self._lose(event.bottle, JOIN)

    def _disconnected(self, event: ev.Disconnected) -> None:
        if event.bottle in self.tracks:
            self._advance(event.bottle, self.tracks[event.bottle], event.at_s)
            if self.on == event.bottle:
                self._head_off(event.bottle)

    def _head_off(self, bottle_id: str) -> None:
        """The head comes off the valve, and takes its air with it."""
        self.on = None
        self._lose(bottle_id, HEAD)

    def _lose(self, bottle_id: str, key: str) -> None:
        """The little air that a connection costs. It is no air move that needs another strike."""
        track = self.tracks[bottle_id]
        known = self._known(bottle_id, key)
        moved = track.moved
        track.jump(known.mean, known.var)
        track.moved = moved
        track.pending.append(Pending(key, 1.0))
        self._version += 1

    def _replaced(self, event: ev.Replaced) -> None:
        prior = self.priors.get(event.bottle)
        if prior is None:
            return
        self.tracks[event.bottle] = Track(prior)
        for key in [k for k in self.learned if k[0] == event.bottle]:
            del self.learned[key]
        self._version += 1

    # -- learned numbers ---------------------------------------------------------------------------

    def _known(self, bottle_id: str, key: str) -> Learned:
        """The bottle's own entry for a key, made from its prior on first use."""
        known = self.learned.get((bottle_id, key))
        if known is None:
            prior = self._learned_prior(bottle_id, key)
            start = self._pooled_learned(bottle_id, key)
            known = Learned(prior, start.mean, start.var)
            self.learned[bottle_id, key] = known
        return known

    def _learned_prior(self, bottle_id: str, key: str) -> Gauss:
        prior = self.priors[bottle_id]
        if key in (HEAD, JOIN):
            return prior.head_x
        bottle = self.rig.bottle(bottle_id)
        pump = self.rig.pump(bottle.pump if key == OUT else key)
        x = HALF_NEPER_CENTS * prior_gain_hz2(self.rig, bottle, pump) / prior.target_hz2
        return Gauss(x, x * (LET_OUT_DOUBT if key == OUT else GAIN_DOUBT))

    def _pooled_learned(self, bottle_id: str, key: str) -> Gauss:
        """Prior of a learned number after what the other bottles of the group said, as a share of theirs."""
        own = self._learned_prior(bottle_id, key)
        group = self.priors[bottle_id].group
        says = [
            pooling.Told(t.mean / known.prior.mean, t.var / known.prior.var)
            for (other, k), known in self.learned.items()
            if k == key and other != bottle_id and self.priors[other].group == group
            for t in [pooling.told(known.prior, known.now)]
            if t is not None
        ]
        scale = own.sd / abs(own.mean)
        says = [pooling.Told(s.mean, s.var * scale * scale) for s in says]
        share = pooling.pooled(Gauss(1.0, scale), says)
        return Gauss(share.mean * own.mean, share.sd * abs(own.mean))

    def _learned_now(self, bottle_id: str, key: str) -> Gauss:
        known = self.learned.get((bottle_id, key))
        return self._pooled_learned(bottle_id, key) if known is None else known.now

    def gain(self, bottle_id: str, pump_id: str) -> Gauss:
        """Hz² that one full stroke of a pump adds to a bottle."""
        return self._learned_now(bottle_id, pump_id).scaled(self._hz2_per_x(bottle_id))

    def pin_gain(self, bottle_id: str) -> Gauss:
        """Hz² that one small let-out takes (unit: one stroke's worth; positive)."""
        return self._learned_now(bottle_id, OUT).scaled(self._hz2_per_x(bottle_id))

    def head_loss(self, bottle_id: str) -> Gauss:
        """Cents by which the pitch changes when the pump head comes off near the target (negative)."""
        return self._learned_now(bottle_id, HEAD)

    def settling(self, bottle_id: str, change_cents: float) -> Gauss:
        """Cents that the pitch moves by itself in the five minutes after a quick change (opposite sign)."""
        share, creep = self._coefficient(bottle_id, "settling"), self._coefficient(bottle_id, "creep")
        folds = math.log1p(SETTLED_AFTER_MIN / CREEP_FROM_MIN)
        return share.plus(creep.scaled(folds)).scaled(-change_cents)

    def _hz2_per_x(self, bottle_id: str) -> float:
        return self.priors[bottle_id].target_hz2 / HALF_NEPER_CENTS

    # -- group pooling of the filter's coefficients ------------------------------------------------

    def _coefficient(self, bottle_id: str, name: str) -> Gauss:
        """A bottle's coefficient as its own readings and its group tell it."""
        own = _posterior(self.tracks[bottle_id], name)
        prior = _prior(self.priors[bottle_id], name)
        return pooling.swapped(prior, own, self._group(self.priors[bottle_id], name))

    def _group(self, prior: Prior, name: str) -> Gauss:
        cached = self._pool_cache.get((prior.group, name))
        if cached is not None and cached[0] == self._version:
            return cached[1]
        says = (
            pooling.told(_prior(self.priors[i], name), _posterior(t, name))
            for i, t in self.tracks.items()
            if self.priors[i].group == prior.group
        )
        group = pooling.pooled(_prior(prior, name), (s for s in says if s is not None))
        self._pool_cache[prior.group, name] = (self._version, group)
        return group

    def _pooled_track(self, bottle_id: str) -> Track:
        """A copy of a bottle's filter whose prior is its group, not the general one."""
        track = self.tracks[bottle_id].copy()
        prior = self.priors[bottle_id]
        for index, name in enumerate(COEFFICIENTS, 1):
            track.lean(index, _prior(prior, name), self._group(prior, name))
        return track

    # -- questions ---------------------------------------------------------------------------------

    @property
    def temp_c(self) -> float | None:
        """The latest air temperature as smoothed, None while none was given."""
        return self.air.temp_c

    @property
    def last_temp_s(self) -> float | None:
        """When the temperature was last given."""
        return self.air.read_s

    def heard(self, bottle_id: str) -> bool:
        """Whether the bottle was ever read since its last replacement."""
        return self.tracks[bottle_id].readings > 0

    def last_read_s(self, bottle_id: str) -> float | None:
        """When the bottle was last read clearly."""
        return self.tracks[bottle_id].read_s

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
        track = self._pooled_track(bottle_id)
        lag = self.priors[bottle_id].lag_min
        since = track.at_s if track.at_s is not None else at_s
        walk = self.scales[self.priors[bottle_id].group].walk_var
        track.advance(at_s, air.gas_at(at_s, lag), walk, air.unseen_var(since, at_s))
        if self.on == bottle_id:
            head = self._learned_now(bottle_id, HEAD)
            track.jump(head.mean, head.var)
        ahead = [_ahead(track, air, at_s, m, lag, walk) for m in minutes]
        return np.array([g.mean for g in ahead]), np.array([g.sd for g in ahead])


def _ahead(track: Track, air: Air, at_s: float, minutes: float, lag: float, walk: float) -> Gauss:
    future = track.copy()
    to_s = at_s + 60.0 * minutes
    future.advance(to_s, air.gas_at(to_s, lag), walk, air.ahead_var(minutes, lag))
    return gauss_in_cents(future.level, WIDENED * future.a00)


def _own_var(event: ev.Strike) -> float:
    return NO_U95_VAR if event.u95_cents is None else (event.u95_cents / Z95) ** 2


def _posterior(track: Track, name: str) -> Gauss:
    mean, var = {
        "leak": (track.leak, track.a11),
        "per_k": (track.per_k, track.a22),
        "settling": (track.settling, track.a33),
        "creep": (track.creep, track.a44),
    }[name]
    return Gauss(mean, math.sqrt(max(var, 1e-12)))


def _prior(prior: Prior, name: str) -> Gauss:
    by_name: dict[str, Gauss] = {
        "leak": prior.leak_per_min,
        "per_k": prior.per_kelvin,
        "settling": prior.settling,
        "creep": prior.creep,
    }
    return by_name[name]
