"""`rounds tune --lines`: the contract, line by line."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rounds.air import KPA_PER_PSI
from rounds.commands.tune import hear_wav
from rounds.events import Gauge, NoGauge
from rounds.faces.lines import Lines
from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from tests.test_cli import rounds

RIG = Path(__file__).parent.parent / "configs" / "one_rail.toml"
OPEN = {"t": 0, "open": {"downbeat_t": 900, "block_s": 600, "temp_c": 21}}


class Talk:
    """One conversation in lines."""

    def __init__(self) -> None:
        self.session = Session(load_rig(RIG), MemoryJournal(), 1000.0)
        self.lines = Lines(self.session, 1000.0, hear_wav)

    def say(self, document: object) -> dict[str, Any]:
        line = document if isinstance(document, str) else json.dumps(document)
        answer = self.lines.answer(line, 0.0)
        assert "\n" not in answer
        return dict(json.loads(answer))


@pytest.fixture
def talk() -> Talk:
    return Talk()


def test_the_answer_has_the_keys_of_the_contract(talk: Talk) -> None:
    answer = talk.say(OPEN)
    assert set(answer) == {"do", "reading", "round", "due_t", "call", "error"}
    assert set(answer["do"]) == {
        *("act", "bottle", "pump", "strokes", "aim_cents", "why", "expected_psi", "stop_psi", "caution")
    }
    assert set(answer["round"]) == {"open", "connections", "left", "needed"}
    assert answer["do"]["act"] == "strike"
    assert answer["round"] == {"open": True, "connections": 0, "left": 13, "needed": 13}


def test_a_strike_is_read_against_the_bottle_asked_for(talk: Talk) -> None:
    bottle = talk.say(OPEN)["do"]["bottle"]
    hz = talk.session.rig.target_hz(bottle) * 2 ** (5.0 / 1200.0)
    reading = talk.say({"t": 3, "strike": {"hz": hz, "u95_cents": 1.5}})["reading"]
    assert reading == {"bottle": bottle, "cents": 5.0, "u95_cents": 1.5, "verdict": "clear"}


def test_acts_told_by_hand_move_the_round_on(talk: Talk) -> None:
    answer = talk.say(OPEN)
    t = 3.0
    while answer["do"]["act"] == "strike":
        bottle = answer["do"]["bottle"]
        off = -40.0 if bottle == "C4" else 1.0
        hz = talk.session.rig.target_hz(bottle) * 2 ** (off / 1200.0)
        answer = talk.say({"t": t, "strike": {"hz": hz, "u95_cents": 1.0}})
        t += 3.0
    assert answer["do"]["act"] == "connect"
    assert answer["do"]["bottle"] == "C4"
    answer = talk.say({"t": t, "pump": "on"})
    assert answer["do"]["act"] == "add"
    assert answer["round"]["connections"] == 1
    answer = talk.say({"t": t + 2, "air": answer["do"]["strokes"]})
    assert answer["do"]["act"] == "strike"


def test_a_recording_is_heard_against_the_bottle_asked_for(talk: Talk, tmp_path: Path) -> None:
    from rounds.simulation.sound import struck

    bottle = talk.say(OPEN)["do"]["bottle"]
    hz = talk.session.rig.target_hz(bottle) * 2 ** (-12.0 / 1200.0)
    sound = struck(hz, np.random.default_rng(5), ring_s=0.6, duration_s=1.0)
    path = tmp_path / "strike.wav"
    write_wav(path, np.concatenate([np.zeros(4800), sound]))
    reading = talk.say({"t": 3, "wav": str(path)})["reading"]
    assert reading["verdict"] == "clear"
    assert reading["cents"] == pytest.approx(-12.0, abs=2.0)


def write_wav(path: Path, sound: np.ndarray) -> None:
    import wave

    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("", "not a JSON object"),
        ("[1, 2]", "not a JSON object"),
        ('{"t": 1}', "one act a line"),
        ('{"t": 1, "tick": true, "skip": true}', "one act a line"),
        ('{"strum": true}', "unknown key"),
        ('{"pump": "sideways"}', "pump must be"),
        ('{"air": "three"}', "air must be a number"),
        ('{"air": NaN}', "air must be a number"),
        ('{"strike": {"hz": 1e999}}', "strike.hz must be a number"),
        ('{"strike": {"hz": -4}}', "cannot be a bottle"),
        ('{"temp_c": 900}', "not an air temperature"),
        ('{"t": true, "tick": true}', "t must be a number"),
        ('{"t": 1e12, "tick": true}', "not seconds of this session"),
        ('{"wav": "/no/such/file.wav"}', "cannot be opened"),
        ('{"open": {"pieces": ["Foghorn"]}}', "no piece"),
        ("[" * 50_000, "not a JSON object"),
        ('{"x": "' + "y" * 200_000 + '"}', "too long"),
    ],
)
def test_a_line_that_cannot_be_used_is_one_sentence_and_changes_nothing(
    talk: Talk, line: str, says: str
) -> None:
    before = talk.session.record.log.last_id
    answer = talk.say(line)
    assert says in str(answer["error"])
    assert talk.session.record.log.last_id == before


VALUES = st.one_of(
    st.booleans(),
    st.none(),
    st.integers(-1000, 1000),
    st.floats(),
    st.text(max_size=8),
    st.just("on"),
    st.just({}),
)
KEYS = (
    "open",
    "strike",
    "pump",
    "air",
    "temp_c",
    "gauge_psi",
    "take",
    "skip",
    "back",
    "undo",
    "tick",
    "close",
    "x",
)
STRIKES = st.builds(lambda hz: {"strike": {"hz": hz, "u95_cents": 2.0}}, st.floats(100.0, 1200.0))


@pytest.mark.slow
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=2), STRIKES), max_size=12))
def test_whatever_is_said_is_answered_with_one_json_document(documents: list[object]) -> None:
    talk = Talk()
    talk.say(OPEN)
    for i, document in enumerate(documents):
        line = json.dumps({"t": i, **document})  # type: ignore[dict-item]
        answer = talk.say(line)
        assert answer["do"]["act"] in ("strike", "connect", "add", "release", "disconnect", "wait", "none")
        assert answer["error"] is None or isinstance(answer["error"], str)
    assert all(math.isfinite(e.at_s) for _, e in talk.session.record.log.events())


def test_lines_on_the_command_line(tmp_path: Path) -> None:
    lines = "\n".join(json.dumps(d) for d in (OPEN, {"t": 1, "tick": True}, {"t": 2, "close": True}))
    ran = rounds("tune", "--rig", str(RIG), "--lines", "--journal", str(tmp_path / "j.db"), text_in=lines)
    assert ran.returncode == 0
    answers = [json.loads(line) for line in ran.stdout.splitlines()]
    assert [a["round"]["open"] for a in answers] == [True, True, False]
    assert len(list((tmp_path / "j-backups").glob("daily-*.db"))) == 1


def test_a_command_of_the_rig_is_not_allowed_where_none_runs(tmp_path: Path) -> None:
    ran = rounds("tune", "--rig", str(RIG), "--lines", "--allow-command", "--journal", str(tmp_path / "j.db"))
    assert ran.returncode == 2
    assert "give it temp_c in a line" in ran.stderr
    assert not (tmp_path / "j.db").exists()


@pytest.mark.parametrize(
    ("act", "words"),
    [
        ({"open": {"downbeat_t": 1e300}}, "downbeat_t"),
        ({"open": {"downbeat_t": 8 * 86_400}}, "within a week"),
        ({"wav": "\0"}, "not a file's name"),
        ({"wav": "\ud800"}, "not a file's name"),
        ({"wav": "/dev/zero"}, "is not a file"),
        ({"strike": {"hz": 261.6, "u95_cents": 1e200}}, "uncertainty"),
        ({"strike": {"hz": 261.6, "u95_cents": 1201}}, "0 to 1200"),
        ({"strike": {"hz": 261.6, "verdict": "loud"}}, "verdict"),
        ({"strike": {"verdict": "clear"}}, "strike.hz"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    talk: Talk, act: dict[str, object], words: str
) -> None:
    if "open" not in act:
        talk.say(OPEN)
    newest = talk.session.record.log.last_id
    assert words in str(talk.say({"t": 1, **act})["error"])
    assert talk.session.record.log.last_id == newest


@pytest.mark.parametrize("hz", [None, 261.6])
def test_a_strike_that_was_not_clear_is_no_reading(talk: Talk, hz: float | None) -> None:
    before = talk.say(OPEN)["do"]
    answer = talk.say({"t": 1, "strike": {"hz": hz, "verdict": "quiet"}})
    assert answer["reading"]["verdict"] == "quiet"
    assert answer["reading"]["cents"] is None
    assert answer["do"] == before


@pytest.mark.parametrize("strokes", [0, 1e-300, -1e-9])
def test_no_air_is_no_air_move(talk: Talk, strokes: float) -> None:
    talk.say(OPEN)
    newest = talk.session.record.log.last_id
    assert talk.say({"t": 1, "air": strokes})["round"]["connections"] == 0
    assert talk.session.record.log.last_id == newest


def test_an_order_with_air_says_what_to_expect_and_where_to_stop(talk: Talk) -> None:
    """stop = the lowest of ceiling, pump limit, and what is expected plus the larger of 3 psi and a fifth."""
    do: dict[str, Any] = talk.say(OPEN)["do"]
    for t in range(1, 60):
        if do["act"] == "gauge":
            do = talk.say({"t": 4 * t, "gauge_psi": 20.0})["do"]
            continue
        if do["act"] != "strike":
            break
        hz = 0.98 * talk.session.rig.target_hz(do["bottle"])
        do = talk.say({"t": 4 * t, "strike": {"hz": hz, "u95_cents": 1.0}})["do"]
    assert do["act"] == "connect"
    rig = talk.session.rig
    above_psi = do["expected_psi"] + max(3.0, 0.2 * do["expected_psi"])
    limit_psi = rig.limit_kpa(do["bottle"]) / KPA_PER_PSI
    assert do["stop_psi"] == pytest.approx(min(limit_psi, above_psi), abs=0.2)
    assert f"stop at {do['stop_psi']:.0f} psi" in do["caution"]


def test_a_gauge_is_typed_in_any_unit_or_said_to_be_missing(talk: Talk) -> None:
    bottle = talk.say(OPEN)["do"]["bottle"]
    talk.say({"t": 1, "gauge": "1.5 bar"})
    talk.say({"t": 2, "gauge": "none"})
    told = [event for _, event in talk.session.record.log.events()]
    assert [e.gauge_kpa for e in told if isinstance(e, Gauge)] == [150.0]
    assert [e.pump for e in told if isinstance(e, NoGauge)] == [talk.session.rig.bottle(bottle).pump]
    refused = talk.say({"t": 3, "gauge": "much"})
    assert refused["error"] == (
        "'much' is not a pressure; type it like 46 psi, 3.2 bar or 320 kPa, "
        "or none where the pump has no gauge"
    )


def test_a_downbeat_too_near_says_who_stays_out_and_how_long_the_work_takes(talk: Talk) -> None:
    told = talk.say({"t": 0, "open": {"empty": True, "downbeat_t": 200}})["round"]
    assert told["work_s"] > 0.0
    assert 0 < len(told["stays_out"]) < told["needed"]
    later = talk.say({"t": 100, "tick": True})["round"]
    assert len(later["stays_out"]) > len(told["stays_out"])
