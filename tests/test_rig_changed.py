"""A journal taken up on a rig that lacks some of its bottles, or is another rig.

Rigs and pitches are invented; the fault is reproduced as a player meets it: a bottle leaves the rig file,
or two rigs share the journal.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rounds.errors import BadInput
from rounds.events import Disconnected, RoundClosed, SessionStarted, Skipped, TakeStarted, TakeStopped
from rounds.hearing.reading import Reading
from rounds.sessions.rig_changed import NOT_IN_RIG
from rounds.sessions.session import Session
from tests.test_session import Bench, rig

if TYPE_CHECKING:
    from rounds.rig import Rig


def without(*gone: str) -> Rig:
    whole = rig()
    return replace(whole, bottles=tuple(b for b in whole.bottles if b.id not in gone))


@pytest.fixture
def bench() -> Bench:
    """A round in which every bottle was heard and the player is sent to one that is flat."""
    made = Bench({"C4": -35.0, "D4": -30.0, "A4": -60.0})
    made.session.open_round(made.now_s, downbeat_s=made.now_s + 900.0)
    while made.session.instruction.act == "strike":
        made.strike()
    assert made.session.instruction.act == "connect"
    return made


def everything(session: Session, at_s: float) -> None:
    """Each act once, on whatever is asked for; what cannot be done now may be refused, not fail."""
    for act in (
        lambda: session.tick(at_s),
        lambda: session.strike(at_s, Reading(330.0, 1.0)),
        lambda: session.pump(False, at_s),
        lambda: session.pump(True, at_s),
        lambda: session.air(0.25, at_s),
        lambda: session.back(at_s),
        lambda: session.gauge(10.0, at_s),
        lambda: session.skip(at_s),
        lambda: session.start_take(at_s),
        lambda: session.stop_take(at_s),
        lambda: session.due(at_s),
        lambda: session.close_round(at_s),
        lambda: session.open_round(at_s),
    ):
        try:
            act()
        except BadInput:
            continue


@pytest.mark.parametrize("which", ["target", "another", "all but one"])
@pytest.mark.parametrize("head_on", [False, True])
def test_a_round_goes_on_without_the_bottles_that_left_the_rig(
    bench: Bench, which: str, head_on: bool
) -> None:
    target = bench.session.instruction.bottle
    assert target is not None
    if head_on:
        bench.session.pump(True, bench.now_s)
    gone = {
        "target": (target,),
        "another": ("D4" if target != "D4" else "C4",),
        "all but one": ("C4", "D4", "E4", "G4", "A4"),
    }[which]
    again = Session(without(*gone), bench.log, bench.now_s + 60.0)
    assert again.round is not None
    assert {e.bottle for e in bench.events(Skipped)} == set(gone)  # type: ignore[attr-defined]
    assert {e.reason for e in bench.events(Skipped)} == {NOT_IN_RIG}  # type: ignore[attr-defined]
    assert not set(again.record.needed) & set(gone)
    assert again.record.rig_words.startswith("Left out of the open round, no longer in the rig: ")
    if head_on and target in gone:
        assert bench.events(Disconnected)[-1].bottle == target  # type: ignore[attr-defined]
        assert again.day.pump_on is None
    everything(again, bench.now_s + 63.0)
    assert again.round is not None, "the last act opens a new one"
    assert again.instruction.bottle not in gone


def test_the_start_after_that_finds_nothing_to_say(bench: Bench) -> None:
    Session(without("C4"), bench.log, bench.now_s + 60.0)
    again = Session(without("C4"), bench.log, bench.now_s + 90.0)
    assert again.record.rig_words == ""
    assert len(bench.events(Skipped)) == 1


def test_a_bottle_that_is_gone_is_not_gone_back_to(bench: Bench) -> None:
    assert bench.session.round is not None
    before = [b for b in bench.session.round.path if b != bench.session.round.target][-1]
    again = Session(without(before), bench.log, bench.now_s + 60.0)
    again.back(bench.now_s + 63.0)
    assert again.instruction.bottle != before


def test_a_round_of_which_no_bottle_is_left_ends(bench: Bench) -> None:
    every = [b.id for b in rig().bottles]
    other = replace(rig(), bottles=(replace(rig().bottles[0], id="X"),))
    again = Session(other, bench.log, bench.now_s + 60.0)
    assert again.round is None
    assert not set(again.record.needed) & set(every)
    assert "none of its bottles" in again.record.rig_words


def test_another_rigs_round_is_not_taken_up(bench: Bench) -> None:
    bench.session.pump(True, bench.now_s)
    bench.session.start_take(bench.now_s)
    again = Session(replace(rig(), name="stage"), bench.log, bench.now_s + 60.0)
    assert again.round is None
    assert again.day.pump_on is None
    assert again.day.take is None
    assert not bench.events(RoundClosed)[-1].finished  # type: ignore[attr-defined]
    assert len(bench.events(TakeStarted)) == len(bench.events(TakeStopped)) == 1
    assert "'bench'" in again.record.rig_words
    assert "its round was ended" in again.record.rig_words


def test_a_rig_without_the_bottles_of_the_last_round_starts_and_says_what_is_due(bench: Bench) -> None:
    bench.session.close_round(bench.now_s)
    other = replace(without("C4", "D4"), name="stage")
    again = Session(other, bench.log, bench.now_s + 60.0)
    assert set(again.record.needed) == {"E4", "G4", "A4", "C5"}
    assert again.due(bench.now_s + 60.0).reason
    everything(again, bench.now_s + 63.0)


def test_the_sentence_about_the_rig_is_said_for_a_minute(bench: Bench) -> None:
    again = Session(replace(rig(), name="stage"), bench.log, bench.now_s + 60.0)
    again.tick(bench.now_s + 119.0)
    assert again.record.rig_words
    again.tick(bench.now_s + 121.0)
    assert again.record.rig_words == ""


def test_the_name_of_the_rig_survives_a_checkpoint(bench: Bench) -> None:
    bench.session.close_round(bench.now_s)
    bench.session.record.keep_checkpoint()
    again = Session(replace(rig(), name="stage"), bench.log, bench.now_s + 60.0)
    assert "'bench'" in again.record.rig_words


def test_an_older_day_of_another_rig_that_is_imported_says_nothing_of_this_one(bench: Bench) -> None:
    bench.log.append(SessionStarted(at_s=10.0, rig="stage"))
    again = Session(rig(), bench.log, bench.now_s + 60.0)
    assert again.record.rig_words == ""
    assert again.round is not None
