"""When the players are called: four states, a snooze, and bottles that are not played today."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.errors import BadInput
from rounds.events import Strike
from rounds.faces.viewing import Viewer
from rounds.forecast.calling import call_of, call_words
from rounds.forecast.drift import Due
from rounds.journal import MemoryJournal
from rounds.notes import parse_note
from rounds.report.logbook import entries
from rounds.report.tables import write_table
from rounds.rig import Piece, Rig
from rounds.sessions.session import Session
from rounds.times.local import day_of
from tests.test_session import rig as bench_rig

START_S = 1_770_000_000.0
NOW_S = START_S + 3600.0
TIMES = st.none() | st.floats(-7200.0, 7200.0).map(lambda s: NOW_S + s)


def rig() -> Rig:
    """Six bottles and a piece for two of them."""
    piece = Piece("Lantern Walk", {parse_note(n): 1.0 for n in ("C4", "G4")})
    return replace(bench_rig(), pieces=(piece,))


def heard(session: Session, bottle: str, cents_a_min: float, minutes: float = 60.0) -> None:
    """A strike every four minutes, a bottle going down or up all the while."""
    target_hz = session.rig.target_hz(bottle)
    for k in range(int(minutes / 4.0)):
        off = cents_a_min * 4.0 * k
        hz = target_hz * 2.0 ** (off / 1200.0)
        session.record.write(
            Strike(at_s=START_S + 240.0 * k, bottle=bottle, verdict="clear", hz=hz, cents=off, u95_cents=1.0)
        )


def leaking(log: MemoryJournal | None = None) -> Session:
    """C4 and E4 go down by a cent every four minutes and are out after an hour; G4 holds."""
    session = Session(rig(), log or MemoryJournal(), START_S)
    for bottle in ("C4", "E4", "G4"):
        heard(session, bottle, -0.25 if bottle in ("C4", "E4") else 0.0)
    return session


def due_at(session: Session, at_s: float) -> float | None:
    return session.due(at_s).due_s


class TestStates:
    @given(TIMES, TIMES, st.integers(0, 3), st.booleans())
    def test_due_is_never_said_while_none_is_out_nor_in_a_take(
        self, due_s: float | None, first_s: float | None, out: int, filming: bool
    ) -> None:
        due = Due(due_s, "C3 is likely out now", (), first_s=first_s, first=("C3",))
        call = call_of(due, NOW_S, out, filming=filming)
        assert call_words(due, NOW_S, call)
        if call == "due":
            assert out > 0
            assert due_s is not None
            assert due_s <= NOW_S
            assert not filming
        if filming:
            assert call == "filming"
        if out and not filming:
            assert call in ("soon", "due")

    @pytest.mark.parametrize(
        ("first_min", "due_min", "out", "words"),
        [
            (40.0, 50.0, 0, "all well: C3 is likely out in 40 min"),
            (None, None, 0, "all well: no bottle leaves"),
            (6.0, 9.0, 0, "first bottles soon: C3 is likely out in 6 min"),
            (-1.0, 9.0, 1, "first bottles out: C3 is likely out now; a round is due in 9 min"),
            (-1.0, None, 1, "first bottles out: C3 is likely out now; no round is due for that"),
            (-1.0, -1.0, 1, "a round is due: no bottle leaves"),
        ],
    )
    def test_each_is_said_in_words(
        self, first_min: float | None, due_min: float | None, out: int, words: str
    ) -> None:
        at_s = [None if m is None else NOW_S + 60.0 * m for m in (first_min, due_min)]
        due = Due(at_s[1], "no bottle leaves", (), first_s=at_s[0], first=("C3",))
        assert call_words(due, NOW_S, call_of(due, NOW_S, out, filming=False)) == words

    @settings(max_examples=12, deadline=None)
    @given(st.floats(0.0, 120.0))
    def test_no_screen_shows_due_beside_none_out(self, minutes: float) -> None:
        view = Viewer(leaking()).view(START_S + 3600.0 + 60.0 * minutes)
        assert not view.due.overdue or view.tally.out > 0
        assert view.due.overdue == (view.due.call == "due")

    def test_a_take_is_silent(self) -> None:
        session = leaking()
        assert session.call(NOW_S) == "due"
        session.start_take(NOW_S)
        assert session.call(NOW_S + 60.0) == "filming"
        assert not Viewer(session).view(NOW_S + 60.0).due.overdue

    def test_before_anything_is_heard_nothing_is_said_to_be_well(self) -> None:
        session = Session(rig(), MemoryJournal(), START_S)
        assert session.call(START_S) == "unheard"

    def test_what_plays_now_stands_in_the_view(self) -> None:
        view = Viewer(leaking()).view(NOW_S)
        assert [p.sentence() for p in view.playable] == ["1 of 2 of Lantern Walk play; leave out C4"]


class TestSnooze:
    def test_a_round_that_is_due_is_put_off_and_comes_back(self) -> None:
        log = MemoryJournal()
        session = leaking(log)
        session.snooze(10.0, NOW_S)
        assert due_at(session, NOW_S) == NOW_S + 600.0
        assert session.call(NOW_S + 300.0) == "soon"
        assert "put off for 5 min more" in Viewer(session).view(NOW_S + 300.0).due.words
        again = Session(rig(), log, NOW_S + 300.0)
        assert due_at(again, NOW_S + 300.0) == NOW_S + 600.0
        assert session.call(NOW_S + 601.0) == "due"

    def test_it_ends_by_none_by_undo_and_by_a_round(self) -> None:
        session = leaking()
        session.snooze(10.0, NOW_S)
        session.snooze(0.0, NOW_S + 1.0)
        assert session.call(NOW_S + 1.0) == "due"
        session.snooze(30.0, NOW_S + 2.0)
        assert session.undo(NOW_S + 3.0) == "the snooze of 30 min"
        assert session.call(NOW_S + 3.0) == "due"
        session.snooze(600.0, NOW_S + 4.0)
        session.open_round(NOW_S + 5.0)
        session.close_round(NOW_S + 6.0)
        assert session.call(NOW_S + 6.0) == "due"

    def test_a_round_that_comes_later_is_not_moved(self) -> None:
        session = leaking()
        early_s = START_S + 15.0 * 240.0
        session.snooze(0.5, early_s)
        assert session.due(early_s).put_off_until_s in (None, early_s + 30.0)

    @pytest.mark.parametrize("minutes", [-1.0, 1e9, float("nan")])
    def test_minutes_that_cannot_be_change_nothing(self, minutes: float) -> None:
        session = leaking()
        last_id = session.record.newest_id
        with pytest.raises(BadInput, match="snooze"):
            session.snooze(minutes, NOW_S)
        assert session.record.newest_id == last_id


class TestNotToday:
    def test_nobody_waits_for_it_and_the_next_morning_it_is_back(self) -> None:
        session = leaking()
        session.today("C4", NOW_S, played=False)
        assert "C4" not in session.record.awaited
        assert session.call(NOW_S) == "soon"
        session.today("E4", NOW_S, played=False)
        assert session.call(NOW_S) == "well"
        shown = {b.id: b for b in Viewer(session).view(NOW_S).bottles}["C4"]
        assert (shown.state, shown.reason, shown.not_today) == ("left_out", "not played today", True)
        until_s = session.day.not_today["C4"]
        assert until_s > NOW_S
        assert day_of(until_s) != day_of(NOW_S) or until_s - NOW_S < 86_400.0
        session.record.at(until_s + 1.0)
        assert "C4" in session.record.awaited

    def test_rounds_leave_it_out_and_bring_it_back_when_it_is_played_after_all(self) -> None:
        session = leaking()
        session.today("C4", NOW_S, played=False)
        session.open_round(NOW_S + 1.0)
        assert session.round is not None
        assert "C4" not in session.round.needed
        session.today("C4", NOW_S + 2.0, played=True)
        assert session.round is not None
        assert "C4" in session.round.needed
        assert session.instruction.bottle == "C4"
        assert session.undo(NOW_S + 3.0) == "C4 played again today"
        assert session.round is not None
        assert "C4" not in session.round.needed
        session.close_round(NOW_S + 4.0)
        session.today("C4", NOW_S + 5.0, played=True)
        assert "C4" in session.record.awaited

    def test_a_round_that_is_open_goes_on_without_it(self) -> None:
        log = MemoryJournal()
        session = leaking(log)
        session.open_round(NOW_S)
        here = session.instruction.bottle
        assert here is not None
        session.today(here, NOW_S + 1.0, played=False)
        assert session.instruction.bottle != here
        assert here not in Session(rig(), log, NOW_S + 2.0).record.awaited
        said = io.StringIO()
        write_table(entries(log.events()), said)
        assert "not played today" in said.getvalue()

    def test_a_round_of_none_is_not_opened(self) -> None:
        session = leaking()
        for bottle in session.rig.bottles:
            session.today(bottle.id, NOW_S, played=False)
        with pytest.raises(BadInput, match="left out today"):
            session.open_round(NOW_S + 1.0)

    def test_a_bottle_that_the_rig_lacks_is_refused(self) -> None:
        with pytest.raises(BadInput, match="no bottle"):
            leaking().today("Z9", NOW_S, played=False)
