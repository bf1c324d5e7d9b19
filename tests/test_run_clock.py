"""The clock is set back, leaps ahead, or the machine sleeps: time in the journal never runs back or stands.

What an hour asleep does to a clock: PEP 418 ("Action on suspend") and clock_gettime(2) of Linux:
CLOCK_MONOTONIC stands still, CLOCK_BOOTTIME does not. Clocks are fakes here, set by hand.
"""

from __future__ import annotations

import dataclasses
import itertools
import sys
import time
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds import cli
from rounds.events import ClockSet, NoteWritten, SessionStarted, Strike
from rounds.faces.controller import RoundRequest
from rounds.faces.live import Live
from rounds.hearing.reading import Reading
from rounds.journal import Journal, MemoryJournal
from rounds.report.logbook import Filter, entries
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.times import journal_time
from rounds.times.journal_time import GONE_S, SLACK_S, UNSEEN_S, Scale, begun
from rounds.times.run_clock import RunClock, since_boot_s

if TYPE_CHECKING:
    from pathlib import Path

    from rounds.journal import Log

RIG = load_rig("configs/one_rail.toml")
NOON_S = 1.78e9
HOUR_S = 3600.0
DAY_S = 86400.0


@dataclasses.dataclass
class Machine:
    """A machine whose wall clock may be set, and which may sleep. `run_s` counts through sleep."""

    wall_s: float = NOON_S
    run_s: float = 500.0

    def passes(self, seconds: float) -> None:
        self.wall_s += seconds
        self.run_s += seconds


class Bench:
    """A session behind a face on such a machine, as `rounds.starting.start` builds it."""

    def __init__(self, machine: Machine, log: Log, accepted: Path) -> None:
        accepted.touch()
        self.machine = machine
        self.session = Session(RIG, log, machine.wall_s, unseen_s=UNSEEN_S)
        clock = RunClock(self.session.now_s, lambda: machine.run_s)
        self.live = Live(self.session, clock, wall=lambda: machine.wall_s, accepted_file=accepted)

    def strike(self) -> str:
        bottle = self.session.instruction.bottle
        assert bottle is not None
        self.session.strike(self.live._clock(), Reading(RIG.target_hz(bottle), 1.0))
        return bottle

    def passes(self, seconds: float) -> None:
        self.machine.passes(seconds)
        self.live.tick()


@pytest.fixture
def accepted(tmp_path: Path) -> Path:
    return tmp_path / "accepted"


def times(log: Log) -> list[float]:
    return [event.at_s for _, event in log.events()]


@pytest.mark.parametrize("step_s", [-HOUR_S, -DAY_S, 2 * HOUR_S])
def test_a_countdown_does_not_notice_that_the_clock_was_set_in_the_middle_of_a_round(
    step_s: float, accepted: Path
) -> None:
    log = MemoryJournal()
    bench = Bench(Machine(), log, accepted)
    bench.live.open_round(RoundRequest(downbeat_in_s=1200.0))
    bench.passes(60.0)
    bench.strike()
    bench.machine.wall_s += step_s
    bench.passes(60.0)
    assert bench.live.view().downbeat_in_s == pytest.approx(1080.0)
    bench.passes(30.0)
    bench.strike()
    assert bench.live.view().downbeat_in_s == pytest.approx(1050.0)
    assert times(log) == sorted(times(log))
    marks = [event for _, event in log.events() if isinstance(event, ClockSet)]
    assert [mark.ahead_s for mark in marks] == [pytest.approx(-step_s)]
    assert "clock" in bench.live.view().message
    bench.passes(61.0)
    assert "clock" not in bench.live.view().message
    assert bench.live.clock_s() == bench.machine.wall_s


def test_an_hour_asleep_is_an_hour_of_drift(accepted: Path) -> None:
    bench = Bench(Machine(), MemoryJournal(), accepted)
    bench.live.open_round(RoundRequest(downbeat_in_s=5400.0))
    bottle = bench.strike()
    before = bench.session.beliefs.level(bottle, bench.live._clock())
    bench.passes(HOUR_S)
    after = bench.session.beliefs.level(bottle, bench.live._clock())
    assert after.sd > before.sd + 1.0
    assert after.mean < before.mean
    assert bench.live.view().downbeat_in_s == pytest.approx(1800.0)
    assert not bench.live.view().message.startswith("This machine's clock")


