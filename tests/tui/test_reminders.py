"""When a face rings, and what the window title says."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.faces.news import Reminder
from rounds.faces.view import DueView
from rounds.tui import reminders
from rounds.tui.reminders import window_title
from tests.tui.fake import FakeController

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

BETWEEN = FakeController().between_view()
DUE = replace(BETWEEN, due=DueView(-1.0, "C3 is out", True))
TAKE = FakeController().take_view()
ROUND = FakeController().round_view()


def test_rings_once_for_each_due_time() -> None:
    reminder = Reminder()
    assert [reminder.rings(v) for v in (BETWEEN, DUE, DUE, BETWEEN, DUE)] == [False, True, False, False, True]


def test_silent_in_a_take_and_told_after_it() -> None:
    reminder = Reminder()
    due_in_take = replace(TAKE, due=DUE.due)
    assert [reminder.rings(v) for v in (due_in_take, due_in_take, DUE)] == [False, False, True]


def test_silent_in_a_round() -> None:
    assert not Reminder().rings(replace(ROUND, due=DUE.due))


def test_no_second_ring_when_a_take_interrupts() -> None:
    reminder = Reminder()
    assert reminder.rings(DUE)
    reminder.rings(replace(TAKE, due=DUE.due))
    assert not reminder.rings(DUE)


def test_titles() -> None:
    assert window_title(BETWEEN) == "rounds: due in 10 min"
    assert window_title(DUE) == "rounds: DUE NOW"
    assert window_title(ROUND) == "rounds: 11 of 30 to do"
    later = replace(TAKE, due=DueView(3.0, "", False))
    assert window_title(TAKE) == window_title(later) == "rounds: take"


def test_desktop_notice_is_left_out_where_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    monkeypatch.setattr("shutil.which", lambda name: None)
    assert not reminders.desktop_notice("due")


def test_desktop_notice_passes_text_as_text(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[list[str]] = []
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    monkeypatch.setattr("shutil.which", lambda name: "/usr/bin/notify-send")

    def run(command: list[str], **options: object) -> subprocess.CompletedProcess[bytes]:
        started.append(command)
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr("subprocess.run", run)
    thread = reminders.desktop_notice("--evil\x1b[2J")
    assert thread is not None
    thread.join(30.0)
    assert started == [["/usr/bin/notify-send", "--app-name=rounds", "--", "rounds", "--evil\\x1b[2J"]]


def test_where_one_way_of_a_notice_fails_the_next_is_tried(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The library may be there without a bus that takes its notices."""
    kept = tmp_path / "said"
    ways = [
        [sys.executable, "-c", "raise SystemExit(1)"],
        [str(tmp_path / "no such program")],
        [sys.executable, "-c", f"open({str(kept)!r}, 'a').write('a round is due. ')"],
        [sys.executable, "-c", f"open({str(kept)!r}, 'a').write('twice')"],
    ]
    monkeypatch.setattr(reminders, "_notice_commands", lambda text: ways)
    thread = reminders.desktop_notice("a round is due")
    assert thread is not None
    thread.join(30.0)
    assert kept.read_text() == "a round is due. "


def test_a_machine_without_notices_gets_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reminders, "_notice_commands", lambda text: [])
    assert reminders.desktop_notice("a round is due") is None
