"""A session on a long journal begins from what was worked out before, however the one before it ended."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rounds.belief.state import checkpoint_name, to_bytes
from rounds.errors import JournalError
from rounds.events import RoundClosed, RoundOpened, Temperature
from rounds.journal import Journal, MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions import resuming
from rounds.sessions.resuming import take_up
from rounds.sessions.session import Session
from rounds.starting import options

if TYPE_CHECKING:
    from pathlib import Path

RIG = load_rig("configs/one_rail.toml")


def long_log(rounds: int) -> MemoryJournal:
    """Rounds that were opened and closed, a thousand temperatures in each, and a last one left open."""
    log = MemoryJournal()
    for number in range(rounds):
        at_s = 2000.0 * number
        log.append(
            RoundOpened(at_s=at_s, round_id=f"r{number}", downbeat_s=None, block_s=60.0, needed={"C4": 1.0})
        )
        log.append_many(Temperature(at_s=at_s + k, temp_c=20.0 + k % 3) for k in range(1000))
        if number < rounds - 1:
            log.append(RoundClosed(at_s=at_s + 1001.0, round_id=f"r{number}", finished=True))
    return log


@pytest.mark.slow
def test_a_fold_that_was_cut_short_goes_on_from_where_it_came_to(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(resuming, "KEEP_EVERY", 5000)
    log, rig = long_log(20), RIG

    class Cut(Exception):
        pass

    def cut(done: int, _all: int) -> None:
        if done >= 12_000:
            raise Cut

    with pytest.raises(Cut):
        take_up(rig, log, cut)
    begun: list[tuple[int, int]] = []
    taken = take_up(rig, log, lambda done, left: begun.append((done, left)))
    assert begun[0][1] < log.last_id - 9000
    again: list[tuple[int, int]] = []
    take_up(rig, log, lambda done, left: again.append((done, left)))
    assert all(left < 2500 for _, left in again)
    whole = take_up(rig, MemoryJournal(event for _, event in log.events()))
    assert to_bytes(taken.beliefs) == to_bytes(whole.beliefs)
    assert (taken.day, taken.last_id) == (whole.day, whole.last_id)


def test_a_round_that_closes_leaves_a_checkpoint_for_a_start_after_a_kill() -> None:
    log = MemoryJournal()
    session = Session(RIG, log, 1e9)
    session.open_round(1e9)
    session.close_round(1e9 + 60.0)
    kept = log.load_checkpoint(checkpoint_name(RIG))
    assert kept is not None
    assert kept.last_id == log.last_id


def test_a_checkpoint_that_cannot_be_kept_stops_no_round() -> None:
    class NoRoom(MemoryJournal):
        def save_checkpoint(self, name: str, last_id: int, blob: bytes) -> None:
            raise JournalError("the disk is full")

    session = Session(RIG, NoRoom(), 1e9)
    session.open_round(1e9)
    session.close_round(1e9 + 60.0)
    session.record.keep_checkpoint()
    assert session.round is None


def test_two_rigs_on_one_journal_keep_a_checkpoint_each() -> None:
    log = long_log(3)
    rigs = (RIG, load_rig("configs/three_rails.toml"))
    for rig in rigs:
        take_up(rig, log)
    assert all(log.load_checkpoint(checkpoint_name(rig)) is not None for rig in rigs)


def test_of_many_checkpoints_the_newest_stay(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        for number in range(40):
            journal.save_checkpoint(f"rig {number}", 0, b"x")
        kept = [n for n in range(40) if journal.load_checkpoint(f"rig {n}") is not None]
    assert kept == list(range(28, 40))


def test_a_long_wait_is_spoken_of_and_a_short_one_is_not(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with options.reading_progress() as say:
        say(10, 100)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(options, "SILENT_S", -1.0)
    with options.reading_progress() as say:
        for done in range(0, 100, 10):
            say(done, 100)
    assert capsys.readouterr().err == "rounds: working through the journal, 0 % of 100 events\n"
