"""A session on a failing disk, on a clock that was set back, and after the machine slept.

Times are UTC epoch seconds; the rig is an invented one.
"""

from __future__ import annotations

import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from rounds.belief import Beliefs
from rounds.belief.state import to_bytes
from rounds.errors import JournalError
from rounds.events import Strike
from rounds.hearing.reading import Reading
from rounds.journal import Journal, MemoryJournal, care
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from rounds.events import Event

RIG = load_rig("configs/one_rail.toml")
START_S = 1.78e9


class FullDisk(MemoryJournal):
    """A journal whose disk is full until `free` is set."""

    free = True

    def append_many(self, events: Iterable[Event]) -> int:
        self._refuse()
        return super().append_many(events)

    def append(self, event: Event) -> int:
        self._refuse()
        return super().append(event)

    def _refuse(self) -> None:
        if not self.free:
            raise JournalError("the disk is full")


def strike_target(session: Session, at_s: float) -> str:
    bottle = session.instruction.bottle
    assert bottle is not None
    session.strike(at_s, Reading(RIG.target_hz(bottle), 1.0))
    return bottle


def test_what_is_not_kept_is_not_believed_and_the_round_goes_on_when_there_is_room() -> None:
    log = FullDisk()
    session = Session(RIG, log, START_S)
    session.open_round(START_S)
    strike_target(session, START_S + 5)
    log.free = False
    before = log.last_id
    with pytest.raises(JournalError):
        strike_target(session, START_S + 10)
    assert log.last_id == before
    log.free = True
    bottle = strike_target(session, START_S + 15)
    assert session.beliefs.heard(bottle)
    folded = Beliefs.fold(RIG, (event for _, event in log.events()))
    assert to_bytes(session.beliefs) == to_bytes(folded)
    again = Session(RIG, log, START_S + 20)
    assert again.record.resumed
    assert again.instruction.bottle == session.instruction.bottle


def test_a_clock_set_back_within_a_session_loses_nothing_and_moves_no_time_backwards() -> None:
    log = MemoryJournal()
    session = Session(RIG, log, START_S)
    session.open_round(START_S)
    struck = [strike_target(session, START_S + t) for t in (5.0, 10.0, -3600.0, -3590.0)]
    kept = [event for _, event in log.events() if isinstance(event, Strike)]
    assert [event.bottle for event in kept] == struck
    times = [event.at_s for _, event in log.events()]
    assert times == sorted(times)


def test_an_hour_asleep_makes_everything_less_certain_and_the_round_goes_on() -> None:
    log = MemoryJournal()
    session = Session(RIG, log, START_S)
    session.open_round(START_S)
    bottle = strike_target(session, START_S + 5)
    sure = session.beliefs.level(bottle, START_S + 6).sd
    session.tick(START_S + 3605)
    assert session.round is not None
    assert session.beliefs.level(bottle, START_S + 3605).sd > sure + 1.0
    strike_target(session, START_S + 3610)


@pytest.mark.parametrize("sign", [signal.SIGHUP, signal.SIGTERM, signal.SIGKILL])
def test_a_closed_terminal_or_a_kill_resumes_the_same_round(tmp_path: Path, sign: signal.Signals) -> None:
    path = tmp_path / "j.db"
    command = [
        sys.executable,
        "-m",
        "tests.faults.session_process",
        "configs/one_rail.toml",
        str(path),
        "1.78e9",
    ]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write('{"t": 1, "open": {}}\n{"t": 5, "strike": {"hz": 261.6}}\n')
    process.stdin.flush()
    answers = [process.stdout.readline() for _ in range(3)]
    process.send_signal(sign)
    process.communicate()
    assert process.returncode != 0
    assert '"open": true' in answers[2]
    assert care.check(path).problems == ()
    with Journal(path) as journal:
        journal.claim()
        session = Session(RIG, journal, START_S + 60)
        assert session.record.resumed
        assert f'"bottle": "{session.instruction.bottle}"' in answers[2]
