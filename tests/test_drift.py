"""Forecasts, due times and takes; the commands that print them; accuracy on the virtual rig."""

from __future__ import annotations

import argparse
import copy
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.stats

from rounds.belief import Beliefs
from rounds.belief.state import keep
from rounds.commands import due as due_command
from rounds.commands import forecast as forecast_command
from rounds.commands import looking_ahead
from rounds.errors import BadInput, ExitCode
from rounds.events import AirMoved, Event, RoundClosed, RoundOpened, Strike, Temperature
from rounds.forecast.drift import GRID_MIN, HORIZON_MIN, due, first_crossing, forecast, worst_in
from rounds.gauss import Gauss
from rounds.journal import Journal, MemoryJournal
from rounds.rig import GROUPS
from rounds.rigs.rigfile import load_rig
from rounds.simulation.venue import filming_venue
from rounds.simulation.world import World

RIG_FILE = Path(__file__).parent.parent / "configs" / "three_rails.toml"
RIG = load_rig(RIG_FILE)
START_S = 1_780_000_000.0
BASS, MIDDLE = "C3", "A4"


def strike(at_min: float, bottle: str, cents: float) -> Strike:
    return Strike(
        at_s=START_S + 60.0 * at_min, bottle=bottle, verdict="clear", hz=None, cents=cents, u95_cents=1.0
    )


def an_hour(slopes: dict[str, float]) -> list[Event]:
    """Readings every five minutes of bottles that drift steadily, ending at 0 cents after one hour."""
    return [strike(m, i, s * (m - 60)) for m in range(0, 61, 5) for i, s in slopes.items()]


NOW_S = START_S + 3600.0


def test_the_chance_to_be_out_is_that_of_a_normal_distribution() -> None:
    """scipy.stats.norm."""
    for mean, sd, half, centre in ((0.0, 5.0, 10.0, 0.0), (8.0, 3.0, 10.0, 4.0), (-30.0, 2.0, 10.0, 0.0)):
        inside = scipy.stats.norm.cdf(centre + half, mean, sd) - scipy.stats.norm.cdf(centre - half, mean, sd)
        assert Gauss(mean, sd).outside(half, centre) == pytest.approx(1.0 - inside, abs=1e-12)
    assert Gauss(1.0, 0.0).outside(10.0) == 0.0
    assert Gauss(11.0, 0.0).outside(10.0) == 1.0


def test_a_crossing_is_interpolated() -> None:
    assert first_crossing([1.0, 2.0], [0.0, 1.0]) == 0.0
    assert first_crossing([-1.0, -0.5, 0.5], [0.0, 10.0, 20.0]) == pytest.approx(15.0)
    assert first_crossing([-1.0, -0.5], [0.0, 10.0]) is None
    assert GRID_MIN[-1] == HORIZON_MIN


def test_a_leaking_bottle_leaves_when_its_leak_says() -> None:
    beliefs = Beliefs.fold(RIG, an_hour({BASS: -0.8, MIDDLE: 0.0}))
    found = {b.id: b for b in forecast(RIG, beliefs, NOW_S, (5.0, 10.0)).bottles}
    leaves = found[BASS].leaves_min
    hold = found[BASS].hold_min
    assert leaves is not None
    assert leaves == pytest.approx(10.0 / 0.8, rel=0.25)
    assert hold is not None
    assert hold == pytest.approx(leaves, abs=4.0)
    assert found[MIDDLE].leaves_min is None
    assert found[BASS].at[1].cents == pytest.approx(-8.0, abs=2.0)
    assert found[BASS].at[0].p_out < found[BASS].at[1].p_out
    assert found[BASS].at[0].sd_cents < found[BASS].at[1].sd_cents


def test_a_shift_of_the_reference_moves_the_band() -> None:
    beliefs = Beliefs.fold(RIG, an_hour({BASS: -0.8}))
    low = {b.id: b for b in forecast(RIG, beliefs, NOW_S, (5.0,), shift_cents=-8.0).bottles}[BASS]
    level = {b.id: b for b in forecast(RIG, beliefs, NOW_S, (5.0,)).bottles}[BASS]
    assert low.at[0].cents == level.at[0].cents
    assert low.leaves_min is not None
    assert level.leaves_min is not None
    assert low.leaves_min > level.leaves_min


