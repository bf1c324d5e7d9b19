"""Health findings follow from evidence, and a leak is told from a group that loses air as a whole.

On whole days in two worlds: `python -m tests.benchmarks.health`, reported in docs/health.md.
"""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import stats

from rounds import cli
from rounds.air import psi_to_kpa
from rounds.belief.priors import PRESSURE_X, from_linear
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
from rounds.health import CAP, LEAK_LIKELY, Histories, assess
from rounds.health.leaks import (
    HALF_LEAK_LESS,
    LEAST_USUAL,
    LOST,
    P_LEAK,
    LeakOdds,
    _leaky_density,
    weigh,
)
from rounds.health.rates import Gas, Level, Rate, rate_between, together
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rounds.health import BottleHealth
    from rounds.rig import Group

RIG = load_rig("configs/one_rail.toml")


def pairs(per_min: float, count: int = 3, sd: float = 0.05) -> list[Rate]:
    """So many stretches of 20 minutes that all say the same."""
    return [Rate(per_min, sd * sd * count, 20.0)] * count


def odds(rates: dict[str, list[Rate]], group: Group = "middle") -> LeakOdds:
    return weigh({group: 0.12}, {group: rates})[group]


@pytest.mark.parametrize("usual", [0.1, 0.5])
def test_what_a_leak_adds_is_drawn_as_scipy_draws_it(usual: float) -> None:
    """scipy.stats.lomax, shape 1: half of all leaks add less than the scale. Ours is per logarithm of the
    rate."""
    ours = _leaky_density(np.array([usual]))[:, 0]
    scale = HALF_LEAK_LESS * max(LEAST_USUAL, usual)
    theirs = np.where(usual < LOST, stats.lomax.pdf(LOST - usual, 1.0, scale=scale), 0.0) * LOST
    np.testing.assert_allclose(ours, theirs, rtol=1e-9)


def test_the_usual_rate_and_spread_of_a_group_come_back() -> None:
    """A log-normal group (scipy.stats.lognorm has mean and sd in closed form) is told back from its
    bottles."""
    drawn = stats.lognorm(0.5, scale=0.2)
    quantiles = drawn.ppf((np.arange(40) + 0.5) / 40)
    group = odds({f"b{n}": pairs(-q, sd=0.01) for n, q in enumerate(quantiles)}).group
    assert group.mean == pytest.approx(-drawn.mean(), rel=0.1)
    assert group.sd == pytest.approx(drawn.std(), rel=0.25)


def test_one_fast_bottle_is_told_from_a_fast_group() -> None:
    alone = {f"b{n}": pairs(-0.12 - 0.02 * n) for n in range(8)} | {"bad": pairs(-1.6)}
    found = odds(alone)
    assert found.p_leak["bad"] > 0.95
    assert max(p for i, p in found.p_leak.items() if i != "bad") < 0.1
    everyone = odds({f"b{n}": pairs(-1.0 - 0.02 * n) for n in range(9)})
    assert max(everyone.p_leak.values()) < LEAK_LIKELY


def test_two_leaks_do_not_hide_each_other_nor_one_in_a_group_of_three() -> None:
    two = {f"b{n}": pairs(-0.1 - 0.02 * n) for n in range(6)} | {"bad": pairs(-1.2), "worse": pairs(-2.0)}
    found = odds(two).p_leak
    assert min(found["bad"], found["worse"]) > 0.95
    three: dict[Group, dict[str, list[Rate]]] = {
        "top": {"a": pairs(-0.3), "b": pairs(-0.4), "worst": pairs(-2.7)},
        "middle": {f"b{n}": pairs(-0.1 - 0.02 * n) for n in range(9)},
    }
    assert weigh({"top": 0.28, "middle": 0.12}, three)["top"].p_leak["worst"] > 0.5


def test_few_and_vague_readings_accuse_nobody() -> None:
    found = odds(
        {"silent": [], "vague": pairs(-1.5, 1, 1.5), **{f"b{n}": pairs(-0.1) for n in range(5)}}
    ).p_leak
    assert found["silent"] == pytest.approx(P_LEAK, abs=0.01)
    assert found["vague"] < LEAK_LIKELY


def test_rates_come_back_free_of_temperature() -> None:
    """A bottle that falls 0.4 cents a minute while the air warms: the rate is what was put in."""
    gas = Gas(3.0)
    levels = []
    for minute in range(0, 180, 15):
        gas.air(60.0 * minute, 20.0 + minute / 30.0)
        gas_c = gas.at(60.0 * minute)
        assert gas_c is not None
        levels.append(Level(60.0 * minute, -0.4 * minute + 2.5 * gas_c, gas_c))
    rates = [rate_between(a, b, 2.5, "middle") for a, b in itertools.pairwise(levels)]
    told = together([r for r in rates if r is not None])
    assert told is not None
    assert told.mean == pytest.approx(-0.4, abs=1e-6)
    assert rate_between(levels[0], levels[0], 2.5, "middle") is None


