"""Call sheets, and the breaks in which a round pays."""

from __future__ import annotations

import argparse
import datetime
import itertools
import json
import time
import zoneinfo
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds import cli
from rounds.belief import Beliefs
from rounds.commands import breaks as command
from rounds.errors import BadInput
from rounds.events import Event, Strike, Temperature
from rounds.forecast import breaks as breaks_module
from rounds.forecast.breaks import VISIT_MIN, plan_breaks
from rounds.forecast.callsheet import FREE, CallSheet, let_down_from_s, parse_callsheet, with_free_time
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig
from rounds.times.local import next_moment_s

if TYPE_CHECKING:
    from collections.abc import Iterator

RIG_FILE = Path(__file__).parent.parent / "configs" / "three_rails.toml"
RIG = load_rig(RIG_FILE)
DAY = datetime.date(2026, 5, 31)
UTC = datetime.UTC
SHEET = """
# an invented day
14:00-14:20  take   Forty Damp Matches
14:20-14:30  break  tea
14:30-15:00  take
15:00 - 15:05  BREAK
15:05-15:25  take Gravel for Breakfast   # once more
"""


def sheet(text: str = SHEET) -> CallSheet:
    return parse_callsheet(text, DAY, UTC)


def at(clock: str, day: int = 31) -> float:
    hour, minute = clock.split(":")
    return datetime.datetime(2026, 5, day, int(hour), int(minute), tzinfo=UTC).timestamp()


def readings(slopes: dict[str, float], until_s: float) -> list[Event]:
    """An hour of steady drift in steady air that ends at 0 cents."""
    air: list[Event] = [Temperature(at_s=until_s - 60.0 * m, temp_c=20.0) for m in range(60, -1, -5)]
    return air + [
        Strike(at_s=until_s - 60.0 * m, bottle=i, verdict="clear", hz=None, cents=-slope * m, u95_cents=1.0)
        for m in range(60, -1, -5)
        for i, slope in slopes.items()
    ]


def test_takes_and_breaks_are_read() -> None:
    found = sheet()
    assert [s.kind for s in found.slots] == ["take", "break", "take", "break", "take"]
    assert [s.name for s in found.slots] == ["Forty Damp Matches", "tea", "", "", "Gravel for Breakfast"]
    assert found.slots[0].start_s == at("14:00")
    assert found.breaks[1].minutes == 5.0


def test_a_night_goes_on_into_the_next_day() -> None:
    found = sheet("23:30-00:10 take\n00:10-00:20 break\n00:20-01:00 take")
    assert found.slots[0].end_s == at("00:10", 31) + 86400.0
    assert found.slots[2].start_s == at("00:20", 31) + 86400.0


def test_the_sheet_may_name_its_day() -> None:
    assert sheet("date 2026-05-30\n10:00-10:30 take").slots[0].start_s == at("10:00", 30)


def test_nights_in_a_row_need_no_dates() -> None:
    found = sheet("23:30-00:10 take\n01:00-02:00 break\n13:00-23:50 take\n00:20-01:00 take")
    assert [s.start_s for s in found.slots] == [
        at("23:30"), at("01:00") + 86400.0, at("13:00") + 86400.0, at("00:20") + 2 * 86400.0
    ]  # fmt: skip


