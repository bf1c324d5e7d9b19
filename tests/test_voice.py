"""The voice: what it says, by which program, and an ear that is deaf to it."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from dataclasses import replace
from typing import TYPE_CHECKING, get_args

import numpy as np
import pytest

from rounds.errors import BadInput
from rounds.faces.controller import RoundRequest
from rounds.faces.live import Live
from rounds.faces.speech import AFTER_S, Program, Speaker, found_program
from rounds.faces.spoken import MOST_WORDS, said_order, spoken, strokes
from rounds.faces.view import ReadingView
from rounds.hearing.microphone import Microphone
from rounds.hearing.reading import Reading
from rounds.instruction import Act
from rounds.journal import MemoryJournal
from rounds.sessions.session import Session
from rounds.simulation import sound
from tests.audio import NullAudio, null_audio_fixture, wait_until, write_wav  # noqa: F401
from tests.test_session import rig
from tests.tui.fake import FakeController, told

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

RATE_HZ = 48_000
FAKE = """#!/bin/sh
cat >> "$VOICE_SAID"
exec sleep "${VOICE_LASTS:-0}"
"""


class Clock:
    """A clock that tests move."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


class Voice:
    """A speaker over a program that writes down what it was given and lasts as long as told."""

    def __init__(self, folder: Path, clock: Callable[[], float], lasts_s: float) -> None:
        self.said_in = folder / "said.txt"
        settings = {"VOICE_SAID": str(self.said_in), "VOICE_LASTS": str(lasts_s)}
        found = found_program(which=lambda name: shutil.which(name, path=str(folder)))
        self.speaker = Speaker(replace(found, settings=settings), clock)

    @property
    def said(self) -> list[str]:
        return self.said_in.read_text().splitlines() if self.said_in.exists() else []


@pytest.fixture
def voice(tmp_path: Path) -> Callable[[Callable[[], float], float], Voice]:
    program = tmp_path / "espeak-ng"
    program.write_text(FAKE)
    program.chmod(0o700)
    return lambda clock, lasts_s: Voice(tmp_path, clock, lasts_s)


def words_in(text: str) -> int:
    """A note's name counts as one."""
    for spelled in ("sharp", "flat"):
        text = text.replace(f" {spelled} ", "-")
    return len(text.split())


class TestWords:
    @pytest.mark.parametrize(
        ("act", "count", "said"),
        [
            ("strike", None, "A3: strike"),
            ("connect", 2.5, "A3: two and a half in"),
            ("add", 3.625, "A3: three and five eighths more"),
            ("release", -1.75, "A3: one and three quarters out"),
            ("release", -0.125, "A3: a bit out"),
            ("connect", 41.0, "A3: 41 in"),
            ("disconnect", None, "A3: head off, then strike"),
            ("gauge", None, "A3: read the gauge"),
        ],
    )
    def test_an_order_is_its_bottle_and_its_work(self, act: Act, count: float | None, said: str) -> None:
        assert said_order(told(act, "A3", count)) == said

    def test_six_words_at_most(self) -> None:
        counts = [n / 8 for n in range(1, 8 * 14)]
        orders = [told(act, bottle, n) for act in get_args(Act) for bottle in ("A#5", "Bb3") for n in counts]
        assert max(words_in(said_order(o)) for o in orders) == MOST_WORDS
        assert {strokes(-n) for n in counts} == {strokes(n) for n in counts}

    def test_a_bottle_that_is_done_is_said_with_the_next(self) -> None:
        fake = FakeController()
        before = replace(fake.shown, instruction=told("strike", "C3"))
        after = replace(before, instruction=told("strike", "F#5"))
        assert spoken(before, after) == "Holds. Next, F sharp 5"
        out = replace(before, instruction=told("strike", "D3"))
        assert spoken(out, replace(out, instruction=told("strike", "F#5"))) == "F sharp 5: strike"

    def test_a_strike_that_does_not_count_is_said_once(self) -> None:
        fake = FakeController()
        before = replace(fake.shown, instruction=told("strike", "C5"))
        bad = replace(before, reading=ReadingView(None, None, None, None, "unclear", age_s=0.5))
        assert spoken(before, bad) == "Not counted. Strike C5"
        assert spoken(bad, replace(bad, reading=replace(bad.reading, age_s=1.5))) == ""  # type: ignore[type-var]

    def test_nothing_is_said_while_a_strike_is_measured_nor_in_a_take(self) -> None:
        fake = FakeController()
        rings = replace(fake.shown, reading=ReadingView("A3", "A3", 1.0, 3.0, "clear", final=False))
        assert spoken(None, rings) == ""
        assert spoken(fake.shown, fake.take_view()) == ""
        assert spoken(fake.shown, fake.shown) == ""

    def test_a_round_that_falls_due_is_said(self) -> None:
        waits = FakeController().between_view()
        due = replace(waits, due=replace(waits.due, due_s=-1.0, overdue=True))
        assert (spoken(waits, due), spoken(due, due)) == ("Tune now", "")


