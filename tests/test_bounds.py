"""An event that cannot be is not written, and one that can be is taken in by every fold.

The bounds are common sense, no source. That the folds hold is shown by events made at random, each number
anywhere inside its bounds.
"""

from __future__ import annotations

import dataclasses
import typing

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rounds.belief import Beliefs
from rounds.bounds import BOUNDS, LONGEST_DOWNBEAT_S, misfit
from rounds.errors import BadInput
from rounds.event_fields import stored_kind, to_fields
from rounds.events import (
    EVENT_TYPES,
    AirMoved,
    Event,
    NoteWritten,
    RoundOpened,
    SessionStarted,
    Strike,
    Unknown,
)
from rounds.health import Histories
from rounds.importing.keeping import event_of
from rounds.journal import Journal, MemoryJournal
from rounds.journal.timing import scale_now
from rounds.report.page import write_page
from rounds.sessions.day import Day
from rounds.sessions.session import Session
from tests.test_events import strategy_of
from tests.test_session import NOTES, rig

if typing.TYPE_CHECKING:
    from pathlib import Path

RIG = rig()
BOTTLES = st.sampled_from([*NOTES, "gone"])
FAR = RoundOpened(at_s=1000.0, round_id="r1", downbeat_s=1e300, block_s=600.0, needed={"C4": 1.0})
VAGUE = Strike(at_s=1001.0, bottle="C4", verdict="clear", hz=261.6, cents=0.0, u95_cents=1e200)


def values_of(name: str, annotation: typing.Any) -> st.SearchStrategy[typing.Any]:
    if name in BOUNDS:
        # Times count on from each other, so one at the very edge would lead over it.
        share = 0.4 if name in ("at_s", "ahead_s") else 1.0
        inside = st.floats(share * BOUNDS[name].least, share * BOUNDS[name].most)
        return st.none() | inside if type(None) in typing.get_args(annotation) else inside
    if name == "bottle":
        return BOTTLES
    if name == "needed" and annotation is not int:
        return st.dictionaries(BOTTLES, st.floats(0.0, 100.0), max_size=3)
    return strategy_of(annotation)


def inside(cls: type[Event]) -> st.SearchStrategy[Event]:
    """Events of a kind whose numbers lie inside their bounds."""
    hints = typing.get_type_hints(cls)
    made = st.builds(cls, **{f.name: values_of(f.name, hints[f.name]) for f in dataclasses.fields(cls)})
    return made.map(_near).filter(lambda event: not misfit(event))


def _near(event: Event) -> Event:
    if not isinstance(event, RoundOpened) or event.downbeat_s is None:
        return event
    return dataclasses.replace(event, downbeat_s=event.at_s + event.downbeat_s % LONGEST_DOWNBEAT_S)


any_inside = st.sampled_from(sorted(EVENT_TYPES)).flatmap(lambda kind: inside(EVENT_TYPES[kind]))


@pytest.mark.slow
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(any_inside, max_size=12))
def test_every_fold_takes_in_whatever_may_be_journalled(events: list[Event]) -> None:
    beliefs, day, histories = Beliefs(RIG), Day(), Histories(RIG)
    for event in events:
        beliefs.apply(event)
        day = day.after(event).without(event)
        histories.apply(event)
    for bottle in NOTES:
        beliefs.path(bottle, max(0.0, beliefs.latest_s), (0.0, 60.0))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(any_inside, max_size=8))
def test_a_session_starts_on_whatever_may_be_journalled(events: list[Event]) -> None:
    session = Session(RIG, MemoryJournal(events), 2000.0)
    session.tick(session.now_s + 1.0)
    session.due(session.now_s)


@pytest.mark.parametrize("event", [FAR, VAGUE], ids=["downbeat", "uncertainty"])
def test_what_an_older_version_wrote_is_kept_and_not_believed(event: Event, tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many([event, NoteWritten(at_s=1002.0, text="after it")])
        kept = [e for _, e in journal.events()]
        assert isinstance(kept[0], Unknown)
        assert stored_kind(kept[0]) == event.kind
        assert to_fields(kept[0])["round_id" if event is FAR else "hz"]
        session = Session(RIG, journal, 2000.0)
        session.tick(2001.0)
        assert session.round is None


@pytest.mark.parametrize(
    ("name", "event"),
    [
        ("downbeat_s", FAR),
        ("u95_cents", VAGUE),
        ("strokes", AirMoved(at_s=1.0, bottle="C4", pump="hand", strokes=1e9)),
        ("at_s", SessionStarted(at_s=1e300, rig="r")),
        ("downbeat_s", dataclasses.replace(FAR, downbeat_s=float("nan"))),
    ],
)
def test_the_number_that_cannot_be_is_named(name: str, event: Event) -> None:
    assert misfit(event) == name


def test_an_event_that_cannot_be_is_not_imported() -> None:
    with pytest.raises(ValueError, match="u95_cents"):
        event_of({"kind": "strike", "at_s": VAGUE.at_s, **to_fields(VAGUE)})


def test_a_session_writes_nothing_that_cannot_be() -> None:
    log = MemoryJournal()
    session = Session(RIG, log, 1000.0)
    before = log.last_id
    with pytest.raises(BadInput, match="at_s"):
        session.note("too late", 1e300)
    assert log.last_id == before


def test_an_event_of_another_age_moves_no_time_and_hides_no_day(tmp_path: Path) -> None:
    """An older version took in a row of the year 9999: 253402300799 s by Python's calendar.timegm."""
    with Journal(tmp_path / "j.db") as journal:
        journal.append_many(
            [NoteWritten(at_s=1.78e9, text="before"), NoteWritten(at_s=253402300799.0, text="of a slip")]
        )
        session = Session(RIG, journal, 1.78e9 + 60.0)
        assert session.now_s == 1.78e9 + 60.0
        session.note("after", session.now_s + 1.0)
        assert scale_now(journal, 1.78e9 + 70.0).ahead_s == 0.0
        assert write_page(journal, None, None, None).startswith("# ")