@pytest.fixture
def in_berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[zoneinfo.ZoneInfo]:
    """A machine whose local time is that of central Europe, with its change of summer time."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield zoneinfo.ZoneInfo("Europe/Berlin")
    monkeypatch.undo()
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a process can be set on POSIX only")
@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("date 2026-10-24\n23:00-04:00 take", 6.0),
        ("date 2026-03-28\n23:30-04:00 take", 3.5),
        ("date 2026-07-01\n23:30-04:00 take", 4.5),
    ],
)
def test_a_night_in_which_the_clocks_change_is_as_long_as_it_is(
    text: str, hours: float, in_berlin: zoneinfo.ZoneInfo
) -> None:
    # The dates are those of EU directive 2000/84/EC: the last Sundays of March and October, 01:00 UTC.
    for zone in (None, in_berlin):
        found = parse_callsheet(text, DAY, zone)
        assert found.slots[0].minutes == 60.0 * hours


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a process can be set on POSIX only")
def test_a_sheet_for_the_other_half_of_the_year_is_read_in_its_own_time(
    in_berlin: zoneinfo.ZoneInfo,
) -> None:
    for day in ("2026-01-15", "2026-07-15"):
        found = parse_callsheet(f"date {day}\n14:00-15:00 take", DAY, None)
        start = datetime.datetime.fromtimestamp(found.slots[0].start_s, in_berlin)
        assert start.isoformat()[:16] == f"{day}T14:00"


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a process can be set on POSIX only")
@pytest.mark.parametrize(
    ("now", "hours"),
    [
        ("2026-03-28 23:30", 9.5),
        ("2026-03-29 01:30", 7.5),
        ("2026-10-24 23:30", 11.5),
        ("2026-10-25 01:30", 9.5),
    ],
)
def test_a_downbeat_across_the_change_is_as_far_as_it_is(
    now: str, hours: float, in_berlin: zoneinfo.ZoneInfo
) -> None:
    now_s = datetime.datetime.fromisoformat(now).replace(tzinfo=in_berlin).timestamp()
    assert next_moment_s(datetime.time(10, 0), now_s) - now_s == 3600.0 * hours


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("date 2026-05-31\n14:00-14:20 take\ndate 2026-05-30\n10:00-11:00 break", "line 4: it starts before"),
        ("date 9999-12-31\n23:00-01:00 take", "line 1: '9999-12-31' is not a date"),
        ("date 0001-01-01\n23:00-01:00 take", "line 1"),
        ("\n".join(["lunch"] * 300), "and 280 more"),
    ],
)
def test_a_sheet_that_cannot_be_says_why(text: str, words: str) -> None:
    with pytest.raises(BadInput) as caught:
        sheet(text)
    assert words in str(caught.value)
    assert len(str(caught.value).splitlines()) < 25


def test_time_that_nobody_planned_before_a_take_is_free() -> None:
    """Before the first take at most its last hour; a minute between two takes is no time for a round."""
    told = sheet("14:00-14:20 take\n14:21-14:30 take\n14:40-15:00 take\n15:00-15:20 break")
    start_s = told.slots[0].start_s
    free = [s for s in with_free_time(told, start_s - 7200.0).slots if s.name == FREE]
    assert [(s.start_s - start_s, s.minutes) for s in free] == [(-3600.0, 60.0), (1800.0, 10.0)]
    later = with_free_time(told, start_s + 2100.0)
    assert [s.minutes for s in later.slots if s.name == FREE] == [5.0]
    assert tuple(s for s in later.slots if s.name != FREE) == told.slots


def test_every_problem_is_told_at_once() -> None:
    with pytest.raises(BadInput) as caught:
        sheet("14:00-14:20 take\n14:10-14:30 break\n25:00-26:00 take\ndate today\nlunch at noon\n")
    told = str(caught.value)
    assert "4 problems" in told
    for line in ("line 2", "line 3", "line 4", "line 5"):
        assert line in told


def test_an_empty_sheet_is_refused() -> None:
    with pytest.raises(BadInput, match="no take and no break"):
        sheet("# nothing\n")


def test_a_leaking_bottle_is_touched_in_the_breaks_and_a_steady_one_never() -> None:
    now_s = at("13:55")
    beliefs = Beliefs.fold(RIG, readings({"C3": -0.6, "C4": 0.0, "A4": 0.0}, now_s))
    plan = plan_breaks(RIG, beliefs, sheet("14:00-14:20 take\n14:20-14:30 break\n14:30-14:50 take"), now_s)
    assert plan.breaks[0].bottles == ("C3",)
    assert plan.breaks[0].saved_min > 10.0
    assert "C3" in plan.takes[0].doubtful
    assert "C3" not in plan.takes[1].doubtful
    assert plan.takes[1].expected_out < 1.0
    assert "G6" in plan.unknown


def test_no_round_pays_where_everything_holds() -> None:
    now_s = at("13:55")
    beliefs = Beliefs.fold(RIG, readings({"C4": 0.0, "A4": 0.0}, now_s))
    plan = plan_breaks(RIG, beliefs, sheet(), now_s)
    assert all(b.bottles == () for b in plan.breaks)


def test_a_break_right_before_the_end_pays_nothing() -> None:
    now_s = at("13:55")
    beliefs = Beliefs.fold(RIG, readings({"C3": -0.8}, now_s))
    plan = plan_breaks(RIG, beliefs, sheet("14:00-14:20 take\n14:20-14:30 break"), now_s)
    assert plan.breaks[0].bottles == ()


def test_a_short_break_holds_only_what_fits() -> None:
    now_s = at("13:55")
    slopes = {b.id: -0.7 - 0.01 * k for k, b in enumerate(RIG.bottles)}
    beliefs = Beliefs.fold(RIG, readings(slopes, now_s))
    text = "14:00-14:20 take\n14:20-14:22 break\n14:22-14:50 take"
    plan = plan_breaks(RIG, beliefs, sheet(text), now_s)
    assert 0 < len(plan.breaks[0].bottles) < 8
    assert plan.breaks[0].work_s <= 120.0 - RIG.habits.quarantine_s


def test_a_piece_needs_only_its_own_bottles() -> None:
    now_s = at("14:21")
    needed = RIG.needed_for(tuple(p for p in RIG.pieces if p.name == "Forty Damp Matches"))
    slopes = {b.id: -0.9 for b in RIG.bottles if b.group == "bass"}
    beliefs = Beliefs.fold(RIG, readings(slopes, now_s))
    text = "14:20-14:30 break\n14:30-14:50 take Forty Damp Matches"
    plan = plan_breaks(RIG, beliefs, sheet(text), now_s)
    assert set(plan.breaks[0].bottles) <= set(needed)
    assert plan.breaks[0].bottles


def test_past_slots_are_left_out() -> None:
    now_s = at("15:02")
    beliefs = Beliefs.fold(RIG, readings({"C3": -0.8}, now_s))
    plan = plan_breaks(RIG, beliefs, sheet(), now_s)
    assert len(plan.breaks) == 1
    assert len(plan.takes) == 1


def test_each_chain_is_the_cheapest_of_all() -> None:
    """Against trying every set of breaks."""
    rng = np.random.default_rng(0)
    for _ in range(30):
        count = 5
        costs = np.triu(rng.uniform(0.0, 4.0, (count + 1, count + 2)), 1)
        chain = breaks_module._Chain("x", costs, {}, np.zeros(0, dtype=bool), barred={3})
        chain.choose()
        best = min(
            sum(costs[a, b] for a, b in itertools.pairwise((0, *stops, count + 1))) + VISIT_MIN * len(stops)
            for size in range(count + 1)
            for stops in itertools.combinations([1, 2, 4, 5], min(size, 4))
        )
        assert chain.cost() == pytest.approx(best)


def test_the_command_prints_the_day(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    now_s = at("13:55")
    journal_file = tmp_path / "j.db"
    with Journal(journal_file) as journal:
        journal.append_many(readings({"C3": -0.8, "A4": 0.0}, now_s))
    sheet_file = tmp_path / "sheet.txt"
    sheet_file.write_text(SHEET)
    parser = argparse.ArgumentParser()
    command.register(parser.add_subparsers())
    words = ["breaks", str(sheet_file), "--utc", "--rig", str(RIG_FILE), "--journal", str(journal_file)]
    words += ["--now", "2026-05-31T13:55:00Z"]
    args = parser.parse_args(words)
    assert args.run(args) == 0
    out = capsys.readouterr().out
    assert "14:20-14:30 break  round: C3" in out
    args = parser.parse_args([*words, "--json"])
    args.run(args)
    told = json.loads(capsys.readouterr().out)
    assert [b["name"] for b in told["breaks"]] == ["free", "tea", ""]
    assert "C3" in told["breaks"][1]["bottles"]
    assert len(told["takes"]) == 3
    args = parser.parse_args(["breaks", str(tmp_path / "none.txt"), *words[2:]])
    with pytest.raises(BadInput, match="cannot be read"):
        args.run(args)


def test_a_file_saved_by_a_plain_editor_is_read_and_one_without_end_is_not(tmp_path: Path) -> None:
    parser = argparse.ArgumentParser()
    command.register(parser.add_subparsers())
    saved = tmp_path / "sheet.txt"
    saved.write_text("14:00-14:20 take a", encoding="utf-8-sig")
    rest = [
        "--rig",
        str(RIG_FILE),
        "--journal",
        str(tmp_path / "j.db"),
        "--utc",
        "--now",
        "2026-05-31T13:55Z",
    ]
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(readings({"C3": -0.8}, at("13:55")))
    args = parser.parse_args(["breaks", str(saved), *rest])
    assert args.run(args) == 0
    for name, words in (("/dev/zero", "is not a file"), (str(tmp_path), "is not a file")):
        args = parser.parse_args(["breaks", name, *rest])
        with pytest.raises(BadInput, match=words):
            args.run(args)
    saved.write_text("# long\n" * 20_000)
    args = parser.parse_args(["breaks", str(saved), *rest])
    with pytest.raises(BadInput, match="larger than 100 kB"):
        args.run(args)


WHOLE_DAY = """
09:00        load-in  by the side door
10:00-11:00  soundcheck  Forty Damp Matches
14:00-14:20  take   Gravel for Breakfast
22:30        bus call
"""


def test_load_in_soundcheck_and_bus_call_are_entries() -> None:
    found = sheet(WHOLE_DAY)
    assert [s.kind for s in found.slots] == ["load-in", "soundcheck", "take", "bus call"]
    assert found.slots[0].name == "by the side door"
    assert found.slots[3].start_s == found.slots[3].end_s == at("22:30")
    assert [s.kind for s in found.takes] == ["soundcheck", "take"]
    assert [s.kind for s in found.calls] == ["load-in", "bus call"]


def test_bottles_are_down_before_the_bus_or_when_the_sheet_says() -> None:
    assert sheet(WHOLE_DAY).down_by_s(at("08:00")) == at("22:20")
    assert sheet(WHOLE_DAY.replace("22:30", "22:00  down\n22:30")).down_by_s(at("08:00")) == at("22:00")
    assert sheet(WHOLE_DAY).down_by_s(at("22:45")) is None
    assert sheet().down_by_s(at("08:00")) is None
    assert let_down_from_s(at("22:20"), 35) == at("22:13")


def test_free_time_lies_between_calls_and_before_what_is_played() -> None:
    found = with_free_time(sheet(WHOLE_DAY), at("08:30"))
    assert [(s.start_s, s.end_s) for s in found.breaks] == [
        (at("09:00"), at("10:00")),
        (at("13:00"), at("14:00")),
    ]


@pytest.mark.parametrize("kind", ["take", "soundcheck", "break"])
def test_what_lasts_needs_an_end(kind: str) -> None:
    with pytest.raises(BadInput, match="has a beginning and an end"):
        sheet(f"10:00 {kind}")


def test_the_command_says_when_to_let_down(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "sheet.txt"
    path.write_text(WHOLE_DAY, encoding="utf-8")
    common = ("--rig", str(RIG_FILE), "--journal", str(tmp_path / "j.db"), "--utc")
    Journal(tmp_path / "j.db").close()
    asked = ("breaks", str(path), *common, "--now", "2026-05-31T08:00:00Z")
    assert cli.main(asked) == 0
    out = capsys.readouterr().out
    assert "22:13       rounds letdown: 34 bottles down by 22:20, about 7 min by the pin" in out
    assert "22:30       bus call" in out
    assert cli.main((*asked, "--json")) == 0
    document = json.loads(capsys.readouterr().out)
    assert [c["kind"] for c in document["calls"]] == ["load-in", "bus call"]
    assert document["down_by"] == "2026-05-31T22:20:00Z"