@pytest.mark.skipif(sys.platform != "linux", reason="CLOCK_BOOTTIME is Linux's name for it")
def test_the_clock_of_a_run_is_the_one_that_counts_through_sleep() -> None:
    assert since_boot_s() == pytest.approx(time.clock_gettime(time.CLOCK_BOOTTIME), abs=0.5)


def test_after_a_clock_that_ran_a_day_ahead_countdowns_run_and_nights_are_seen(accepted: Path) -> None:
    log, machine = MemoryJournal(), Machine()
    first = Bench(machine, log, accepted)
    first.live.open_round(RoundRequest(downbeat_in_s=600.0))
    bottle = first.strike()
    first.live.end_round()
    machine.wall_s -= DAY_S  # put right while nobody looks
    second = Bench(machine, log, accepted)
    assert "24 h behind" in second.live.view().message
    assert "60 min are taken to have passed" in second.live.view().message
    assert second.session.now_s == pytest.approx(NOON_S + UNSEEN_S)
    second.live.open_round(RoundRequest(downbeat_in_s=600.0))
    second.passes(100.0)
    assert second.live.view().downbeat_in_s == pytest.approx(500.0)
    second.strike()
    second.live.end_round()
    sure = second.session.beliefs.level(bottle, second.session.now_s).sd
    machine.passes(8 * HOUR_S)
    third = Bench(machine, log, accepted)
    assert third.session.now_s == pytest.approx(second.session.now_s + 8 * HOUR_S)
    assert third.session.beliefs.level(bottle, third.session.now_s).sd > sure + 1.0
    machine.passes(2 * DAY_S)
    caught_up = Bench(machine, log, accepted)
    assert caught_up.session.now_s == machine.wall_s
    assert caught_up.session.day.scale.ahead_s == 0.0
    assert times(log) == sorted(times(log))


def test_a_killed_round_goes_on_with_its_countdown_though_the_clock_was_set_back(accepted: Path) -> None:
    log, machine = MemoryJournal(), Machine()
    first = Bench(machine, log, accepted)
    first.live.open_round(RoundRequest(downbeat_in_s=1200.0))
    first.strike()
    first.passes(100.0)
    struck = first.strike()
    machine.wall_s -= DAY_S
    again = Bench(machine, log, accepted)
    assert again.session.record.resumed
    assert again.session.beliefs.heard(struck)
    again.passes(100.0)
    assert again.live.view().downbeat_in_s == pytest.approx(1000.0)


def test_a_clock_set_back_a_little_hides_no_hour_and_the_difference_is_said_as_it_is(accepted: Path) -> None:
    log, machine = MemoryJournal(), Machine()
    Bench(machine, log, accepted)
    machine.wall_s -= 61.0
    second = Bench(machine, log, accepted)
    assert second.session.now_s == pytest.approx(NOON_S + 61.0)
    assert "61 s behind the journal" in second.live.view().message
    machine.passes(600.0)
    third = Bench(machine, log, accepted)
    assert third.session.now_s == pytest.approx(NOON_S + 661.0)


def test_an_unset_clock_leaves_no_trace(accepted: Path) -> None:
    log, machine = MemoryJournal(), Machine()
    for _ in range(3):
        bench = Bench(machine, log, accepted)
        bench.passes(20.0)
        machine.wall_s -= SLACK_S / 2  # as a time server nudges it
    assert {type(event) for _, event in log.events()} == {SessionStarted}


@given(
    steps=st.lists(
        st.tuples(st.floats(-1e6, 1e6), st.floats(0.0, 1e6)).filter(lambda s: abs(s[0]) > 2 * SLACK_S),
        max_size=8,
    )
)
def test_whatever_the_clock_does_between_sessions_time_never_runs_back(
    steps: list[tuple[float, float]],
) -> None:
    clock_s = latest_s = 1e9
    scale = Scale()
    for set_by_s, passed_s in steps:
        clock_s += set_by_s
        now_s = begun(scale, latest_s, clock_s)
        assert now_s >= latest_s
        scale = journal_time.moved(scale, now_s, clock_s) or scale
        assert scale.told(now_s) == pytest.approx(clock_s, abs=SLACK_S + 1.0)
        later_s = begun(scale, now_s, clock_s + passed_s)
        assert min(passed_s, GONE_S) - 2 * SLACK_S <= later_s - now_s
        assert later_s - now_s <= passed_s + 2 * SLACK_S or scale.ahead_s < 0.0
        clock_s, latest_s = clock_s + passed_s, later_s


