"""Beliefs as bytes and back, so that a long journal need not be folded from its start each time.

A shortcut only: it is thrown away whenever the rig, this module's version or the order of the
journal is not what it was, and the fold over all events is the truth. Numbers are kept to the last
bit, so going on from here equals the whole fold.
"""

from __future__ import annotations

import hashlib
import json
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from rounds.belief.beliefs import Beliefs
from rounds.belief.handling import Learned, Lesson, Part
from rounds.belief.scales import Guesses, Since
from rounds.belief.temperature import Air, Ramp
from rounds.belief.track import Move, Track
from rounds.gauss import Gauss

if TYPE_CHECKING:
    from rounds.belief.pooling import Pool
    from rounds.journal import Log
    from rounds.rig import Rig

VERSION = 7
"""Raised whenever the meaning of a kept number changes."""


def fingerprint(rig: Rig) -> str:
    """What beliefs depend on in a rig: change it and they must be worked out anew."""
    told = repr((VERSION, rig.with_spares, rig.pumps, rig.reference))
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def checkpoint_name(rig: Rig) -> str:
    """Name of a rig's checkpoint: a player with two rigs, or one who tries a change, keeps both."""
    return f"beliefs of {fingerprint(rig)[:12]}"


def to_bytes(beliefs: Beliefs) -> bytes:
    """Everything that later events need."""
    beliefs.work_off()
    document = {
        "rig": fingerprint(beliefs.rig),
        "latest_s": beliefs.latest_s if math.isfinite(beliefs.latest_s) else None,
        "in_order": beliefs.in_order,
        "usual_sd": beliefs.usual_sd,
        "on": sorted(beliefs.on),
        "read_since_temp": sorted(beliefs.read_since_temp),
        "rail_air": list(beliefs.rail_air.items()),
        "pools": {g: _pool(p) for g, p in beliefs.leaning.pools.items()},
        "air": _air(beliefs.air),
        "scales": {g: _plain(s) for g, s in beliefs.scales.items()},
        "tracks": {i: _track(t) for i, t in beliefs.tracks.items()},
        "learned": [
            [*key, known.prior.mean, known.prior.sd, known.mean, known.var]
            for key, known in beliefs.handling.learned.items()
        ],
        "lessons": {i: _lesson(told) for i, told in beliefs.handling.lessons.items()},
    }
    return json.dumps(document, separators=(",", ":")).encode()


def from_bytes(rig: Rig, blob: bytes) -> Beliefs | None:
    """The beliefs kept in bytes; None when they are of another rig or version, or damaged."""
    try:
        document = json.loads(blob)
        if document["rig"] != fingerprint(rig):
            return None
        return _restored(rig, document)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def keep(beliefs: Beliefs, log: Log, last_id: int) -> None:
    """Keep beliefs that took in everything up to an id as the log's checkpoint."""
    log.save_checkpoint(checkpoint_name(beliefs.rig), last_id, to_bytes(beliefs))


def _plain(thing: Any) -> dict[str, Any]:
    return {name: _listed(getattr(thing, name)) for name in type(thing).__slots__}


def _listed(value: Any) -> Any:
    return value.tolist() if isinstance(value, np.ndarray) else value


def _air(air: Air) -> dict[str, Any]:
    kept = _plain(air)
    kept["gas"] = list(air.gas.items())
    if air.ramp is not None:
        kept["ramp"] = {**_plain(air.ramp), "gas": list(air.ramp.gas.items())}
    return kept


def _pool(pool: Pool) -> dict[str, Any]:
    return {**_plain(pool), "found": [[name, g.mean, g.sd] for name, g in pool.found.items()]}


def _track(track: Track) -> dict[str, Any]:
    kept = _plain(track)
    kept["moves"] = [[m.at_s, m.x] for m in track.moves]
    kept["guesses"] = _plain(track.guesses)
    kept["since"] = _plain(track.since)
    return kept


def _lesson(told: Lesson) -> list[Any]:
    parts = [[p.key, p.coefficient, p.mean, p.var] for p in told.parts]
    return [told.at_s, told.expected.mean, told.expected.sd, parts]


def _fill(thing: Any, kept: dict[str, Any]) -> None:
    for name in type(thing).__slots__:
        is_array = isinstance(getattr(thing, name), np.ndarray)
        setattr(thing, name, np.array(kept[name]) if is_array else kept[name])


def _restored(rig: Rig, document: dict[str, Any]) -> Beliefs:
    beliefs = Beliefs(rig)
    beliefs.on = set(document["on"])
    beliefs.latest_s = document["latest_s"] if document["latest_s"] is not None else -math.inf
    beliefs.in_order, beliefs.usual_sd = document["in_order"], document["usual_sd"]
    beliefs.read_since_temp = set(document["read_since_temp"])
    for group, pool in beliefs.leaning.pools.items():
        kept = document["pools"][group]
        pool.found = {name: Gauss(mean, sd) for name, mean, sd in kept["found"]}
        pool.count, pool.waiting, pool.fits = kept["count"], kept["waiting"], kept["fits"]
    beliefs.rail_air = {rail: [(at_s, k) for at_s, k in steps] for rail, steps in document["rail_air"]}
    _restore_air(beliefs.air, document["air"])
    for group, scales in beliefs.scales.items():
        _fill(scales, document["scales"][group])
    for bottle_id, track in beliefs.tracks.items():
        _restore_track(track, document["tracks"][bottle_id])
    for bottle_id, key, prior_mean, prior_sd, mean, var in document["learned"]:
        beliefs.handling.learned[bottle_id, key] = Learned(Gauss(prior_mean, prior_sd), mean, var)
    for bottle_id, (at_s, mean, sd, parts) in document["lessons"].items():
        told = Lesson(at_s, Gauss(mean, sd), tuple(Part(*part) for part in parts))
        beliefs.handling.lessons[bottle_id] = told
    return beliefs


def _restore_air(air: Air, kept: dict[str, Any]) -> None:
    _fill(air, kept)
    air.gas = dict(kept["gas"])
    ramp = kept["ramp"]
    if ramp is not None:
        air.ramp = Ramp(ramp["from_s"], ramp["start"], ramp["rate_per_min"], dict(ramp["gas"]))


def _restore_track(track: Track, kept: dict[str, Any]) -> None:
    _fill(track, kept)
    track.moves = [Move(at_s, x) for at_s, x in kept["moves"]]
    track.guesses = Guesses(Gauss(0.0, 1.0))
    _fill(track.guesses, kept["guesses"])
    track.since = Since(**kept["since"])
