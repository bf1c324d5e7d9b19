"""Health findings follow from evidence, and a leak is told from a group that loses air as a whole.

On whole simulated days: `python -m tests.benchmarks.leaks`, reported in docs/health.md.
"""

from __future__ import annotations

import itertools
import json
import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import stats

from rounds import cli
from rounds.air import psi_to_kpa
from rounds.belief.pooling import Told
from rounds.belief.priors import from_linear
from rounds.events import (
    AirMoved,
    Connected,
    Event,
    Gauge,
    NoteWritten,
    Replaced,
    Strike,
    Temperature,
)
from rounds.gauss import Gauss
from rounds.health import CAP, Histories, assess
from rounds.health.leaks import EXTRA_PER_MIN, P_LEAK, _log_leaky, weigh
from rounds.health.rates import Gas, Level, rate_between, together
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rounds.health import BottleHealth

RIG = load_rig("configs/one_rail.toml")
PRIOR = Gauss(-0.12, 0.2)


@pytest.mark.parametrize("spread", [0.05, 0.3, 1.0, 4.0])
@pytest.mark.parametrize("faster", [-14.0, -9.0, -8.0, -3.0, 0.0, 2.0, 9.0, 25.0])
def test_the_density_of_a_leaky_bottle_is_that_of_scipy(faster: float, spread: float) -> None:
    """scipy.stats.exponnorm: K = 1/(sd x rate), here with the leak's size in units of the spread."""
    k = EXTRA_PER_MIN / spread
    expected = stats.exponnorm.logpdf(faster, k)
    if math.isfinite(expected) and expected > -200.0:
        # Ours is per cents a minute, scipy's per standard deviation.
        assert _log_leaky(faster, spread) == pytest.approx(expected - math.log(spread), abs=1e-2)


def test_one_fast_bottle_is_told_from_a_fast_group() -> None:
    alone = {f"b{n}": Told(-0.12 - 0.02 * n, 0.05**2) for n in range(8)} | {"bad": Told(-1.0, 0.05**2)}
    odds = weigh(PRIOR, alone)
    assert odds.p_leak["bad"] > 0.99
    assert max(p for i, p in odds.p_leak.items() if i != "bad") < 0.1
    everyone = {f"b{n}": Told(-1.0 - 0.02 * n, 0.05**2) for n in range(9)}
    assert max(weigh(PRIOR, everyone).p_leak.values()) < 0.5
    assert weigh(PRIOR, everyone).group.mean == pytest.approx(-0.9, abs=0.25)


def test_two_leaks_do_not_hide_each_other_nor_one_in_a_group_of_three() -> None:
    two = {f"b{n}": Told(-0.1 - 0.02 * n, 0.05**2) for n in range(6)}
    two |= {"bad": Told(-1.2, 0.05**2), "worse": Told(-2.0, 0.1**2)}
    odds = weigh(PRIOR, two).p_leak
    assert min(odds["bad"], odds["worse"]) > 0.95
    three = {"a": Told(-0.2, 0.05**2), "b": Told(-0.6, 0.05**2), "bad": Told(-2.7, 0.1**2)}
    assert weigh(Gauss(-0.25, 0.3), three).p_leak["bad"] > 0.9


def test_few_and_vague_readings_accuse_nobody() -> None:
    odds = weigh(PRIOR, {"silent": None, "vague": Told(-1.5, 1.5**2), "fine": Told(-0.1, 0.05**2)})
    assert odds.p_leak["silent"] == P_LEAK
    assert odds.p_leak["vague"] < 0.2


def test_rates_come_back_free_of_temperature() -> None:
    """A bottle that falls 0.4 cents a minute while the air warms: the rate is what was put in."""
    gas = Gas(3.0)
    levels = []
    for minute in range(0, 180, 15):
        gas.air(60.0 * minute, 20.0 + minute / 30.0)
        gas_c = gas.at(60.0 * minute)
        assert gas_c is not None
        levels.append(Level(60.0 * minute, -0.4 * minute + 2.5 * gas_c, gas_c))
    rates = [rate_between(a, b, 2.5) for a, b in itertools.pairwise(levels)]
    told = together([r for r in rates if r is not None])
    assert told is not None
    assert told.mean == pytest.approx(-0.4, abs=1e-6)
    assert rate_between(levels[0], levels[0], 2.5) is None


def test_one_slip_among_many_pairs_weighs_little() -> None:
    pairs = [rate_between(Level(0.0, 0.0, 20.0), Level(1200.0, -4.0, 20.0), 2.0) for _ in range(9)]
    slip = rate_between(Level(0.0, 0.0, 20.0), Level(1200.0, -300.0, 20.0), 2.0)
    told = together([r for r in (*pairs, slip) if r is not None])
    assert told is not None
    assert told.mean == pytest.approx(-0.2, abs=0.08)


def strike(at_min: float, bottle: str, cents: float) -> Strike:
    hz = RIG.target_hz(bottle) * 2 ** (cents / 1200.0)
    return Strike(at_s=60.0 * at_min, bottle=bottle, verdict="clear", hz=hz, cents=cents, u95_cents=1.0)


def rehearsal(leaks: dict[str, float], seed: int = 1) -> list[Event]:
    """Every bottle read every 15 minutes for two hours and a half, retuned by hand in between."""
    rng = np.random.default_rng(seed)
    events: list[Event] = []
    for start in range(0, 150, 15):
        events.append(Temperature(at_s=60.0 * start, temp_c=20.0))
        for bottle in RIG.bottles:
            fall = leaks.get(bottle.id, -0.1) * 14.0
            events.append(strike(start, bottle.id, float(rng.normal(0.0, 0.7))))
            events.append(strike(start + 14, bottle.id, from_linear(fall + float(rng.normal(0.0, 0.7)))))
            events.append(AirMoved(at_s=60.0 * (start + 14) + 5, bottle=bottle.id, pump=None, strokes=None))
    return events


