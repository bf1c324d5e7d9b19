"""How far promises held, from a journal alone.

Shares are judged against the exact binomial test of `scipy.stats`; journals are made here, so that what was
promised and what came of it is known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import scipy.stats

from rounds.cli import main
from rounds.events import AirMoved, Event, RoundClosed, RoundOpened, Strike
from rounds.forecast.promises import ENOUGH, Finding, promises_of
from rounds.forecast.promises_said import NOTHING, page
from rounds.gauss import Z95
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig
from tests.test_calling import rig
from tests.test_drift import RIG_FILE

if TYPE_CHECKING:
    from pathlib import Path

START_S = 1_770_000_000.0


def strike(at_s: float, cents: float, u95_cents: float | None = 3.0, bottle: str = "C4") -> Strike:
    return Strike(
        at_s=START_S + at_s, bottle=bottle, verdict="clear", hz=260.0, cents=cents, u95_cents=u95_cents
    )


def steady(said_sd: float, true_sd: float = 1.5, count: int = 120) -> list[Event]:
    """A bottle that stays where it is, struck twice within ten seconds, then again four minutes later."""
    rng = np.random.default_rng(5)
    found: list[Event] = []
    for k in range(count):
        for more_s in (0.0, 10.0):
            cents = float(rng.normal(0.0, true_sd))
            found.append(strike(240.0 * k + more_s, cents, Z95 * said_sd))
    return found


def all_of(kind: str, events: list[Event]) -> Finding:
    found = promises_of(rig(), events)
    return found.findings(kind)[-1]  # type: ignore[arg-type]


@pytest.mark.parametrize("count", [20, 40, 100, 400])
def test_a_share_is_judged_as_the_exact_test_does(count: int) -> None:
    for held in range(int(0.6 * count), count + 1):
        verdict = Finding("forecast", "all", count, held, 1.0, 2.0).verdict
        chance = scipy.stats.binomtest(held, count, 0.9).pvalue
        if chance < 0.01:
            assert verdict == ("too sure" if held < 0.9 * count else "too careful")
        if chance > 0.2:
            assert verdict == "as promised"


def test_few_are_said_to_be_few() -> None:
    assert Finding("dose", "all", ENOUGH - 1, 0, 1.0, 2.0).verdict == "too few to tell"


@pytest.mark.parametrize(
    ("said_sd", "verdict"), [(1.5, "as promised"), (0.5, "too sure"), (6.0, "too careful")]
)
def test_readings_heard_again_tell_whether_their_doubt_is_honest(said_sd: float, verdict: str) -> None:
    found = all_of("reading", steady(said_sd))
    assert found.count == 120
    assert found.verdict == verdict
    expected = scipy.stats.halfnorm(scale=1.5 * np.sqrt(2.0)).median()
    assert found.median_cents == pytest.approx(expected, rel=0.25)


def test_a_forecast_counts_by_how_far_ahead_it_was() -> None:
    events: list[Event] = [strike(0.0, 0.0), strike(600.0, 0.5), strike(2400.0, 40.0)]
    found = {f.name: f for f in promises_of(rig(), events).findings("forecast")}
    assert (found["10 to 20 min"].count, found["10 to 20 min"].held) == (1, 1)
    assert (found["20 to 40 min"].count, found["20 to 40 min"].held) == (1, 0)
    assert found["all"].count == found["middle"].count == 2
    assert found["20 to 40 min"].median_cents == pytest.approx(40.0, abs=3.0)


def test_only_strokes_that_were_counted_are_a_dose() -> None:
    def moved(at_s: float, strokes: float | None, at_most: float | None = None) -> AirMoved:
        return AirMoved(at_s=START_S + at_s, bottle="C4", pump="hand", strokes=strokes, at_most=at_most)

    counted: list[Event] = [strike(0.0, -20.0), moved(5.0, 0.5), strike(10.0, -8.0)]
    assert all_of("dose", counted).count == 1
    assert all_of("forecast", counted).count == all_of("reading", counted).count == 0
    explained = [strike(0.0, -20.0), moved(5.0, 0.5, at_most=1.0), strike(10.0, -8.0)]
    assert all_of("dose", explained).count == 0
    somehow = [strike(0.0, -20.0), moved(5.0, None), strike(10.0, -8.0)]
    assert all_of("dose", somehow).count == 0
    assert all_of("reading", [*counted, strike(30.0, -8.0)]).count == 0, "it still settles"


def test_rounds_tell_whether_somebody_was_out_when_one_was_due() -> None:
    events: list[Event] = [strike(0.0, 0.0, bottle=b) for b in ("C4", "E4")]
    events += [strike(60.0 * k, -0.5 * k, bottle=b) for k in range(4, 24, 4) for b in ("C4", "E4")]
    needed = {"C4": 1.0, "E4": 1.0}
    opened = RoundOpened(at_s=START_S + 3600.0, round_id="r1", downbeat_s=None, block_s=600.0, needed=needed)
    events += [opened, strike(3610.0, -29.0), strike(3620.0, -1.0, bottle="E4")]
    events += [RoundClosed(at_s=START_S + 3700.0, round_id="r1", finished=True)]
    found = promises_of(rig(), events)
    assert len(found.rounds) == 1
    assert found.rounds[0].due
    assert found.rounds[0].found_out == 1
    assert 1.5 < found.rounds[0].expected_out <= 2.0
    assert any("1 of those 1 found somebody out (too few to tell)" in s for s in page(found).sentences)


def test_nothing_tested_is_said() -> None:
    assert page(promises_of(rig(), [])).sentences == (NOTHING,)


def test_what_was_widened_is_said() -> None:
    """Every forecast missed by far: the beliefs widen, and the report says by how much."""
    rng = np.random.default_rng(8)
    events: list[Event] = [strike(300.0 * k, float(rng.normal(0.0, 12.0)), 0.5) for k in range(60)]
    found = promises_of(rig(), events)
    said = " ".join(page(found).sentences)
    assert ("made wider" in said) == (max(found.widening.values()) >= 1.05)
    assert "What the room adds" in said


def test_the_report_ends_with_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "journal.db"
    with Journal(path) as journal:
        journal.append_many(steady(1.5, count=30))
    words = ["log", "report", "--journal", str(path)]
    assert main([*words, "--rig", str(RIG_FILE)]) == 0
    page_text = capsys.readouterr().out
    assert "| readings heard again | all | " in page_text
    assert page_text.rstrip().splitlines()[-1].startswith("Made by")
    assert load_rig(RIG_FILE).has_bottle("C4")
    assert main(words) == 0
    assert "name the rig" in capsys.readouterr().out
