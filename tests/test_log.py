"""The log can be read, carried away and brought in again, and no cell or text of it does harm."""

from __future__ import annotations

import contextlib
import csv
import datetime
import io
import json
import random
import time
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds import cli
from rounds.errors import BadInput
from rounds.events import (
    AirMoved,
    ClockSet,
    Event,
    Imported,
    NoteWritten,
    RoundClosed,
    RoundOpened,
    SessionStarted,
    Strike,
    TakeStarted,
    TakeStopped,
    Temperature,
)
from rounds.importing import import_file
from rounds.journal import Journal
from rounds.journal.retiming import retimed
from rounds.report import tables
from rounds.report.logbook import Filter, entries
from rounds.rigs.rigfile import parse_rig
from rounds.sessions.session import Session
from tests.test_journal import events as any_event

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Run = Callable[..., tuple[int, str, str]]

NOW_S = 1.8e9

RIG = """
[rig]
name = "Two bottles (invented)"
[[pump]]
id = "hand"
barrel_ml = 100
[[bottle]]
note = "A4"
volume_ml = 1250
position_cm = 0
[[bottle]]
note = "C5"
volume_ml = 1250
position_cm = 12
"""


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command on a journal of its own; gives exit code, stdout and stderr."""
    monkeypatch.setattr(cli, "COMMANDS", ("log",))
    monkeypatch.setenv("ROUNDS_HOME", str(tmp_path / "home"))
    (tmp_path / "rig.toml").write_text(RIG)

    def run(*argv: str) -> tuple[int, str, str]:
        try:
            code = cli.main(argv)
        except SystemExit as error:
            code = int(error.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return run


def readings(tmp_path: Path, *lines: str, header: str = "at,bottle,cents,temp_c,touched") -> str:
    path = tmp_path / "readings.csv"
    path.write_text("\n".join((header, *lines)) + "\n")
    return str(path)


def journal_events(tmp_path: Path) -> list[Event]:
    with Journal(tmp_path / "home" / "journal.db", read_only=True) as journal:
        return [event for _, event in journal.events() if not isinstance(event, Imported)]


def test_a_row_becomes_what_the_tool_would_have_kept(run: Run, tmp_path: Path) -> None:
    """2026-05-31T14:05:00Z is 1780236300 (Python's calendar.timegm); A4 + 100 cents is 440 x 2^(1/12)."""
    path = readings(
        tmp_path,
        "2026-05-31T14:05:00Z,A4,100,21.5,0",
        "2026-05-31T16:06:00+02:00,C5,-3.25,,1",
        "2026-05-31 14:07:00,A4,0,,0",
    )
    code, out, _ = run("log", "import", path, "--rig", str(tmp_path / "rig.toml"))
    assert (code, out) == (0, "")
    warm, first, air, second, third = journal_events(tmp_path)
    assert warm == Temperature(at_s=1780236300.0, temp_c=21.5, source="import")
    assert isinstance(first, Strike)
    assert (first.bottle, first.cents, first.u95_cents) == ("A4", 100.0, None)
    assert first.hz == pytest.approx(466.1637615, abs=1e-6)
    assert air == AirMoved(at_s=1780236360.0, bottle="C5", pump=None, strokes=None)
    assert (second.at_s, third.at_s) == (1780236360.0, 1780236420.0)


def test_hz_becomes_cents_and_rows_come_in_order_of_time(run: Run, tmp_path: Path) -> None:
    path = readings(
        tmp_path,
        "2026-05-31T14:07:00Z,A4,441.0,0",
        "2026-05-31T14:05:00Z,A4,440.0,0",
        header="at,bottle,hz,touched",
    )
    assert run("log", "import", path, "--rig", str(tmp_path / "rig.toml"))[0] == 0
    cents = [e.cents for e in journal_events(tmp_path) if isinstance(e, Strike)]
    assert cents == pytest.approx([0.0, 3.9301584])


BAD_ROWS = {
    2: "yesterday,A4,0,,0",
    3: "2026-05-31T14:05:00Z,A#4,0,,0",
    4: "2026-05-31T14:05:00Z,A4,nan,,0",
    5: "2026-05-31T14:05:00Z,A4,,,0",
    6: "2026-05-31T14:05:00Z,A4,0,warm,0",
    7: "2026-05-31T14:05:00Z,A4,0,,2",
    8: "2026-05-31T14:05:00Z",
    9: "2026-05-31,A4,0,,0",
    10: "2026-05-31T14:05:00Z,A4,0,1e99,0",
    11: '2026-05-31T14:05:00Z,"A4"x,0,,0',
    12: "2026-05-31T14:05:00Z,\x1b[2JA4,0,,0",
}


def test_every_bad_row_is_named_and_none_is_kept(run: Run, tmp_path: Path) -> None:
    path = readings(tmp_path, *BAD_ROWS.values(), "2026-05-31T14:05:00Z,A4,0,,0")
    rig = str(tmp_path / "rig.toml")
    code, out, err = run("log", "import", path, "--rig", rig)
    assert (code, out) == (2, "")
    named = [int(line.split(":")[0].removeprefix("line ")) for line in err.splitlines()[:-1]]
    assert named == list(BAD_ROWS)
    assert "did you mean 'A4'" in err
    assert "\x1b" not in err
    assert f"{len(BAD_ROWS)} lines cannot be used, so nothing was kept" in err
    assert journal_events(tmp_path) == []
    code, out, _ = run("log", "import", path, "--rig", rig, "--keep-good", "--json")
    result = json.loads(out)
    assert code == 0
    assert [b["line"] for b in result["bad"]] == list(BAD_ROWS)
    assert (result["kept"], len(journal_events(tmp_path))) == (1, 1)


def test_an_open_quote_does_not_swallow_the_file_unseen(run: Run, tmp_path: Path) -> None:
    path = readings(tmp_path, '"2026,A4,0,,0', *["2026-05-31T14:05:00Z,A4,0,,0"] * 3)
    _, _, err = run("log", "import", path, "--rig", str(tmp_path / "rig.toml"))
    assert "line 2: not CSV" in err
    assert "lines to 5" in err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"when,bottle,cents,touched\n", "column 'at' is missing"),
        (b"at,bottle,cents,touched,touched\n", "twice"),
        (b"at,bottle,touched\n", "'cents' (or 'hz') is missing"),
        (b"\x00\xff\xfe\x01" * 100, "missing"),
        (b'{"events": [1, 2', "not what"),
    ],
)
def test_a_file_that_is_none_gets_one_sentence(run: Run, tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "some\x1bfile"
    path.write_bytes(content)
    for name in (str(path), str(tmp_path)):
        code, _, err = run("log", "import", name, "--rig", str(tmp_path / "rig.toml"))
        assert code == 2
        assert len(err.splitlines()) == 1
        assert "\x1b" not in err
        assert name == str(tmp_path) or said in err


def test_spreadsheets_with_semicolons_and_decimal_commas(run: Run, tmp_path: Path) -> None:
    path = readings(
        tmp_path, "2026-05-31T14:05:00Z;A4;3,5;20,5;1", ";;;;", header="\ufeffAt;Bottle;Cents;temp_c;touched"
    )
    assert run("log", "import", path, "--rig", str(tmp_path / "rig.toml"))[0] == 0
    warm, _, strike = journal_events(tmp_path)
    assert isinstance(warm, Temperature)
    assert isinstance(strike, Strike)
    assert (warm.temp_c, strike.cents) == (20.5, 3.5)


def test_nothing_is_kept_twice(run: Run, tmp_path: Path) -> None:
    rig = str(tmp_path / "rig.toml")
    first = "2026-05-31T14:05:00Z,A4,1,20,1"
    run("log", "import", readings(tmp_path, first, first), "--rig", rig)
    assert len(journal_events(tmp_path)) == 6
    more = readings(tmp_path, first, first, "2026-05-31T14:06:00Z,A4,2,20,0")
    _, out, _ = run("log", "import", more, "--rig", rig, "--json")
    assert json.loads(out) == {"kept": 1, "known": 2, "events": 2, "bad": []}


def into_bounds(event: Event) -> float:
    """By how much an event is moved to lie after 2000 and before the present."""
    return 1.6e9 + event.at_s % 1e8 - event.at_s


def a_day() -> list[Event]:
    t = 1780236300.0
    return [
        SessionStarted(at_s=t, rig="Two bottles", place="=Hall|'x'!A0"),
        RoundOpened(at_s=t + 1, round_id="r1", downbeat_s=None, block_s=600.0, needed={"A4": 1.0}),
        AirMoved(at_s=t + 2.1234567, bottle="A4", pump="hand", strokes=2.5),
        Strike(at_s=t + 3, bottle="A4", verdict="clear", hz=441.0, cents=3.93, u95_cents=1.0),
        RoundClosed(at_s=t + 4, round_id="r1", finished=True, connections=1, in_tune=1, needed=1),
        TakeStarted(at_s=t + 5, take="-1+1"),
        NoteWritten(
            at_s=t + 6, text='@SUM(1)\n;=HYPERLINK("http://x");\t+1,"=2"\x1b[2J \u202eabc', bottle="+C5"
        ),
        TakeStopped(at_s=t + 7, take="-1+1", worst_cents=2.0, doubtful=("A4",)),
    ]


@pytest.mark.parametrize("form", ["csv", "json", "jsonl"])
@settings(max_examples=15, deadline=None)
@given(
    data=any_event.filter(lambda event: abs(event.at_s) < 1e11).map(
        lambda event: next(retimed([event], into_bounds))
    )
)
def test_out_and_in_is_the_same_journal(
    tmp_path_factory: pytest.TempPathFactory, form: str, data: Event
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    kept = [*a_day(), data, data]
    writer = {"csv": tables.write_csv, "json": tables.write_json, "jsonl": tables.write_lines}[form]
    with Journal(folder / "a.db") as journal, (folder / "log").open("w", newline="") as out:
        journal.append_many(kept)
        writer(Filter().read(journal), out)
    with Journal(folder / "b.db") as journal:
        result = import_file(folder / "log", journal, None, keep_good=False, on_bad=print, now_s=NOW_S)
        assert [e for _, e in journal.events()] == kept
        assert result.events == len(kept)


def test_no_cell_begins_a_formula_however_it_is_split() -> None:
    out = io.StringIO()
    tables.write_csv(entries(enumerate(a_day(), 1)), out)
    cells = [cell for row in csv.reader(io.StringIO(out.getvalue())) for cell in row]
    cells += [cell for line in out.getvalue().splitlines() for cell in line.replace("\t", ";").split(";")]
    numbers = {"3.93", "441.0"}
    assert [c for c in cells if c[:1] and c.lstrip()[:1] in "=+-@" and c not in numbers] == []
    assert "'=Hall" in out.getvalue()
    assert out.getvalue().replace("\n", "").isprintable()


def test_table_and_markdown_cannot_disturb_a_terminal_or_a_page() -> None:
    for writer in (tables.write_table, tables.write_markdown):
        out = io.StringIO()
        writer(entries(enumerate([*a_day(), NoteWritten(at_s=1e300, text="<script>| x")], 1)), out)
        assert out.getvalue().replace("\n", "").isprintable()
        assert len(out.getvalue().splitlines()) == len(a_day()) + 1 + (2 if "---" in out.getvalue() else 1)
    assert "<script>" not in out.getvalue()


def test_the_log_tells_place_round_and_take_and_filters_by_them(run: Run, tmp_path: Path) -> None:
    with Journal(tmp_path / "home" / "journal.db") as journal:
        journal.append_many(a_day())
    found = json.loads(run("log", "--json")[1])["events"]
    assert [e["round"] for e in found] == [None, "r1", "r1", "r1", "r1", None, None, None]
    assert [e["take"] for e in found] == [None] * 5 + ["-1+1"] * 3
    assert {e["place"] for e in found} == {"=Hall|'x'!A0"}
    for options, ids in {
        ("--round", "r1"): [2, 3, 4, 5],
        ("--bottle", "A4"): [3, 4],
        ("--take=-1+1",): [6, 7, 8],
        ("--kind", "strike", "--kind", "note_written"): [4, 7],
        ("--day", "2026-05-31"): [1, 2, 3, 4, 5, 6, 7, 8],
        ("--day", "2026-06-02"): [],
        ("--place", "elsewhere"): [],
        ("--last", "2"): [7, 8],
        ("--last", "1", "--bottle", "A4"): [4],
    }.items():
        assert [e["id"] for e in json.loads(run("log", "--json", *options)[1])["events"]] == ids
    touched = list(csv.DictReader(io.StringIO(run("log", "--csv", "--kind", "strike")[1])))
    assert [row["touched"] for row in touched] == ["1"]


def test_the_table_shows_the_newest_with_their_setting(run: Run, tmp_path: Path) -> None:
    with Journal(tmp_path / "home" / "journal.db") as journal:
        journal.append(SessionStarted(at_s=0.0, rig="Two bottles", place="Barn"))
        journal.append_many(Temperature(at_s=float(n), temp_c=20.0) for n in range(300))
    _, out, err = run("log")
    assert len(out.splitlines()) == 101
    assert all("Barn" in line for line in out.splitlines()[1:])
    assert "the newest 100 of 301" in err
    assert len(run("log", "--all")[1].splitlines()) == 302


def test_notes(run: Run, tmp_path: Path) -> None:
    assert run("log", "add", "cap 3 hisses", "--bottle", "A4", "--at", "2026-05-31T14:05:00Z")[0] == 0
    assert journal_events(tmp_path) == [
        NoteWritten(at_s=1780236300.0, text="cap 3 hisses", bottle="A4"),
    ]
    assert run("log", "add", " ")[0] == 2
    assert run("log", "add", "x", "--at", "noon")[0] == 2


def test_export_makes_a_private_file_and_overwrites_none(run: Run, tmp_path: Path) -> None:
    run("log", "add", "a note")
    to = tmp_path / "out.jsonl"
    assert run("log", "export", str(to))[0] == 0
    assert to.stat().st_mode & 0o777 == 0o600
    before = to.read_bytes()
    assert run("log", "export", str(to))[0] == 2
    assert run("log", "export", str(tmp_path / "out.xls"))[0] == 2
    assert to.read_bytes() == before
    other = str(tmp_path / "other.db")
    assert run("log", "--journal", other, "import", str(to))[0] == 0
    assert run("log", "import", str(to), "--journal", other)[0] == 0
    with Journal(tmp_path / "other.db", read_only=True) as journal:
        assert [e for _, e in journal.events()] == journal_events(tmp_path)


def test_hand_made_events_are_checked_field_by_field(tmp_path: Path) -> None:
    lines = [
        '{"kind":"strike","at_s":"soon"}',
        '{"kind":"strike","at_s":1600000001,"bottle":"A4","verdict":"loud","hz":null,"cents":null,"u95_cents":null}',
        '{"kind":"strike","at_s":1600000001,"bottle":"A4","verdict":"clear","hz":true,"cents":null,"u95_cents":null}',
        '{"kind":"temperature","at_s":1600000001,"temp_c":1e999}',
        '{"kind":"temperature","at_s":1600000001,"temp_c":NaN}',
        '{"kind":"temperature","at_s":1600000001}',
        '{"kind":"round_opened","at_s":1600000001,"round_id":"r","downbeat_s":1,"block_s":1,"needed":{"A4":"x"}}',
        '{"at_s":1600000001}',
        "[" * 100_000,
        '{"kind":"temperature","at_s":1600000001,"temp_c":20}',
    ]
    (tmp_path / "x.jsonl").write_text(
        '{"kind":"temperature","at_s":1600000002,"temp_c":21.0}\n' + "\n".join(lines)
    )
    bad: list[int] = []
    with Journal(tmp_path / "j.db") as journal:
        with pytest.raises(BadInput):
            import_file(
                tmp_path / "x.jsonl",
                journal,
                None,
                keep_good=False,
                on_bad=lambda b: bad.append(b.line),
                now_s=NOW_S,
            )
        assert bad == list(range(2, 11))
        import_file(tmp_path / "x.jsonl", journal, None, keep_good=True, on_bad=lambda b: None, now_s=NOW_S)
        assert [e for _, e in journal.events()] == [
            Temperature(at_s=1600000002.0, temp_c=21.0),
            Temperature(at_s=1600000001.0, temp_c=20.0),
        ]


def test_random_bytes_never_raise_anything_but_a_sentence(tmp_path: Path) -> None:
    rig, rng = parse_rig(RIG), random.Random(6)
    good = b"at,bottle,cents,temp_c,touched\n2026-05-31T14:05:00Z,A4,1,20,1\n"
    with Journal(tmp_path / "j.db") as journal:
        for _ in range(300):
            data = bytearray(good)
            for _ in range(rng.randrange(1, 6)):
                data[rng.randrange(len(data))] = rng.randrange(256)
            (tmp_path / "x").write_bytes(data)
            with contextlib.suppress(BadInput):
                import_file(
                    tmp_path / "x",
                    journal,
                    rig,
                    keep_good=rng.random() < 0.5,
                    on_bad=lambda b: None,
                    now_s=NOW_S,
                )


_NAMES = st.sampled_from(["A4", "C5"])
_STORIES = st.lists(
    st.one_of(
        st.builds(SessionStarted, at_s=st.floats(0, 1e6), rig=st.just("r"), place=st.sampled_from("xy")),
        st.builds(RoundOpened, at_s=st.floats(0, 1e6), round_id=st.sampled_from(["r1", "r2"]),
                  downbeat_s=st.none(), block_s=st.just(1.0), needed=st.just({})),
        st.builds(RoundClosed, at_s=st.floats(0, 1e6), round_id=st.just("r1"), finished=st.booleans()),
        st.builds(TakeStarted, at_s=st.floats(0, 1e6), take=st.sampled_from(["t1", "t2"])),
        st.builds(TakeStopped, at_s=st.floats(0, 1e6), take=st.just("t1")),
        st.builds(ClockSet, at_s=st.floats(0, 1e6), ahead_s=st.floats(-1e5, 1e5)),
        st.builds(AirMoved, at_s=st.floats(0, 1e6), bottle=_NAMES, pump=st.none(), strokes=st.just(1.0)),
        st.builds(Strike, at_s=st.floats(0, 1e6), bottle=_NAMES, hz=st.just(440.0), cents=st.just(0.0),
                  verdict=st.sampled_from(["clear", "quiet"]), u95_cents=st.none()),
    ),
    max_size=40,
)  # fmt: skip
_ONES = st.builds(
    Filter,
    start_s=st.none() | st.floats(0, 1e6),
    end_s=st.none() | st.floats(0, 1e6),
    place=st.sampled_from([None, None, "x"]),
    round_id=st.sampled_from([None, "r1"]),
    bottle=st.sampled_from([None, "A4"]),
    take=st.sampled_from([None, None, "t1"]),
    kinds=st.sampled_from([frozenset(), frozenset({"strike"}), frozenset({"take_started", "round_opened"})]),
)


@settings(max_examples=60, deadline=None)
@given(story=_STORIES, wanted=_ONES, after_id=st.integers(0, 10))
def test_what_the_index_finds_is_what_reading_everything_finds(
    tmp_path_factory: pytest.TempPathFactory, story: list[Event], wanted: Filter, after_id: int
) -> None:
    """Also when only the newest are wanted and the end is looked through first."""
    with Journal(tmp_path_factory.mktemp("story") / "j.db") as journal:
        journal.append_many(story)
        found = list(wanted.read(journal, after_id, touched=True))
        newest = wanted.newest(journal, 2, touched=True)
        everything = list(wanted.read(journal, touched=True))
        read = [
            entry
            for entry in entries(journal.events())
            if entry.id > after_id
            and (wanted.place is None or entry.place == wanted.place)
            and (wanted.round_id is None or entry.round_id == wanted.round_id)
            and (wanted.take is None or entry.take == wanted.take)
            and (wanted.bottle is None or entry.bottle == wanted.bottle)
            and (not wanted.kinds or entry.kind in wanted.kinds)
            and (wanted.start_s is None or entry.told_s >= wanted.start_s)
            and (wanted.end_s is None or entry.told_s < wanted.end_s)
        ]
    assert found == read
    assert newest == everything[-2:]


def test_nothing_found_and_a_bottle_never_heard_of_are_said(run: Run) -> None:
    assert run("log", "add", "cap hisses", "--bottle", "C4")[0] == 0
    code, out, err = run("log", "--take", "take 9")
    assert (code, out.count("\n"), err) == (0, 1, "nothing in the log matches\n")
    assert "new to this journal" in run("log", "add", "again", "--bottle", "C44")[2]
    assert run("log", "add", "again", "--bottle", "C4")[2] == ""


def test_a_note_of_what_is_yet_to_come_is_refused(run: Run) -> None:
    code, _, err = run("log", "add", "x", "--at", "2999-01-01T00:00:00Z")
    assert code == 2
    assert "yet to come" in err


def test_a_reading_of_another_time_zone_is_refused(run: Run, tmp_path: Path) -> None:
    """It is not yet to come by a day, but would take the journal's time along."""
    (tmp_path / "rig.toml").write_text(RIG)
    soon, later = (
        datetime.datetime.fromtimestamp(time.time() + s, datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        for s in (300.0, 7200.0)
    )
    code, _, err = run(
        "log", "import", readings(tmp_path, f"{later},A4,1,,0"), "--rig", str(tmp_path / "rig.toml")
    )
    assert code == 2
    assert "2.0 hours ahead of this machine's clock; times are UTC" in err
    assert (
        run("log", "import", readings(tmp_path, f"{soon},A4,1,,0"), "--rig", str(tmp_path / "rig.toml"))[0]
        == 0
    )


@pytest.mark.parametrize(
    ("at", "why"),
    [
        ("9999-12-31T23:59:59Z", "more than a day ahead"),
        ("2062-01-01T00:00:00Z", "more than a day ahead"),
        ("1999-12-31T23:59:59Z", "before the year 2000"),
    ],
)
def test_a_moment_that_cannot_be_is_refused_with_its_line(
    run: Run, tmp_path: Path, at: str, why: str
) -> None:
    (tmp_path / "rig.toml").write_text(RIG)
    path = readings(tmp_path, "2026-05-31T14:05:00Z,A4,1.5,,0", f"{at},A4,1,,0")
    code, _, err = run("log", "import", path, "--rig", str(tmp_path / "rig.toml"))
    assert code == 2
    assert f"line 3: at: {at[:10]}" in err
    assert why in err
    event = json.dumps({"kind": "temperature", "at_s": moment(at), "temp_c": 20.0})
    (tmp_path / "log.jsonl").write_text(event)
    code, _, err = run("log", "import", str(tmp_path / "log.jsonl"))
    assert (code, why in err) == (2, True)


def moment(at: str) -> float:
    return datetime.datetime.fromisoformat(at).timestamp()


def test_an_import_is_taken_back_as_one_and_nothing_else_with_it(run: Run, tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(RIG)
    rig, path = str(tmp_path / "rig.toml"), str(tmp_path / "j.db")
    run("log", "add", "before", "--journal", path)
    first = readings(tmp_path, "2026-05-31T14:05:00Z,A4,1.5,21.5,1")
    assert run("log", "import", first, "--rig", rig, "--journal", path)[0] == 0
    other = tmp_path / "other.csv"
    other.write_text("at,bottle,cents,temp_c,touched\n2026-05-31T14:06:00Z,C5,700,,0\n")
    assert run("log", "import", str(other), "--rig", rig, "--journal", path)[0] == 0
    run("log", "add", "after", "--journal", path)
    code, out, _ = run("log", "import", "--undo", "--json", "--journal", path)
    assert (code, json.loads(out)) == (0, {"taken_back": 1, "file": "other.csv"})
    with Journal(path) as journal:
        believed = [e.kind for n, e in journal.events() if n not in journal.taken_back()]
        assert believed == ["note_written", "temperature", "air_moved", "strike", "imported", "note_written",
                            "taken_back"]  # fmt: skip
        known = Session(parse_rig(RIG), journal, time.time()).beliefs
        assert (known.heard("A4"), known.heard("C5")) == (True, False)
    assert run("log", "import", "other.csv", "--undo", "--journal", path)[0] == 2
    assert run("log", "import", "--undo", "--journal", path)[0] == 0
    code, _, err = run("log", "import", "--undo", "--journal", path)
    assert (code, "there is no import to take back" in err) == (2, True)


def test_an_import_whose_events_no_longer_stand_together_is_not_taken_back(run: Run, tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(RIG)
    path = str(tmp_path / "j.db")
    run("log", "import", readings(tmp_path, "2026-05-31T14:05:00Z,A4,1.5,,0"), "--rig",
        str(tmp_path / "rig.toml"), "--journal", path)  # fmt: skip
    with Journal(path) as journal, Journal(tmp_path / "carried.db") as carried:
        (_, strike), (_, marker) = journal.events()
        carried.append_many([strike, NoteWritten(at_s=NOW_S, text="between"), marker])
    code, _, err = run("log", "import", "--undo", "--journal", str(tmp_path / "carried.db"))
    assert (code, "not together in this journal" in err) == (2, True)
    with Journal(tmp_path / "carried.db") as carried:
        assert carried.last_id == 3