def test_due_comes_with_its_reason() -> None:
    beliefs = Beliefs.fold(RIG, an_hour({"C3": -0.9, "D3": -0.8, "A4": 0.0, "C5": 0.05}))
    needed = {"C3": 1.0, "D3": 1.0, "A4": 1.0, "C5": 1.0, "G6": 1.0}
    told = due(RIG, beliefs, needed, NOW_S, 1.0)
    assert told.due_s is not None
    minutes = (told.due_s - NOW_S) / 60.0
    assert 5.0 < minutes < 15.0
    assert told.doubtful == ("C3",)
    assert told.reason == f"C3 is likely out in {minutes:.0f} min"
    later = due(RIG, beliefs, needed, NOW_S, 2.0)
    assert later.due_s is None or later.due_s > told.due_s
    now = due(RIG, beliefs, needed, NOW_S + 3600.0, 1.0)
    assert now.due_s == NOW_S + 3600.0
    assert now.reason.endswith("likely out now")


def test_due_is_where_the_expected_number_passes_the_limit() -> None:
    """Linearity of expectation, summed by scipy.stats.norm."""
    slopes = {b.id: -0.1 - 0.02 * k for k, b in enumerate(RIG.bottles)}
    beliefs = Beliefs.fold(RIG, an_hour(slopes))
    told = due(RIG, beliefs, dict.fromkeys(slopes, 1.0), NOW_S, 3.0)
    assert told.due_s is not None
    expected = 0.0
    for bottle in RIG.bottles:
        means, sds = beliefs.path(bottle.id, NOW_S, ((told.due_s - NOW_S) / 60.0,))
        spread = scipy.stats.norm(means[0], sds[0])
        expected += spread.cdf(-bottle.tolerance_cents) + spread.sf(bottle.tolerance_cents)
    assert expected == pytest.approx(3.0, abs=0.1)


def test_bottles_that_leave_are_not_said_to_hold_where_the_limit_allows_them() -> None:
    beliefs = Beliefs.fold(RIG, an_hour({"C3": -0.9, "D3": -0.8, "A4": 0.0}))
    told = due(RIG, beliefs, {"C3": 1.0, "D3": 1.0, "A4": 1.0}, NOW_S, 20.0)
    assert told.due_s is None
    assert "all hold" not in told.reason
    most = max(
        sum(
            Gauss(*(float(v[0]) for v in beliefs.path(i, NOW_S, (m,)))).outside(10.0)
            for i in ("C3", "D3", "A4")
        )
        for m in GRID_MIN
    )
    assert f"no more than {most:.1f}" in told.reason
    steady = Beliefs.fold(RIG, an_hour({"A4": 0.0}))
    assert "all hold" in due(RIG, steady, {"A4": 1.0}, NOW_S, 1.0).reason


def test_nothing_heard_is_nothing_due() -> None:
    told = due(RIG, Beliefs(RIG), {"C3": 1.0}, NOW_S, 1.0)
    assert told.due_s is None
    assert "heard" in told.reason


def test_a_take_is_told_its_worst_bottle() -> None:
    beliefs = Beliefs.fold(RIG, an_hour({BASS: -0.9, MIDDLE: 0.0}))
    needed = {BASS: 1.0, MIDDLE: 1.0, "G6": 1.0}
    short = worst_in(RIG, beliefs, needed, NOW_S, NOW_S + 60.0)
    long = worst_in(RIG, beliefs, needed, NOW_S, NOW_S + 1500.0)
    assert short.worst_cents is not None
    assert long.worst_cents is not None
    assert long.worst_bottle == BASS
    assert long.worst_cents < -20.0
    assert long.doubtful == (BASS,)
    assert short.doubtful == ()
    assert worst_in(RIG, Beliefs(RIG), needed, NOW_S, NOW_S).worst_cents is None


# -- accuracy on the virtual rig -----------------------------------------------------------------------


def tuned_day(world: World, rng: np.random.Generator, minutes: float) -> list[Event]:
    """Rounds as imported rows: strike every bottle, retune those over 8 cents, strike them again."""
    events: list[Event] = []
    end_s = world.now_s + 60.0 * minutes
    while world.now_s < end_s:
        for bottle in RIG.bottles:
            world.advance(world.now_s + 4.0)
            cents = _heard(world, bottle.id, events, rng)
            if cents is not None and abs(cents) > 8.0:
                world.advance(world.now_s + 15.0)
                _pumped_to(world, bottle.id, float(rng.normal(2.0, 2.5)))
                events.append(AirMoved(at_s=world.now_s, bottle=bottle.id, pump=None, strokes=None))
                _heard(world, bottle.id, events, rng)
        world.advance(world.now_s + 60.0 * float(rng.uniform(8.0, 16.0)))
    return events


