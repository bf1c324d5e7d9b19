"""The page of a day says what the journal holds, and its pictures can be looked at anywhere."""

from __future__ import annotations

import datetime
import platform
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import pytest

from rounds import __version__, cli
from rounds.events import (
    ClockSet,
    Connected,
    Event,
    NoteWritten,
    Replaced,
    RoundClosed,
    RoundOpened,
    SessionStarted,
    Strike,
    Swapped,
    TakeStarted,
    TakeStopped,
    Temperature,
)
from rounds.journal import Journal
from rounds.report.day import fold
from rounds.report.logbook import entries
from rounds.report.page import write_page
from rounds.report.plots import MOST_RANGE_CENTS, by_bottle, over_time
from rounds.rigs.rigfile import load_rig
from rounds.times.local import bounds
from rounds.wording.pictures import Svg

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

DAY = datetime.date(2026, 5, 31)
START_S = bounds(DAY)[0] + 14 * 3600.0


def strike(minute: float, bottle: str, cents: float, *, pump_on: bool = False) -> Strike:
    return Strike(
        at_s=START_S + 60 * minute,
        bottle=bottle,
        verdict="clear",
        hz=440.0,
        cents=cents,
        u95_cents=1.0,
        pump_on=pump_on,
    )


def a_day() -> list[Event]:
    t = START_S
    needed = {"A4": 1.0, "C5": 1.0}
    return [
        SessionStarted(at_s=t, rig="Porch <rail>", place="Barn | left"),
        RoundOpened(at_s=t, round_id="r1", downbeat_s=None, block_s=600.0, needed=needed, temp_c=20.0),
        Temperature(at_s=t, temp_c=20.0),
        strike(1, "A4", -12.0),
        strike(2, "C5", 400.0),
        Connected(at_s=t + 130, bottle="A4", pump="floor"),
        strike(3, "A4", 5.0, pump_on=True),
        strike(4, "A4", 1.0),
        RoundClosed(
            at_s=t + 300, round_id="r1", finished=True, connections=1, in_tune=1, needed=2,
            worst_bottle="C5", worst_cents=400.0,
        ),
        Temperature(at_s=t + 320, temp_c=21.5),
        TakeStarted(at_s=t + 400, take="take 1"),
        TakeStopped(at_s=t + 520, take="take 1", worst_cents=-14.0, doubtful=("C5",)),
        NoteWritten(at_s=t + 530, text="**loud** <b>cap</b>\x1b[2J", bottle="C5"),
        Replaced(at_s=t + 540, bottle="C5", part="cap"),
        RoundOpened(at_s=t + 600, round_id="r2", downbeat_s=None, block_s=600.0, needed=needed),
        strike(11, "A4", -4.0),
    ]  # fmt: skip


def written(tmp_path: Path, *more: Event) -> str:
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many([*a_day(), *more])
        return write_page(journal, None, DAY, None)


def test_the_facts_of_a_day() -> None:
    day = fold(entries(enumerate(a_day(), 1)))
    first, second = day.rounds
    assert (first.minutes, first.connections, second.minutes) == (5.0, 1, None)
    assert [(r.bottle, r.found) for r in day.reads] == [
        ("A4", True), ("C5", True), ("A4", False), ("A4", False), ("A4", True),
    ]  # fmt: skip
    assert day.bottles["A4"].found_cents == [-12.0, -4.0]
    assert (day.bottles["A4"].typical_cents, day.bottles["A4"].worst_cents) == (8.0, -12.0)
    assert [take.seconds for take in day.takes] == [120.0]


def test_a_clock_set_back_makes_no_round_shorter() -> None:
    events = a_day()
    closed = next(i for i, e in enumerate(events) if isinstance(e, RoundClosed))
    events.insert(closed, ClockSet(at_s=events[closed].at_s - 1.0, ahead_s=1800.0))
    assert fold(entries(enumerate(events, 1))).rounds[0].minutes == 5.0


def test_the_page(tmp_path: Path) -> None:
    page = written(tmp_path)
    assert "2 rounds in 5 minutes, 1 connection, 5 clear readings, 1 take; air 20.0 to 21.5 °C." in page
    assert "| r1 | 14:00 | 5.0 | 1 | 1 of 2 | C5 400.0 cents |" in page
    assert "| r2 | 14:10 | open | 0 |  |  |" in page
    assert "| take 1 | 14:06 | 2:00 | 14.0 cents flat | C5 |" in page
    worst = [line for line in page.splitlines() if re.search(r" times? \|", line)]
    assert [line.split("|")[1].strip() for line in worst] == ["C5", "A4"]
    assert "cap replaced" in page