def test_one_slip_among_many_pairs_weighs_little() -> None:
    start, end, wild = Level(0.0, 0.0, 20.0), Level(1200.0, -4.0, 20.0), Level(1200.0, -300.0, 20.0)
    usual = [rate_between(start, end, 2.0, "middle") for _ in range(9)]
    slip = rate_between(start, wild, 2.0, "middle")
    told = together([r for r in (*usual, slip) if r is not None])
    assert told is not None
    assert told.mean == pytest.approx(-0.2, abs=0.08)


def strike(at_min: float, bottle: str, cents: float) -> Strike:
    hz = RIG.target_hz(bottle) * 2 ** (cents / 1200.0)
    return Strike(at_s=60.0 * at_min, bottle=bottle, verdict="clear", hz=hz, cents=cents, u95_cents=1.0)


def rehearsal(leaks: dict[str, float], seed: int = 1, rounds: int = 10) -> list[Event]:
    """Every bottle read every 15 minutes, for two hours and a half in ten rounds, retuned by hand in
    between."""
    rng = np.random.default_rng(seed)
    events: list[Event] = []
    for start in range(0, 15 * rounds, 15):
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


def test_three_rounds_of_going_flat_by_itself_suffice() -> None:
    """A cap of 1.6 cents a minute in a group of 0.1: one round accuses nobody yet, three do."""
    assert not any(h.findings for h in health_of(rehearsal({"E4": -1.6}, rounds=1)).values())
    found = health_of(rehearsal({"E4": -1.6}, rounds=3))
    assert [b for b, h in found.items() if h.findings] == ["E4"]
    assert found["E4"].p_leak > 0.9


def test_what_settles_after_a_fill_is_no_leak_and_hides_none() -> None:
    """All bottles filled from 800 cents below and heard at once: what settles says nothing of leaks."""
    filled: list[Event] = [Temperature(at_s=-900.0, temp_c=20.0)]
    for bottle in RIG.bottles:
        filled.append(strike(-12, bottle.id, -800.0))
        filled.append(AirMoved(at_s=-700.0, bottle=bottle.id, pump="floor", strokes=20.0))
        filled.append(strike(-11, bottle.id, 60.0))
    found = health_of([*filled, *rehearsal({"E4": -1.6}, rounds=3)])
    assert [b for b, h in found.items() if h.findings] == ["E4"]
    others = [h.own_leak.mean for b, h in found.items() if b != "E4" and h.own_leak is not None]
    assert min(others) > -0.4
    assert np.mean(others) == pytest.approx(-0.1, abs=0.15)


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


FILLED_LOW = -400.0


@pytest.mark.parametrize(
    ("fall", "minutes", "state"),
    [(0.3, 11.0, "holds"), (30.0, 11.0, "falls"), (0.3, 4.0, "again"), (None, 0.0, "again")],
)
def test_a_new_cap_is_filled_low_and_heard_twice(fall: float | None, minutes: float, state: str) -> None:
    """Two strikes ten minutes apart say whether it holds; four minutes say nothing yet."""
    events: list[Event] = [
        Replaced(at_s=0.0, bottle="E4", part="cap"),
        Temperature(at_s=1.0, temp_c=20.0),
        strike(10, "E4", FILLED_LOW),
    ]
    if fall is not None:
        events.append(strike(10 + minutes, "E4", FILLED_LOW - fall))
    found = health_of(events)["E4"]
    assert found.first_use is not None
    assert found.first_use.state == state
    assert [f.what for f in found.findings] == (["its new part does not hold"] if state == "falls" else [])


def test_a_part_that_is_not_new_has_no_first_use() -> None:
    assert health_of([strike(0, "E4", 0.0), strike(11, "E4", -20.0)])["E4"].first_use is None
    waiting = health_of([Replaced(at_s=0.0, bottle="E4", part="bottle")])["E4"].first_use
    assert waiting is not None
    assert waiting.state == "wait"


def test_a_low_filling_that_leaks_the_same_share_counts_the_same() -> None:
    """Half the pressure loses half as many linear cents a minute: both come to one rate at the note."""
    half = -0.5 * PRESSURE_X
    full = rate_between(Level(0.0, 0.0, 20.0), Level(1200.0, -8.0, 20.0), 0.0, "middle")
    low = rate_between(Level(0.0, half, 20.0), Level(1200.0, half - 4.0, 20.0), 0.0, "middle")
    assert full is not None
    assert low is not None
    assert low.per_min == pytest.approx(full.per_min, rel=0.02)


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


@pytest.mark.parametrize(("psi", "hours"), [(50.0, 36.0), (60.0, 18.0), (70.0, 9.0)])
def test_a_cap_is_due_sooner_the_higher_its_pressure(psi: float, hours: float) -> None:
    def held(for_h: float) -> BottleHealth:
        gauge_kpa = psi_to_kpa(psi) + 1e-6
        return health_of([Gauge(at_s=3600.0 * h, bottle="A4", gauge_kpa=gauge_kpa) for h in (0.0, for_h)])[
            "A4"
        ]

    assert held(0.95 * hours).findings == ()
    (finding,) = held(1.01 * hours).findings
    assert finding.at_the_valve == f"this cap: {hours:.0f} hours at {psi:.0f} psi, look at it"


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
