"""Sun on one rail: said by the player, or seen by all its bottles together, never by one."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.belief import Beliefs
from rounds.belief.state import from_bytes, to_bytes
from rounds.errors import BadInput
from rounds.events import RailAir, RoundOpened, Strike, Temperature
from rounds.faces.lines import Lines
from rounds.guide.round import Heard, begin
from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.rails import expected_now, in_words, warmer_rail
from rounds.sessions.session import Session

if TYPE_CHECKING:
    from rounds.events import Event

RIG = load_rig("configs/three_rails.toml")


def heard_at(at_s: float) -> list[Event]:
    return [
        Strike(at_s=at_s, bottle=b.id, verdict="clear", hz=RIG.target_hz(b.id), cents=0.0, u95_cents=1.0)
        for b in RIG.bottles
    ]


def an_hour_ago() -> list[Event]:
    """Every bottle in tune, read three times, in air that does not change."""
    events: list[Event] = []
    for minute in (0.0, 20.0, 40.0):
        events += [Temperature(at_s=60.0 * minute, temp_c=20.0), *heard_at(60.0 * minute + 1.0)]
    return events


def levels(beliefs: Beliefs, at_s: float) -> dict[str, float]:
    return {b.id: beliefs.level(b.id, at_s).mean for b in RIG.bottles}


def test_a_rail_in_the_sun_goes_sharp_by_the_gas_law_with_the_lag_of_its_bottles() -> None:
    """After many lags by the cents a kelvin that the gas law gives each bottle; the others stay."""
    before, after = Beliefs.fold(RIG, an_hour_ago()), Beliefs.fold(RIG, an_hour_ago())
    after.apply(RailAir(at_s=2500.0, rail=3, warmer_k=4.0))
    at_once, later = levels(after, 2500.0), levels(after, 2500.0 + 3600.0)
    usual_at_once, usual = levels(before, 2500.0), levels(before, 2500.0 + 3600.0)
    for bottle in RIG.bottles:
        assert at_once[bottle.id] == pytest.approx(usual_at_once[bottle.id], abs=1e-6)
        by = 4.0 * after.priors[bottle.id].per_kelvin.mean if bottle.rail == 3 else 0.0
        assert later[bottle.id] - usual[bottle.id] == pytest.approx(by, rel=0.1, abs=1e-6)


def test_out_of_the_sun_it_is_as_before_and_a_checkpoint_knows_it() -> None:
    beliefs = Beliefs.fold(RIG, an_hour_ago())
    usual = levels(beliefs, 9000.0)
    beliefs.apply(RailAir(at_s=2500.0, rail=3, warmer_k=4.0))
    kept = from_bytes(RIG, to_bytes(beliefs))
    assert kept is not None
    assert levels(kept, 4000.0) == levels(beliefs, 4000.0)
    beliefs.apply(RailAir(at_s=2600.0, rail=3, warmer_k=0.0))
    assert levels(beliefs, 9000.0) == pytest.approx(usual, abs=0.1)


def found(off_cents: dict[str, float]) -> tuple[int, float] | None:
    """What a round says in which every bottle was heard, in tune but for some."""
    beliefs = Beliefs.fold(RIG, an_hour_ago())
    expected = expected_now(beliefs, 3000.0)
    needed = {b.id: 1.0 for b in RIG.bottles}
    state = begin(RoundOpened(at_s=3000.0, round_id="r1", downbeat_s=None, block_s=600.0, needed=needed))
    heard = {b: Heard(3100.0, expected[b] + off_cents.get(b, 0.0), 1.0, pump_on=False) for b in needed}
    return warmer_rail(RIG, beliefs, replace(state, heard=heard), expected)


def test_all_bottles_of_a_rail_together_are_a_thermometer_and_one_is_none() -> None:
    """Ten cents sharp at 2.5 to 4 cents a kelvin: some three kelvin."""
    warm = {b.id: 10.0 for b in RIG.bottles if b.rail == 2}
    said = found(warm)
    assert said is not None
    assert said[0] == 2
    assert said[1] == pytest.approx(3.0, abs=1.0)
    assert in_words(*said).startswith(f"The bottles of rail 2 read {said[1]:.1f} K warmer than the others")
    assert found({}) is None
    assert found({next(iter(warm)): 60.0}) is None
    assert found(dict(list(warm.items())[:3])) is None


def test_what_every_reading_is_off_by_is_no_sun() -> None:
    """A hundred rounds of readings 3 cents off accuse no rail; a whole hall that warmed does neither."""
    rng = np.random.default_rng(4)
    per_k = {b: prior.per_kelvin.mean for b, prior in Beliefs(RIG).priors.items()}
    rounds = [found({b: 1.5 * k + float(rng.normal(0.0, 3.0)) for b, k in per_k.items()}) for _ in range(100)]
    assert sum(r is not None for r in rounds) <= 1


@pytest.mark.parametrize(("rail", "warmer_k", "words"), [(9, 2.0, "no rail 9"), (3, 80.0, "cannot be")])
def test_what_cannot_be_is_refused(rail: int, warmer_k: float, words: str) -> None:
    session = Session(RIG, MemoryJournal(an_hour_ago()), 3000.0)
    with pytest.raises(BadInput, match=words):
        session.rail_air(rail, warmer_k, 3001.0)
    unknown = Session(RIG, MemoryJournal(), 0.0)
    with pytest.raises(BadInput, match="air temperature first"):
        unknown.rail_air(3, 2.0, 1.0)


def test_lines_say_it() -> None:
    log = MemoryJournal(an_hour_ago())
    lines = Lines(Session(RIG, log, 3000.0), 3000.0, lambda _session, _path: [])
    assert json.loads(lines.answer('{"rail_air": {"rail": 3, "warmer_k": 4}}', 1.0))["error"] is None
    assert json.loads(lines.answer('{"rail_air": {"rail": 3}}', 1.0))["error"]
    assert [e.warmer_k for _, e in log.events() if isinstance(e, RailAir)] == [4.0]