def _pumped_to(world: World, bottle_id: str, cents: float) -> None:
    """By strokes, so that part of the change comes back as it does in every bottle; no head, no loss."""
    before = world.cents(bottle_id)
    world.connect(bottle_id)
    joined = world.cents(bottle_id)
    world.add(0.01)
    strokes = 0.01 * (cents + joined - before - world.cents(bottle_id)) / (world.cents(bottle_id) - joined)
    if strokes >= 0.0:
        world.add(strokes)
    else:
        world.release(bottle_id, -strokes, pin=False)
    world.disconnect()


def _heard(world: World, bottle_id: str, events: list[Event], rng: np.random.Generator) -> float | None:
    heard = world.heard(bottle_id)
    if heard.hz is None:
        return None
    cents = 1200.0 * math.log2(heard.hz / RIG.target_hz(bottle_id))
    cents += rng.normal(0.0, 40.0) if rng.random() < 0.02 else 0.0
    events.append(Temperature(at_s=world.now_s, temp_c=round(world.temp_c, 1)))
    events.append(
        Strike(at_s=world.now_s, bottle=bottle_id, verdict="clear", hz=None, cents=cents, u95_cents=None)
    )
    return cents


@pytest.mark.parametrize(("roughness", "least"), [(1.0, 0.85), (2.0, 0.80)])
def test_forecasts_are_close_and_honest(roughness: float, least: float) -> None:
    """Held-out truth of the virtual rig: nearer than the last reading, and the interval holds.

    The full measurement, with its targets, is `python -m tests.benchmarks.forecasts`.
    """
    inside: dict[str, list[bool]] = {g: [] for g in GROUPS}
    ours: list[float] = []
    naive: list[float] = []
    for seed in range(3):
        rng = np.random.default_rng(seed)
        world = World(RIG, rng, roughness=roughness, venue=filming_venue(rng))
        events = tuned_day(world, rng, 130.0)
        last = {e.bottle: e.cents for e in events if isinstance(e, Strike)}
        found = forecast(RIG, Beliefs.fold(RIG, events), world.now_s, (10.0, 30.0))
        future = copy.deepcopy(world)
        for k, minutes in enumerate((10.0, 30.0)):
            future.advance(world.now_s + 60.0 * minutes)
            for bottle, truth in zip(found.bottles, future.all_cents(), strict=True):
                at = bottle.at[k]
                inside[bottle.group].append(bool(abs(truth - at.cents) < 1.645 * at.sd_cents))
                ours.append(abs(truth - at.cents))
                naive.append(abs(truth - (last[bottle.id] or 0.0)))
    assert np.mean(ours) < 0.75 * np.mean(naive)
    assert np.mean([hit for hits in inside.values() for hit in hits]) >= least


# -- commands ------------------------------------------------------------------------------------------


def run(module: Any, *words: str) -> int:
    parser = argparse.ArgumentParser()
    module.register(parser.add_subparsers())
    args = parser.parse_args(list(words))
    return int(args.run(args))


@pytest.fixture
def journal_file(tmp_path: Path) -> Path:
    path = tmp_path / "journal.db"
    with Journal(path) as journal:
        journal.append_many(
            [Temperature(at_s=START_S, temp_c=21.0), *an_hour({"C3": -0.9, "D3": -0.8, "A4": 0.0})]
        )
        journal.append(strike(200.0, "A4", 90.0))  # later than --now: must not be seen
    return path


def words_for(command: str, journal_file: Path, *more: str) -> list[str]:
    now = looking_ahead.iso(NOW_S)
    return [command, "--rig", str(RIG_FILE), "--journal", str(journal_file), "--now", now, *more]