def test_lists_show_the_clocks_time_and_a_day_is_found_by_it(tmp_path: Path) -> None:
    ahead = NOON_S + 400 * DAY_S
    with Journal(tmp_path / "j.db") as journal:
        journal.append(NoteWritten(at_s=ahead, text="stamped by the wrong clock"))
        session = Session(RIG, journal, NOON_S)
        session.note("by the right one", session.now_s + 5.0)
        shown = {
            e.event.text: e.told_s for e in entries(journal.events()) if isinstance(e.event, NoteWritten)
        }
        assert shown["stamped by the wrong clock"] == ahead
        assert shown["by the right one"] == pytest.approx(NOON_S + 5.0)
        found = list(Filter(start_s=NOON_S - 1.0, end_s=NOON_S + 10.0).read(journal))
        assert [e.kind for e in found] == ["clock_set", "session_started", "note_written"]


def test_commands_that_look_ahead_answer_in_the_clocks_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = str(tmp_path / "j.db")
    with Journal(path) as journal:
        session = Session(RIG, journal, NOON_S + DAY_S)
        session.open_round(NOON_S + DAY_S, temp_c=20.0)
        for number in range(40):
            told = session.instruction
            if told.bottle is not None and told.act == "strike":
                session.strike(NOON_S + DAY_S + 5.0 * number, Reading(RIG.target_hz(told.bottle), 1.0))
        session.close_round(NOON_S + DAY_S + 300.0)
    monkeypatch.setattr(time, "time", lambda: NOON_S)
    argv = ["forecast", "--rig", "configs/one_rail.toml", "--journal", path, "--at", "10", "--json"]
    assert cli.main(argv) == 0
    out, err = capsys.readouterr()
    assert '"now": "2026-05-28T20:26:40Z"' in out  # 1.78e9 by date -u -d @1780000000
    assert '"heard": true' in out
    assert "behind the journal" in err
    assert cli.main(["log", "add", "written now", "--journal", path]) == 0
    with Journal(path) as journal:
        *_, (_, note) = journal.events()
    assert note.at_s >= NOON_S + DAY_S + 300.0


def test_lines_count_on_from_the_journal_or_from_their_own_time() -> None:
    from rounds.faces.lines import Lines

    for t in (0.0, 700.0):
        log = MemoryJournal()
        Session(RIG, log, NOON_S).open_round(NOON_S + 600.0, downbeat_s=NOON_S + 1800.0)
        session = Session(RIG, log, NOON_S + 3.0)
        lines = Lines(session, NOON_S + 3.0, lambda *_: [])
        lines.answer(f'{{"t": {t}, "tick": true}}', 0.0)
        begun_s = session.now_s
        lines.answer(f'{{"t": {t + 50.0}, "tick": true}}', 0.0)
        assert session.now_s - begun_s == pytest.approx(50.0)
        assert begun_s == pytest.approx(NOON_S + max(600.0, 3.0 + t))


def test_a_strike_after_the_clock_was_set_back_is_kept_later_than_the_one_before(accepted: Path) -> None:
    log, machine = MemoryJournal(), Machine()
    bench = Bench(machine, log, accepted)
    bench.live.open_round(RoundRequest())
    struck = []
    for _ in range(4):
        struck.append(bench.strike())
        machine.wall_s -= HOUR_S
        bench.passes(5.0)
    kept = [event for _, event in log.events() if isinstance(event, Strike)]
    assert [event.bottle for event in kept] == struck
    assert [b.at_s - a.at_s for a, b in itertools.pairwise(kept)] == [pytest.approx(5.0)] * 3


def test_a_session_that_was_killed_goes_on_where_it_was() -> None:
    log = MemoryJournal()
    Session(RIG, log, NOON_S, place="hall").open_round(NOON_S)
    Session(RIG, log, NOON_S + 2 * DAY_S)
    soon = MemoryJournal()
    Session(RIG, soon, NOON_S, place="hall")
    Session(RIG, soon, NOON_S + 600.0)
    Session(RIG, soon, NOON_S + DAY_S)
    named = MemoryJournal()
    Session(RIG, named, NOON_S, place="hall")
    Session(RIG, named, NOON_S + 600.0, place="yard")
    assert [places(kept) for kept in (log, soon, named)] == [
        ["hall", "hall"],
        ["hall", "hall", None],
        ["hall", "yard"],
    ]


def places(log: Log) -> list[str | None]:
    return [event.place for _, event in log.events() if isinstance(event, SessionStarted)]
