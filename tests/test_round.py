"""The state machine of a round: events in, state out."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rounds.belief.air_log import AirLog
from rounds.events import (
    Accepted,
    AirMoved,
    Connected,
    Disconnected,
    Event,
    Gauge,
    NoteWritten,
    Replaced,
    RoundClosed,
    RoundOpened,
    Sent,
    Skipped,
    SteppedBack,
    Strike,
    TakeStarted,
    TakeStopped,
)
from rounds.guide.round import RoundState, advance, begin, phase_of
from rounds.sessions.day import Day

OPENED = RoundOpened(at_s=0.0, round_id="r1", downbeat_s=900.0, block_s=1200.0, needed={"a": 1.0, "b": 2.0})


def heard(bottle: str, cents: float = 1.0, *, on: bool = False) -> Strike:
    return Strike(at_s=5.0, bottle=bottle, verdict="clear", hz=440.0, cents=cents, u95_cents=1.0, pump_on=on)


def after(*events: Event, start: RoundState | None = None) -> RoundState:
    state = start or begin(OPENED)
    for event in events:
        state = advance(state, event)
    return state


def test_a_clear_strike_is_kept_and_clears_what_moved_before() -> None:
    state = after(AirMoved(at_s=1.0, bottle="a", pump="p", strokes=2.0))
    assert state.moved == {"a"}
    state = after(heard("a"), start=state)
    assert state.moved == frozenset()
    assert state.heard["a"].cents == 1.0


def test_a_strike_that_is_not_clear_changes_nothing_but_what_was_rejected() -> None:
    other = Strike(at_s=1.0, bottle=None, verdict="other_bottle", hz=400.0, cents=98.0, u95_cents=1.0)
    state = after(other)
    assert state.heard == {}
    assert state.rejected_cents == (98.0,)


def test_connections_are_counted_and_the_pump_stays_in_hand() -> None:
    state = after(
        Connected(at_s=1.0, bottle="a", pump="p"),
        Disconnected(at_s=2.0, bottle="a", pump="p"),
        Connected(at_s=3.0, bottle="b", pump="p"),
    )
    assert (state.connections, state.pump_on, state.mounted) == (2, "b", "p")
    assert state.visited == {"a", "b"}


def test_taking_the_pump_off_makes_the_last_reading_stale() -> None:
    state = after(
        Connected(at_s=1.0, bottle="a", pump="p"),
        heard("a", on=True),
        Disconnected(at_s=2.0, bottle="a", pump="p"),
    )
    assert "a" in state.moved


def test_air_moved_takes_a_bottle_out_of_those_in_tune() -> None:
    state = after(heard("a"), Accepted(at_s=6.0, bottle="a", cents=1.0))
    assert state.open_bottles == ("b",)
    assert after(AirMoved(at_s=7.0, bottle="a", pump=None, strokes=-0.5), start=state).open_bottles == (
        "a",
        "b",
    )


def test_a_skipped_bottle_is_needed_no_longer_until_stepped_back_to() -> None:
    state = after(Sent(at_s=1.0, bottle="a", purpose="listen"), Skipped(at_s=2.0, bottle="a"))
    assert (state.target, state.open_bottles) == (None, ("b",))
    state = after(SteppedBack(at_s=3.0, bottle="a"), start=state)
    assert (state.target, state.open_bottles) == ("a", ("a", "b"))


def test_hearing_a_bottle_once_more_does_not_eat_the_way_back() -> None:
    state = after(Sent(at_s=1.0, bottle="a", purpose="listen"))
    for at_s in (2.0, 3.0):
        state = after(SteppedBack(at_s=at_s, bottle="a"), start=state)
    state = after(Skipped(at_s=4.0, bottle="a"), Sent(at_s=5.0, bottle="b", purpose="listen"), start=state)
    state = after(SteppedBack(at_s=6.0, bottle="b"), start=state)
    assert state.path == ("a", "b")
    state = after(SteppedBack(at_s=7.0, bottle="a"), start=state)
    assert (state.target, state.path, dict(state.skipped)) == ("a", ("a",), {})


def test_being_sent_to_listen_asks_for_a_new_strike() -> None:
    state = after(heard("a"), Accepted(at_s=6.0, bottle="a", cents=1.0))
    state = after(Sent(at_s=200.0, bottle="a", purpose="listen"), start=state)
    assert "a" in state.moved
    assert "a" not in state.accepted


def test_phases() -> None:
    state = after(Sent(at_s=1.0, bottle="a", purpose="listen"))
    assert phase_of(state) == "listen"
    state = after(Sent(at_s=1.0, bottle="a", purpose="visit"), start=state)
    assert phase_of(state) == "visits"
    pumped = after(Connected(at_s=1.0, bottle="a", pump="p"), start=state)
    assert phase_of(after(Sent(at_s=1.0, bottle="b", purpose="listen"), start=pumped)) == "verify"
    assert phase_of(after(Accepted(at_s=1.0, bottle="a", cents=0.0), start=state)) == "done"


def test_a_closed_round_takes_nothing_in_any_more() -> None:
    closed = after(RoundClosed(at_s=9.0, round_id="r1", finished=True))
    assert after(heard("a"), start=closed) is closed


EVENTS = st.sampled_from(
    [
        heard("a"),
        heard("b", -30.0, on=True),
        Connected(at_s=1.0, bottle="a", pump="p"),
        Disconnected(at_s=1.0, bottle="a", pump="p"),
        AirMoved(at_s=1.0, bottle="b", pump=None, strokes=-1.0),
        Sent(at_s=1.0, bottle="a", purpose="visit"),
        Sent(at_s=1.0, bottle="b", purpose="listen"),
        Accepted(at_s=1.0, bottle="a", cents=0.5),
        Skipped(at_s=1.0, bottle="b", reason="ceiling"),
        SteppedBack(at_s=1.0, bottle="b"),
        NoteWritten(at_s=1.0, text="x"),
    ]
)


@given(st.lists(EVENTS, max_size=30))
def test_whatever_happens_a_needed_bottle_is_accepted_or_open_and_never_both(events: list[Event]) -> None:
    state = after(*events)
    assert set(state.open_bottles).isdisjoint(state.accepted)
    assert set(state.needed) == (set(state.open_bottles) | (state.accepted & set(state.needed)))
    assert state.connections == sum(isinstance(e, Connected) for e in events)


def test_a_day_counts_rounds_and_takes_and_knows_what_is_open() -> None:
    day = Day()
    for event in (
        OPENED,
        RoundClosed(at_s=9.0, round_id="r1", finished=True),
        TakeStarted(at_s=10.0, take="1"),
    ):
        day = day.after(event)
    assert (day.round, day.rounds, day.takes) == (None, 1, 1)
    assert day.take is not None
    assert day.after(TakeStopped(at_s=11.0, take="1")).take is None
    assert day.needed == {"a": 1.0, "b": 2.0}


def test_strokes_count_on_top_of_a_gauge_reading_until_an_unknown_amount_moves() -> None:
    day = Day().after(Gauge(at_s=1.0, bottle="a", gauge_kpa=200.0))
    day = day.after(AirMoved(at_s=2.0, bottle="a", pump="p", strokes=3.0))
    assert (day.air["a"].read_kpa, day.air["a"].read_strokes) == (200.0, 3.0)
    unknown = day.after(AirMoved(at_s=3.0, bottle="a", pump=None, strokes=None))
    assert unknown.air["a"].heard(220.0, 4.0).readings == ()


def test_a_replaced_bottle_has_nothing_told_of_its_air() -> None:
    day = Day().after(Gauge(at_s=1.0, bottle="a", gauge_kpa=200.0))
    assert day.after(Replaced(at_s=2.0, bottle="a", part="bottle")).air["a"] == AirLog()


def test_a_new_cap_leaves_the_shell_as_it_was_learned() -> None:
    day = Day().after(Gauge(at_s=1.0, bottle="a", gauge_kpa=200.0))
    strike = Strike(at_s=2.0, bottle="a", verdict="clear", hz=220.0, cents=0.0, u95_cents=1.0)
    readings = day.after(strike).air["a"].readings
    assert (
        day.after(strike).after(Replaced(at_s=3.0, bottle="a", part="cap")).air["a"].readings
        == readings
        != ()
    )