def test_texts_mean_nothing_to_markdown_html_or_a_terminal(tmp_path: Path) -> None:
    page = written(tmp_path)
    assert page.replace("\n", "").isprintable()
    assert "<b>" not in page.replace("\\<b\\>", "")
    assert r"\*\*loud\*\*" in page
    assert r"Barn \| left" in page


def test_the_pictures_are_whole_and_keep_inside_their_frame() -> None:
    day = fold(entries(enumerate(a_day(), 1)))
    bottles = list(day.bottles.values())
    for picture in (over_time(day, 10.0), by_bottle(bottles, {"A4": 10.0})):
        root = ET.fromstring(picture)
        width, height = float(root.attrib["width"]), float(root.attrib["height"])
        seen = 0
        for shape in root.iter():
            for key, value in shape.attrib.items():
                numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", value)]
                if key in {"x", "cx", "x1", "x2"}:
                    assert 0.0 <= numbers[0] <= width
                    seen += 1
                if key in {"y", "cy", "y1", "y2"}:
                    assert 0.0 <= numbers[0] <= height
                if key == "points":
                    assert all(0.0 <= x <= width for x in numbers[::2])
                    assert all(0.0 <= y <= height for y in numbers[1::2])
        assert seen > 20


def test_dots_lie_where_their_cents_say() -> None:
    """Two readings 10 cents apart are as far apart as the marks of the axis for 10 cents."""
    day = fold(entries(enumerate([strike(0, "A4", 0.0), strike(1, "A4", 10.0)], 1)))
    root = ET.fromstring(over_time(day, 10.0))
    name = "{http://www.w3.org/2000/svg}"
    labels = {t.text: float(t.attrib["y"]) for t in root.iter(f"{name}text")}
    dots = [float(c.attrib["cy"]) for c in root.iter(f"{name}circle") if float(c.attrib["cy"]) > 60]
    assert max(dots) - min(dots) == pytest.approx(labels["0"] - labels["+10"], abs=0.02)


def test_a_wild_reading_is_drawn_at_the_edge_and_flattens_nothing() -> None:
    reads = [strike(n, "A4", float(n % 7)) for n in range(60)]
    calm = fold(entries(enumerate(reads, 1)))
    wild = fold(entries(enumerate([*reads, strike(61, "A4", 9000.0)], 1)))
    assert ">+20<" in over_time(calm, 10.0)
    assert ">+20<" in over_time(wild, 10.0)
    far = fold(entries(enumerate([strike(n, "A4", -5000.0) for n in range(9)], 1)))
    assert f">{-MOST_RANGE_CENTS:+.0f}<" in over_time(far, 10.0)


def test_empty_days_have_pictures_too() -> None:
    empty = fold(())
    assert "no temperature was given" in over_time(empty, 10.0)
    ET.fromstring(by_bottle([], {}))


def test_texts_in_a_picture_are_escaped() -> None:
    svg = Svg(10, 10, "<script>")
    svg.text(1.0, 1.0, "a < b & \x1b]0;x\x07 ]]>")
    root = ET.fromstring(str(svg))
    assert str(svg).count("<script>") == 0
    assert root[-1].text == r"a < b & \x1b]0;x\x07 ]]>"


def test_the_command_writes_page_and_pictures(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cli, "COMMANDS", ("log",))
    path = str(tmp_path / "j.db")
    with Journal(path) as journal:
        journal.append_many(a_day())
    rig = "configs/one_rail.toml"
    command = ("log", "report", "--journal", path, "--rig", rig, "--to", str(tmp_path / "out"))
    assert cli.main(command) == 0
    names = [line.rsplit("/", 1)[1] for line in capsys.readouterr().out.splitlines()]
    assert names == ["day-2026-05-31.md", "day-2026-05-31-pitch.svg", "day-2026-05-31-bottles.svg"]
    page = (tmp_path / "out" / names[0]).read_text()
    assert all(f"]({name})" in page for name in names[1:])
    assert (tmp_path / "out" / names[1]).stat().st_mode & 0o777 == 0o600
    assert load_rig(rig).has_bottle("A4")
    assert cli.main((*command, "--day", "2020-01-01")) == 2
    assert cli.main(("log", "report", "--journal", path, "--to", path)) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_a_first_fill_says_nothing_of_how_a_bottle_holds(tmp_path: Path) -> None:
    t = START_S
    opened = RoundOpened(at_s=t, round_id="r1", downbeat_s=None, block_s=600.0, needed={"A4": 1.0})
    again = RoundOpened(at_s=t + 3600, round_id="r2", downbeat_s=None, block_s=600.0, needed={"A4": 1.0})
    events = [
        opened, strike(1, "A4", -400.0), strike(2, "C5", -150.0), strike(3, "C5", 2.0), strike(4, "A4", 1.0),
        again, strike(61, "A4", -3.0), strike(62, "C5", -130.0),
    ]  # fmt: skip
    day = fold(entries(enumerate(events, 1)))
    assert (day.bottles["A4"].filled_cents, day.bottles["A4"].found_cents) == (-400.0, [-3.0])
    # What fell that far while it was watched leaks, and is told.
    assert (day.bottles["C5"].filled_cents, day.bottles["C5"].found_cents) == (-150.0, [-130.0])
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(events)
        page = write_page(journal, None, DAY, None)
    assert "100 cents flat at first): A4 and C5." in page
    assert "1 of 2 readings were in tune" in page