def test_forecast_prints_the_document_of_the_contract(
    journal_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = words_for("forecast", journal_file, "--at", "5,40", "--temp", "22.5", "--json")
    assert run(forecast_command, *words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["now"] == looking_ahead.iso(NOW_S)
    assert told["temp_c"] == pytest.approx(22.5, abs=0.5)
    assert 0.0 < told["due_min"] < 20.0
    bottles = {b["id"]: b for b in told["bottles"]}
    assert len(bottles) == len(RIG.bottles)
    assert [a["minutes"] for a in bottles["C3"]["at"]] == [5.0, 40.0]
    assert bottles["C3"]["group"] == "bass"
    assert set(bottles["C3"]) >= {"id", "group", "at", "hold_min", "leaves_min"}
    assert set(bottles["C3"]["at"][0]) == {"minutes", "cents", "sd_cents", "p_out"}
    assert abs(bottles["A4"]["at"][0]["cents"]) < 12.0
    assert bottles["G6"]["at"][0]["cents"] is None


def test_forecast_prints_a_table(journal_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(forecast_command, *words_for("forecast", journal_file)) == 0
    out = capsys.readouterr().out
    assert "C3 is likely out in" in out
    assert "not heard yet" in out


def test_due_has_its_own_exit_code(journal_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(due_command, *words_for("due", journal_file, "--limit", "1")) == ExitCode.FINE
    assert "Due in" in capsys.readouterr().out
    assert run(due_command, *words_for("due", journal_file, "--within", "30")) == ExitCode.DUE
    assert "C3 is likely out" in capsys.readouterr().out
    assert run(due_command, *words_for("due", journal_file, "--json", "--limit", "30")) == ExitCode.FINE
    assert json.loads(capsys.readouterr().out)["due"] is False


def test_needed_bottles_are_those_of_the_piece_or_of_the_last_round(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append_many(an_hour({"C3": -0.9, "A4": 0.0}))
        journal.append(
            RoundOpened(at_s=NOW_S - 60.0, round_id="r1", downbeat_s=None, block_s=600.0, needed={"A4": 1.0})
        )
        journal.append(RoundClosed(at_s=NOW_S - 30.0, round_id="r1", finished=True))
    words = words_for("due", path, "--within", "60", "--json", "--limit", "0.5")
    run(due_command, *words)
    assert "C3" not in capsys.readouterr().out
    run(due_command, *words, "--piece", "Forty Damp Matches")
    assert "C3" in capsys.readouterr().out
    with pytest.raises(BadInput, match="no piece"):
        run(due_command, *words, "--piece", "Nothing")


def test_a_checkpoint_changes_no_forecast(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    events = [Temperature(at_s=START_S, temp_c=21.0), *an_hour({"C3": -0.9, "A4": 0.0})]
    answers = []
    for kept in (0, 12):
        path = tmp_path / f"{kept}.db"
        with Journal(path) as journal:
            journal.append_many(events[:12])
            if kept:
                keep(Beliefs.fold(RIG, events[:12]), journal, journal.last_id)
            journal.append_many(events[12:])
        run(forecast_command, *words_for("forecast", path, "--json"))
        answers.append(capsys.readouterr().out)
    assert answers[0] == answers[1]


def test_a_long_journal_is_folded_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An imported log, out of order: the second command starts from what the first one kept."""
    path = tmp_path / "j.db"
    events = an_hour({"C3": -0.9, "A4": 0.0})
    with Journal(path) as journal:
        journal.append_many(reversed(events))
    monkeypatch.setattr(looking_ahead, "LONG", 10)
    answers = []
    for _ in range(2):
        run(forecast_command, *words_for("forecast", path, "--json"))
        answers.append(capsys.readouterr().out)
    assert answers[0] == answers[1]
    with Journal(path, read_only=True) as journal:
        kept = journal.load_checkpoint(looking_ahead.IN_TIME_ORDER)
    assert kept is not None
    assert kept.last_id == len(events)


@pytest.mark.parametrize("bad", ["yesterday", "2026-13-01T00:00:00Z"])
def test_a_time_that_is_none_is_refused(bad: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="not a time"):
        looking_ahead.moment(bad)


def test_times_without_a_zone_are_utc() -> None:
    assert looking_ahead.moment("2026-05-31T12:00:00") == looking_ahead.moment("2026-05-31T14:00:00+02:00")
    assert looking_ahead.iso(looking_ahead.moment("2026-05-31T12:00:00Z")) == "2026-05-31T12:00:00Z"
    assert MemoryJournal().last_id == 0
