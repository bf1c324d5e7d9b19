"""What health says of a bottle is said in the order that leads to its valve, and nowhere else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.events import Strike
from rounds.hearing.reading import Reading
from rounds.journal import MemoryJournal
from rounds.notes import shifted_hz
from rounds.sessions import looking
from rounds.sessions.session import Session
from tests.test_health import RIG, rehearsal

if TYPE_CHECKING:
    import pytest

WORDS = "this cap loses 1.6 cents a minute, its group 0.1: look at it"


def led_to_its_valve(session: Session, bottle: str) -> str:
    """Strike all that are asked for, one of them flat, until an order leads to a valve; why that is."""
    for _ in range(40):
        told = session.instruction
        if told.bottle is None or told.act in ("connect", "release", "gauge"):
            break
        assert WORDS not in told.why
        cents = -30.0 if told.bottle == bottle else 0.0
        hz = shifted_hz(RIG.target_hz(told.bottle), cents)
        session.strike(session.now_s + 5.0, Reading(hz, 1.0, "clear"))
    assert session.instruction.bottle == bottle
    return session.instruction.why


def test_a_leak_is_told_at_the_valve_and_after_a_restart_too() -> None:
    log = MemoryJournal(rehearsal({"E4": -1.6}, rounds=3))
    session = Session(RIG, log, 3600.0)
    session.open_round(3600.0)
    assert led_to_its_valve(session, "E4").endswith(WORDS)
    again = Session(RIG, log, session.now_s + 1.0)
    assert again.instruction == session.instruction


def test_nobody_waits_while_a_long_journal_is_worked_through(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(looking, "MOST_EVENTS", 10)
    session = Session(RIG, MemoryJournal(rehearsal({"E4": -1.6}, rounds=3)), 3600.0)
    session.open_round(3600.0)
    assert WORDS not in led_to_its_valve(session, "E4")


def test_a_sound_bottle_is_visited_without_a_word() -> None:
    session = Session(RIG, MemoryJournal(rehearsal({"E4": -1.6}, rounds=3)), 3600.0)
    session.open_round(3600.0)
    assert "look at it" not in led_to_its_valve(session, "A4")


def test_strikes_that_are_journalled_know_nothing_of_it() -> None:
    """Only what is told to the player carries the words: the journal is as it was."""
    log = MemoryJournal(rehearsal({"E4": -1.6}, rounds=3))
    session = Session(RIG, log, 3600.0)
    session.open_round(3600.0)
    led_to_its_valve(session, "E4")
    assert any(isinstance(event, Strike) and event.at_s >= 3600.0 for _, event in log.events())
    assert all("look at it" not in repr(event) for _, event in log.events())