class TestProgram:
    @pytest.mark.parametrize(
        ("there", "output", "first"),
        [
            ({"espeak-ng", "spd-say"}, None, "spd-say"),
            ({"espeak-ng", "spd-say"}, "phones", "espeak-ng"),
            ({"powershell"}, None, "powershell"),
            ({"say"}, "phones", "say"),
        ],
    )
    def test_the_first_that_is_there_and_can_speak_where_it_should(
        self, there: set[str], output: str | None, first: str
    ) -> None:
        found = found_program(output, lambda name: name if name in there else None, "darwin")
        assert found.command[0] == first

    def test_none_is_a_sentence(self) -> None:
        with pytest.raises(BadInput, match="no speech program is there for --voice; install one"):
            found_program(which=lambda _: None)

    def test_a_program_called_say_elsewhere_is_another(self) -> None:
        with pytest.raises(BadInput):
            found_program(which=lambda name: name if name == "say" else None, platform="linux")


class TestSpeaker:
    def test_words_reach_the_program_whole(
        self, voice: Callable[[Callable[[], float], float], Voice]
    ) -> None:
        made = voice(Clock(), 0)
        made.speaker.say("-w evil.wav; $(x)")
        wait_until(lambda: not made.speaker.speaking or bool(made.said), 10.0)
        wait_until(lambda: made.said == ["-w evil.wav; $(x)"], 10.0)

    def test_the_newest_words_win(self, voice: Callable[[Callable[[], float], float], Voice]) -> None:
        clock = Clock()
        made = voice(clock, 30)
        made.speaker.say("one")
        wait_until(lambda: made.said == ["one"], 10.0)
        clock.now_s = 1001.0
        made.speaker.say("two")
        wait_until(lambda: made.said == ["one", "two"], 10.0)
        made.speaker.hush()
        wait_until(lambda: not made.speaker.spoke_at(2000.0), 10.0)
        assert made.speaker.fault is None

    def test_it_spoke_from_the_first_word_to_a_little_after_the_last(
        self, voice: Callable[[Callable[[], float], float], Voice]
    ) -> None:
        clock = Clock()
        made = voice(clock, 30)
        made.speaker.say("one")
        assert made.speaker.spoke_at(5000.0)
        clock.now_s = 1002.0
        made.speaker.hush()
        wait_until(lambda: not made.speaker.spoke_at(5000.0), 10.0)
        at_s = (999.9, 1000.0, 1002.0, 1002.0 + AFTER_S, 1002.11)
        assert [made.speaker.spoke_at(t) for t in at_s] == [False, True, True, True, False]

    def test_a_program_that_fails_is_said_and_stops_nothing(self) -> None:
        speaker = Speaker(Program((sys.executable, "-c", "raise SystemExit(3)")), Clock())
        speaker.say("one")
        wait_until(lambda: speaker.fault is not None, 20.0)
        assert "failed" in (speaker.fault or "")
        gone = Speaker(Program(("/nosuch/program",)), Clock())
        gone.say("one")
        assert "No such file" in (gone.fault or "")


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Live]:
    accepted = tmp_path / "read"
    accepted.touch()
    made = Live(Session(rig(), MemoryJournal(), time.time()), time.time, accepted_file=accepted)
    yield made
    made.close()


