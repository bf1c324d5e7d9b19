"""The program behind a face: the ear, the session and the screens together, on sound."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.errors import BadInput
from rounds.faces import typed
from rounds.faces.controller import RoundRequest
from rounds.faces.live import Live
from rounds.hearing.microphone import Microphone
from rounds.hearing.reading import Reading
from rounds.journal import MemoryJournal
from rounds.sessions.session import Session
from rounds.simulation import sound
from rounds.simulation.demo import DEMO_RIG, asked, shipped_rig
from rounds.simulation.player import CAREFUL, Player
from rounds.simulation.stage import Stage
from rounds.simulation.world import World
from rounds.tui.app import RoundsApp
from rounds.tui.widgets.reading import Reading as ReadingWidget
from rounds.wording.words import ENDED
from tests.audio import NullAudio, null_audio_fixture, wait_until, write_wav  # noqa: F401
from tests.test_session import NOTES, rig

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

RATE_HZ = 48_000


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Live]:
    accepted = tmp_path / "read"
    accepted.touch()
    made = Live(Session(rig(), MemoryJournal(), time.time()), time.time, accepted_file=accepted)
    yield made
    made.close()


@pytest.mark.realaudio
async def test_a_strike_played_into_the_microphone_is_read_on_the_screen(
    live: Live, null_audio: NullAudio, tmp_path: Path
) -> None:
    live.open_round(RoundRequest(temp_c=21.0))
    target = live.session.instruction.bottle
    assert target is not None
    hz = live.rig.target_hz(target) * 2 ** (-23.0 / 1200.0)
    strike = sound.struck(hz, np.random.default_rng(7), duration_s=0.9, ring_s=0.7)
    path = write_wav(tmp_path / "strike.wav", np.concatenate([np.zeros(RATE_HZ // 2), strike]), RATE_HZ)
    live.listen_to(Microphone)
    app = RoundsApp(live)
    async with app.run_test(size=(80, 24)) as pilot:
        wait_until(lambda: live.level().dbfs is not None, 5.0)
        playing = null_audio.play(path)
        for _ in range(100):
            await pilot.pause(0.05)
            if live.session.day.reading is not None:
                break
        playing.wait(timeout=10)
        await pilot.pause()
        reading = live.view().reading
        assert reading is not None
        assert (reading.bottle, reading.verdict) == (target, "clear")
        assert reading.cents == pytest.approx(-23.0, abs=1.0)
        assert "flat" in str(app.screen.query_one(ReadingWidget).render())


def test_strikes_do_not_count_before_the_cautions_are_read(live: Live) -> None:
    live.open_round(RoundRequest())
    live.first_run = True
    strike = Reading(262.0, 1.0, ring_s=0.5, peak_dbfs=-12.0, at_s=time.time())
    live._heard(strike)
    live.tick()
    assert live.session.day.reading is None
    live.accept_cautions()
    live._heard(strike)
    live.tick()
    assert live.session.day.reading is not None


def test_a_lost_microphone_is_told_and_the_journal_keeps_what_was_heard(live: Live) -> None:
    live.open_round(RoundRequest())
    live._faulted("The microphone was lost; check its plug.")
    assert "lost" in live.view().message
    assert live.level().state == "lost"
    live._faulted(None)
    assert live.view().message == ""
    assert live.session.record.log.last_id > 0


@pytest.mark.slow
def test_a_round_on_the_virtual_stage_goes_through_the_listener(tmp_path: Path) -> None:
    world = World(rig(), np.random.default_rng(3), start_s=1e9)
    world.tuned(0.0)
    world.put("A4", -45.0)
    session = Session(world.rig, MemoryJournal(), world.now_s)
    player = Player(world, CAREFUL)
    stage = Stage(world, player, lambda: asked(session), speed=50.0)
    (tmp_path / "read").touch()
    live = Live(session, stage.now_s, accepted_file=tmp_path / "read")
    player.tell = live.gauge_read
    live.open_round(RoundRequest(downbeat_in_s=400.0, temp_c=20.0))
    live.listen_to(lambda: stage)
    try:
        wait_until(lambda: _over(live), 60.0)
    finally:
        live.close()
    assert all(abs(world.cents(n)) <= 10.0 for n in NOTES)


def _over(live: Live) -> bool:
    live.tick()
    told = live.session.instruction
    return live.session.round is None or (told.act == "none" and told.bottle is None)


def test_the_demo_finds_the_rig_it_ships_with() -> None:
    assert shipped_rig(DEMO_RIG).exists()


def test_a_downbeat_is_the_next_such_time_of_the_day() -> None:
    noon_s = time.mktime((2026, 7, 1, 12, 0, 0, 0, 0, -1))
    assert typed.downbeat_in_s("12:30", noon_s) == pytest.approx(1800.0)
    assert typed.downbeat_in_s("00:00", noon_s) == pytest.approx(12 * 3600.0)


def test_a_downbeat_that_has_passed_is_not_tomorrow() -> None:
    noon_s = time.mktime((2026, 7, 1, 12, 0, 0, 0, 0, -1))
    with pytest.raises(BadInput, match="11:55 has passed"):
        typed.downbeat_in_s("11:55", noon_s)


def test_a_downbeat_after_the_clocks_went_forward_is_an_hour_nearer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Directive 2000/84/EC: summer time begins at 01:00 UTC on the last Sunday of March."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    try:
        evening_s = time.mktime((2026, 3, 28, 23, 30, 0, 0, 0, -1))
        assert typed.downbeat_in_s("10:00", evening_s) == pytest.approx(9.5 * 3600.0)
    finally:
        monkeypatch.undo()
        time.tzset()


class TestStart:
    """What a start with an open round in the journal goes on with."""

    ASKED = RoundRequest(downbeat_in_s=900.0, block_s=1800.0)

    def test_no_round_is_open_before_the_cautions_are_read(self, live: Live) -> None:
        live.first_run = True
        live.begin(lambda: self.ASKED)
        assert live.session.round is None
        live.accept_cautions()
        assert live.session.round is not None

    def test_the_same_words_go_on_with_the_round(self, live: Live) -> None:
        live.begin(lambda: self.ASKED)
        first = live.view().round_id
        live.begin(lambda: replace(self.ASKED, downbeat_in_s=880.0, temp_c=24.0))
        assert live.view().round_id == first
        assert live.view().temp_c == pytest.approx(24.0)
        live.begin(RoundRequest)
        assert live.view().round_id == first

    @pytest.mark.parametrize(
        "other",
        [RoundRequest(downbeat_in_s=1800.0), RoundRequest(block_s=600.0)],
        ids=["downbeat", "block"],
    )
    def test_other_words_begin_another_round_and_say_so(self, live: Live, other: RoundRequest) -> None:
        live.begin(lambda: self.ASKED)
        first = live.view().round_id
        live.begin(lambda: other)
        assert live.view().round_id != first
        assert live.view().message == ENDED


def test_the_tables_and_plots_of_the_screens_come_from_the_session(live: Live) -> None:
    live.open_round(RoundRequest(temp_c=20.0))
    live.note("cap of C5 hisses", "C5")
    assert any("hisses" in line.text for line in live.log_lines())
    assert [line.bottle for line in live.health_lines()] == ["all"]
    assert live.forecast_paths() == []