def health_of(events: Sequence[Event], now_min: float = 200.0) -> dict[str, BottleHealth]:
    histories = Histories(RIG)
    for event in sorted(events, key=lambda e: e.at_s):
        histories.apply(event)
    return {h.id: h for h in assess(RIG, histories, 60.0 * now_min)}


def test_a_leak_is_found_with_its_evidence_and_what_to_try_in_order() -> None:
    found = health_of(rehearsal({"E4": -1.2}))
    assert [b for b, h in found.items() if h.findings] == ["E4"]
    (finding,) = found["E4"].findings
    assert finding.what == "it leaks"
    assert finding.probability is not None
    assert finding.probability > 0.9
    assert "cents a minute" in finding.evidence
    assert [step.split(":")[0].split()[0] for step in finding.try_in_order] == [
        "valve",
        "seal",
        "cap",
        "bottle",
    ]


def test_a_new_cap_starts_a_new_history_and_is_not_named_again() -> None:
    events = rehearsal({"E4": -1.2})
    replaced = Replaced(at_s=150 * 60.0, bottle="E4", part="cap")
    fresh = health_of([*events, replaced])["E4"]
    assert fresh.own_leak is None
    assert fresh.findings == ()
    assert (fresh.readings, fresh.cap.hours) == (0, 0.0)
    assert fresh.bottle.hours > 1.0
    later = [e for e in rehearsal({"E4": -1.2}, 2) if getattr(e, "bottle", "E4") == "E4"]
    again = [*events, replaced, *(shifted(e, 160.0) for e in later)]
    (finding,) = health_of(again, 400.0)["E4"].findings
    assert CAP.format("E4") not in finding.try_in_order
    assert "with a new cap" in finding.evidence
    assert health_of([*events, Replaced(at_s=9e3, bottle="E4", part="bottle")])["E4"].bottle.hours == 0.0


def shifted(event: Event, minutes: float) -> Event:
    import dataclasses

    return dataclasses.replace(event, at_s=event.at_s + 60.0 * minutes)


def test_hours_count_while_it_sounds_as_pumped() -> None:
    held = [strike(0, "A4", 0.0), strike(600, "A4", -20.0)]
    assert health_of(held)["A4"].cap.hours == pytest.approx(10.0)
    let_down = [strike(0, "A4", 0.0), AirMoved(at_s=60.0, bottle="A4", pump=None, strokes=-40.0)]
    assert health_of([*let_down, strike(600, "A4", -20.0)])["A4"].cap.hours == pytest.approx(4.0)
    empty = [strike(0, "A4", -1100.0), strike(600, "A4", -1100.0)]
    assert health_of(empty)["A4"].cap.hours == 0.0


def test_worn_caps_are_due() -> None:
    many = [Connected(at_s=float(n), bottle="A4", pump="floor") for n in range(500)]
    (finding,) = health_of(many)["A4"].findings
    assert finding.what == "its cap is due for replacement"
    assert finding.evidence == "500 connections"
    old = health_of([Replaced(at_s=0.0, bottle="C5", part="cap")], now_min=400 * 1440.0)
    assert old["C5"].findings[0].evidence == "fitted 400 days ago"


def test_gauge_readings_above_the_ceiling_and_a_bottle_that_gives_way() -> None:
    over = Gauge(at_s=1.0, bottle="A4", gauge_kpa=psi_to_kpa(85.0))
    found = health_of([over])["A4"].findings
    assert (found[0].urgency, found[0].what[:11]) == ("now", "let air out")
    assert found[0].evidence == "gauge 85 psi, ceiling 80 psi"
    reads = [
        strike(0, "A4", 0.0), Gauge(at_s=10.0, bottle="A4", gauge_kpa=psi_to_kpa(30.0)),
        strike(900, "A4", 0.0), Gauge(at_s=54010.0, bottle="A4", gauge_kpa=psi_to_kpa(38.0)),
    ]  # fmt: skip
    (finding,) = health_of(reads)["A4"].findings
    assert "needs more air" in finding.what
    assert finding.evidence.startswith("30 psi at first, 38 psi now")


def test_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cli, "COMMANDS", ("health", "replace"))
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(rehearsal({"E4": -1.2}))
        journal.append(NoteWritten(at_s=1.0, text="hiss\x1b[2J", bottle="E4"))
    common = ("--rig", "configs/one_rail.toml", "--journal", str(tmp_path / "j.db"))
    assert cli.main(("health", *common)) == 0
    out = capsys.readouterr().out
    assert out.startswith("soon: E4: it leaks (probability ")
    assert "cover your eyes" in out
    assert len(out.splitlines()) == 10 + 4 + len(RIG.bottles)
    assert cli.main(("health", *common, "--bottle", "E4", "--json")) == 0
    (one,) = json.loads(capsys.readouterr().out)["bottles"]
    assert one["leak_cents_per_min"] == pytest.approx(-1.2, abs=0.15)
    assert one["notes"] == ["hiss\x1b[2J"]
    assert cli.main(("replace", "E4", "--cap", *common)) == 0
    assert cli.main(("replace", "H4", "--cap", *common)) == 2
    assert cli.main(("health", *common, "--json")) == 0
    after = {b["id"]: b for b in json.loads(capsys.readouterr().out)["bottles"]}
    assert after["E4"]["findings"] == []