class TestEar:
    def test_what_sounds_while_it_speaks_is_no_strike(
        self, live: Live, voice: Callable[[Callable[[], float], float], Voice]
    ) -> None:
        made = voice(time.time, 30)
        live.speak_with(made.speaker)
        live.open_round(RoundRequest(temp_c=21.0))
        live.tick()
        wait_until(lambda: bool(made.said), 10.0)
        target = live.session.instruction.bottle
        assert target is not None
        strike = Reading(live.rig.target_hz(target), 1.0, ring_s=0.5, peak_dbfs=-12.0, at_s=time.time())
        live._heard(strike)
        live.tick()
        assert live.session.day.reading is None
        made.speaker.hush()
        wait_until(lambda: not made.speaker.speaking, 10.0)
        live._heard(replace(strike, at_s=time.time()))
        live.tick()
        assert live.session.day.reading is not None

    def test_a_take_silences_it(
        self, live: Live, voice: Callable[[Callable[[], float], float], Voice]
    ) -> None:
        made = voice(time.time, 30)
        live.speak_with(made.speaker)
        live.open_round(RoundRequest(temp_c=21.0))
        live.tick()
        wait_until(lambda: len(made.said) == 1, 10.0)
        live.take_toggle()
        live.tick()
        wait_until(lambda: not made.speaker.speaking, 10.0)
        live.tick()
        assert len(made.said) == 1


def _recording(null_audio: NullAudio, sink: str, seconds: float) -> subprocess.Popen[bytes]:
    """Record what a sink plays, from now on."""
    command = ["timeout", str(seconds), "parec", f"--device={sink}.monitor", "--format=float32le"]
    return subprocess.Popen(command, env=null_audio.environment(), stdout=subprocess.PIPE)


def _peak_of(recorder: subprocess.Popen[bytes]) -> float:
    heard, _ = recorder.communicate(timeout=20)
    return float(np.max(np.abs(np.frombuffer(heard[: len(heard) // 4 * 4], np.float32)), initial=0.0))


@pytest.mark.realaudio
@pytest.mark.slow
@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="real speech needs espeak-ng")
@pytest.mark.parametrize("output", ["phones", "bench"])
def test_a_strike_after_a_spoken_order_is_read_and_the_voice_never_is(
    output: str, live: Live, null_audio: NullAudio, tmp_path: Path
) -> None:
    """On an output of its own, and at worst: straight into the microphone."""
    null_audio.control("load-module", "module-null-sink", "sink_name=phones", "norewinds=1")
    program = shutil.which("espeak-ng")
    speaker = Speaker(found_program(output, lambda n: program if n == "espeak-ng" else None), time.time)
    live.speak_with(speaker)
    live.listen_to(Microphone)
    wait_until(lambda: live.level().dbfs is not None, 5.0)
    live.open_round(RoundRequest(temp_c=21.0))
    recorder = _recording(null_audio, output, 2.5)
    time.sleep(0.5)
    live.tick()
    assert speaker.speaking
    assert _peak_of(recorder) > 0.05
    wait_until(lambda: not speaker.speaking, 10.0)
    target = live.session.instruction.bottle
    assert target is not None
    hz = live.rig.target_hz(target) * 2 ** (-23.0 / 1200.0)
    strike = sound.struck(hz, np.random.default_rng(7), duration_s=0.9, ring_s=0.7)
    path = write_wav(tmp_path / "strike.wav", np.concatenate([np.zeros(RATE_HZ // 2), strike]), RATE_HZ)
    ends_s = time.monotonic() + 5.0
    live.tick()
    assert live.session.day.reading is None
    playing = null_audio.play(path)
    while live.session.day.reading is None and time.monotonic() < ends_s:
        time.sleep(0.1)
        live.tick()
    playing.wait(timeout=10)
    heard = live.session.day.reading
    assert heard is not None
    assert (heard.bottle, heard.verdict) == (target, "clear")
    assert heard.cents == pytest.approx(-23.0, abs=1.0)
    before = live.session.record.log.last_id
    while time.monotonic() < ends_s:  # the next order is spoken into the microphone, and nothing comes of it
        time.sleep(0.1)
        live.tick()
    assert live.session.record.log.last_id == before