def test_a_day_of_notes_alone_has_no_pictures(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append(NoteWritten(at_s=START_S, text="rails packed"))
        told = write_page(journal, None, DAY, tmp_path / "out")
    assert told.count("\n") == 1
    assert "Nothing was tuned; no temperature was given." in (tmp_path / "out" / f"day-{DAY}.md").read_text()


def test_the_page_says_which_program_on_which_machine_made_it(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append(NoteWritten(at_s=1.78e9, text="x"))
        page = write_page(journal, None, None, None)
    assert f"Made by rounds {__version__}, Python {platform.python_version()}, " in page


def days_before(events: list[Event], days: int) -> list[Event]:
    return [replace(e, at_s=e.at_s - 86_400.0 * days) for e in events]


@pytest.fixture
def two_days(tmp_path: Path) -> Iterator[Journal]:
    """The day of the page, and one three days before on which A4 was found 30 cents flat."""
    before = [replace(e, cents=-30.0) if e == strike(1, "A4", -12.0) else e for e in a_day()]
    swap = Swapped(at_s=START_S + 500.0, bottle="A4", other="C5")
    with Journal(tmp_path / "two.db") as journal:
        journal.append_many(days_before(before, 3))
        journal.append_many([*a_day(), swap])
        yield journal


def test_the_page_says_what_changed_since_last_time(two_days: Journal) -> None:
    page = write_page(two_days, None, DAY, None)
    assert "## Since Thursday 2026-05-28" in page
    assert "- off by" not in page
    assert "nearer than then: A4" in page
    assert "changed places: A4 and C5" in page
    assert "## Since" not in write_page(two_days, None, DAY - datetime.timedelta(days=3), None)


def test_the_page_is_one_html_file_with_its_pictures_in_it(two_days: Journal, tmp_path: Path) -> None:
    """Read by the parser of the standard library: well formed, nothing from elsewhere, texts as they were."""
    page = write_page(two_days, None, DAY, None, as_html=True, by="A. Player <drum>")
    parsed = Page()
    parsed.feed(page)
    assert parsed.open == []
    assert parsed.outside == []
    assert parsed.drawn == 2
    text = " ".join(parsed.texts)
    assert "Porch <rail> · Barn | left · kept by A. Player <drum>" in text
    assert "Since Thursday 2026-05-28" in text
    assert "\\|" not in text
    assert "@page { size: A4" in page
    written = write_page(two_days, None, DAY, tmp_path / "out", as_html=True)
    assert written.strip().endswith(f"day-{DAY}.html")
    assert [p.name for p in (tmp_path / "out").iterdir()] == [f"day-{DAY}.html"]


class Page(HTMLParser):
    """What is open, what lies elsewhere, how many pictures, and all texts."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.outside: list[str] = []
        self.texts: list[str] = []
        self.drawn = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.drawn += tag == "svg"
        self.outside += [str(value) for name, value in attrs if name in ("src", "href")]
        if tag != "meta":
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.outside += [str(value) for name, value in attrs if name in ("src", "href")]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.texts.append(data.strip())


def test_a_round_says_which_bottles_were_worked_on(two_days: Journal) -> None:
    line = next(x for x in write_page(two_days, None, DAY, None).splitlines() if x.startswith("| r1"))
    assert line.endswith("| A4 |")


def test_the_name_of_a_person_is_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ("log", "report", "--journal", str(tmp_path / "j.db"), "--by", "x" * 81)
    assert cli.main(asked) == 2
    assert "--by" in capsys.readouterr().err
