"""Histories kept from a long journal: going on from them gives what the whole journal gives."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rounds import cli
from rounds.events import AirMoved, Connected, Event, Gauge, NoteWritten, Replaced, Strike, Temperature
from rounds.faces.pages import Pages
from rounds.health import Histories, assess, remembering
from rounds.health.from_journal import histories_at
from rounds.health.remembering import from_bytes, name_of, to_bytes
from rounds.journal import Journal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

RIG = load_rig("configs/one_rail.toml")
IDS = [b.id for b in RIG.bottles]
LATE_S = 1e9


def a_life(first: int, last: int) -> Iterator[Event]:
    """What happens to bottles, one thing after another."""
    for n in range(first, last):
        yield happened(n, 400.0 * n, IDS[n // 7 % len(IDS)])
        if n % 97 == 0:
            yield Replaced(at_s=400.0 * n, bottle=IDS[n % len(IDS)], part="cap" if n % 2 else "bottle")


def happened(n: int, at_s: float, bottle: str) -> Event:
    match n % 7:
        case 0:
            return Temperature(at_s=at_s, temp_c=18.0 + n % 9)
        case 1:
            return Connected(at_s=at_s, bottle=bottle, pump="p")
        case 2:
            return AirMoved(at_s=at_s, bottle=bottle, pump="p", strokes=2.0)
        case 3:
            return Gauge(at_s=at_s, bottle=bottle, gauge_kpa=200.0 + n % 50)
        case 4:
            return NoteWritten(at_s=at_s, bottle=bottle, text=f"note {n}")
        case _:
            hz, cents = RIG.target_hz(bottle), float(n % 11)
            return Strike(at_s=at_s, bottle=bottle, verdict="clear", hz=hz, cents=cents, u95_cents=1.0)


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remembering, "LONG", 100)


def whole(journal: Journal) -> Histories:
    histories = Histories(RIG)
    for event in journal.events_by_time():
        histories.apply(event)
    return histories


def test_through_bytes_and_back_is_the_same_to_the_last_bit() -> None:
    one = Histories(RIG)
    for event in a_life(0, 700):
        one.apply(event)
    blob = to_bytes(RIG, one)
    other = from_bytes(RIG, blob)
    assert other is not None
    assert to_bytes(RIG, other) == blob
    for event in a_life(700, 900):
        one.apply(event)
        other.apply(event)
    assert to_bytes(RIG, other) == to_bytes(RIG, one)


@pytest.mark.parametrize("blob", [b"", b"{}", b"[]", b'{"version": 1, "rig": "x"}', b"\xff"])
def test_bytes_that_do_not_fit_are_thrown_away(blob: bytes) -> None:
    assert from_bytes(RIG, blob) is None


def asked(path: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """Ask the command; how many events it folded."""
    folded = [0]
    apply = Histories.apply

    def counted(self: Histories, event: Event) -> None:
        folded[0] += 1
        apply(self, event)

    with monkeypatch.context() as patch:
        patch.setattr(Histories, "apply", counted)
        argv = (
            "health",
            "--rig",
            "configs/one_rail.toml",
            "--journal",
            str(path),
            "--now",
            "2001-09-09T00:00:00Z",
        )
        assert cli.main(argv) == 0
    return folded[0]


@pytest.mark.usefixtures("short")
def test_the_command_goes_on_from_what_it_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "j.db"
    with Journal(path) as journal:
        journal.append_many(a_life(0, 700))
        all_events = journal.last_id
    assert asked(path, monkeypatch) == all_events
    assert asked(path, monkeypatch) == 0
    with Journal(path) as journal:
        journal.append_many(a_life(700, 720))
        added = journal.last_id - all_events
    assert asked(path, monkeypatch) == added
    with Journal(path) as journal:
        known = histories_at(RIG, journal, LATE_S, lambda _done, _all: None)
        assert to_bytes(RIG, known.histories) == to_bytes(RIG, whole(journal))
        # An older day is imported: nothing that was kept fits any more.
        journal.append(Temperature(at_s=5.0, temp_c=3.0))
        older = histories_at(RIG, journal, LATE_S, lambda _done, _all: None)
        assert to_bytes(RIG, older.histories) == to_bytes(RIG, whole(journal))


@pytest.mark.usefixtures("short")
def test_an_earlier_time_is_asked_for(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(a_life(0, 700))
        remembering.keep(RIG, journal, histories_at(RIG, journal, LATE_S, lambda _done, _all: None))
        assert journal.load_checkpoint(name_of(RIG)) is not None
        early_s = 400.0 * 350
        early = histories_at(RIG, journal, early_s, lambda _done, _all: None)
        expected = Histories(RIG)
        for event in journal.events_by_time(early_s):
            expected.apply(event)
        assert to_bytes(RIG, early.histories) == to_bytes(RIG, expected)
        assert not early.is_worth_keeping


@pytest.mark.usefixtures("short")
def test_the_page_goes_on_from_it_and_forgets_what_is_taken_back(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(a_life(0, 700))
        session = Session(RIG, journal, LATE_S)
        pages = Pages(session)
        pages.health_lines(LATE_S)
        assert journal.load_checkpoint(name_of(RIG)) is not None
        session.gauge(99.0, LATE_S + 1.0, IDS[0])
        with_slip = pages.health_lines(LATE_S + 1.0)
        session.undo(LATE_S + 2.0)
        without = pages.health_lines(LATE_S + 2.0)
        assert without != with_slip
        fresh = Pages(session).health_lines(LATE_S + 2.0)
        assert without == fresh
        found = {b.id: b for b in assess(RIG, whole(journal), LATE_S + 2.0)}
        assert all("99 psi" not in f.evidence for b in found.values() for f in b.findings)


@pytest.mark.usefixtures("short")
def test_a_long_wait_is_spoken_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rounds.starting.options.SILENT_S", -1.0)
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(a_life(0, 700))
    asked(tmp_path / "j.db", monkeypatch)
    assert "working through the journal" in capsys.readouterr().err
