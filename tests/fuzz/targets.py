"""What is fed with spoiled files, each as the user would: through the command line or a line.

A target takes bytes, tells whether they were accepted, and raises `Fault` when something reached the
user that must not: an exception, a traceback, an exit code that is none of ours, or a character that
a terminal obeys.
"""

from __future__ import annotations

import functools
import io
import json
import struct
import time
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING
from unittest import mock

import numpy as np

from rounds import cli
from rounds.errors import ExitCode
from rounds.faces.lines import Lines
from rounds.files.faultlog import SHOULD_NOT_HAPPEN
from rounds.journal import Journal, MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.sound import struck
from tests.fuzz.mutations import spoiled

if TYPE_CHECKING:
    import argparse
    import random
    from collections.abc import Callable

_build_parser = cli.build_parser
CONFIGS = Path("configs")
DAY_S = 86_400.0
SMALL_RIG = """[rig]
name = "Two bottles (invented)"
[[pump]]
id = "hand"
barrel_ml = 100
[[bottle]]
note = "A4"
volume_ml = 1250
[[bottle]]
id = "x"
note = "C5"
volume_ml = 1250
position_cm = 12
cap_fitted = 2026-01-31
[[piece]]
name = "p"
midi = "piece.mid"
"""
READINGS = """at,bottle,cents,hz,temp_c,touched
2026-05-31T14:05:00Z,A4,1.5,,21.5,0
2026-05-31T14:06:00Z,C5,-3,,,1
2026-05-31T14:07:00Z,E5,,659.9,20,0
"""
EVENTS = """{"kind": "temperature", "at_s": 1.78e9, "temp_c": 20.5, "source": "hand"}
{"kind": "note_written", "at_s": 1780000001.0, "text": "x", "bottle": null}
{"kind": "round_opened", "at_s": 1.78e9, "round_id": "r", "downbeat_s": null, "block_s": 9, "needed": {}}
{"at_s": 1.7e9, "kind": "strike", "bottle": "A4", "verdict": "clear", "hz": 440, "cents": 0, "u95_cents": 1}
"""
LINES = (
    '{"t": 1, "open": {"downbeat_t": 900, "block_s": 600, "temp_c": 20.5}}',
    '{"t": 2, "strike": {"hz": 261.6, "u95_cents": 1.5}}',
    '{"t": 3, "strike": {"hz": 440.2}}',
    '{"t": 4, "pump": "on"}', '{"t": 5, "pump": "off"}', '{"t": 6, "air": 2.5}', '{"t": 7, "air": -1}',
    '{"t": 8, "temp_c": 22.5}', '{"t": 9, "gauge_psi": 33}', '{"t": 10, "take": "start"}',
    '{"t": 11, "take": "stop"}', '{"t": 12, "skip": true}', '{"t": 13, "back": true}',
    '{"t": 14, "tick": true}', '{"t": 14, "undo": true}',
    '{"t": 15, "close": true}', '{"t": 16, "wav": "no/such/file.wav"}',
)  # fmt: skip


class Fault(Exception):
    """Something reached the user that must not."""


def checked(text: str) -> None:
    """Refuse what a terminal would obey, and tracebacks."""
    if "Traceback (most recent call last)" in text:
        raise Fault("a traceback was printed")
    if SHOULD_NOT_HAPPEN in text:
        raise Fault(f"an exception came to the end: {text.strip()[:300]}")
    bad = next((c for c in text if not c.isprintable() and c not in "\n\t"), None)
    if bad is not None:
        raise Fault(f"character {bad!r} was printed raw")


@functools.cache
def _parser() -> argparse.ArgumentParser:
    return _build_parser()


def run_command(*argv: str) -> tuple[bool, str, str]:
    """Run a command in this process; tells whether it went well, its stdout and its stderr."""
    out, err = io.StringIO(), io.StringIO()
    # Making the parser takes ten times as long as a case: it is made once.
    parser = mock.patch.object(cli, "build_parser", _parser)
    with parser, redirect_stdout(out), redirect_stderr(err):
        try:
            code = cli.main(argv)
        except SystemExit as leaving:
            code = leaving.code if isinstance(leaving.code, int) else 1
    if code not in set(ExitCode):
        raise Fault(f"exit code {code}")
    checked(out.getvalue())
    checked(err.getvalue())
    if code and not err.getvalue().strip():
        raise Fault(f"exit code {code} without a word")
    return code == 0, out.getvalue(), err.getvalue()


class Targets:
    """All targets, with their good files and a folder to work in."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.rig = load_rig(CONFIGS / "one_rail.toml")
        self.rigs = (self.rig, self.rig, load_rig(CONFIGS / "three_rails.toml"))
        with Journal(folder / "empty.db"):
            pass
        # A fresh journal each time would cost a sync; imports into a growing one test more.
        self.journal = folder / "growing.db"
        (folder / "piece.mid").write_bytes((CONFIGS / "lantern_walk.mid").read_bytes())
        self.session_lines = 0
        self.lines = self._fresh_lines()
        self.all: dict[str, tuple[list[bytes], Callable[[bytes, random.Random], bool]]] = {
            "rig": ([SMALL_RIG.encode(), *(p.read_bytes() for p in CONFIGS.glob("*.toml"))], self.run_rig),
            "csv": ([READINGS.encode(), EVENTS.encode(), self._exported()], self.run_csv),
            "midi": ([(CONFIGS / "lantern_walk.mid").read_bytes()], self.run_midi),
            "wav": (list(map(wav, ("<i2", "<f4", "u1"))), self.run_wav),
            "lines": ([line.encode() for line in LINES], self.run_lines),
        }

    def case(self, name: str, rng: random.Random) -> bytes:
        """One spoiled input for a target."""
        if name == "lines" and self.lines.session.round is None and rng.random() < 0.4:
            return json.dumps({"open": _random_object(_FIELDS["open"], rng)}).encode()
        if name == "lines" and rng.random() < 0.6:
            return random_line(rng).encode()
        return spoiled(self.all[name][0], rng)

    def _exported(self) -> bytes:
        (self.folder / "events.jsonl").write_text(EVENTS)
        path = str(self.folder / "exported.db")
        run_command("log", "import", str(self.folder / "events.jsonl"), "--journal", path)
        return run_command("log", "--csv", "--journal", path)[1].encode()

    def _fresh_lines(self) -> Lines:
        """A session of one pump or of two; every second one has an open round already."""
        rig = self.rigs[self.session_lines % len(self.rigs)]
        session = Session(rig, MemoryJournal(), 1.78e9)
        lines = Lines(session, 1.78e9, lambda *_: [])
        if self.session_lines % 2:
            lines.answer(LINES[0], 0.0)
        return lines

    def run_rig(self, data: bytes, rng: random.Random) -> bool:
        """A spoiled rig is read by a command that needs one."""
        path = self.folder / "rig.toml"
        path.write_bytes(data)
        return run_command("health", "--rig", str(path), "--journal", str(self.folder / "empty.db"))[0]

    def run_csv(self, data: bytes, rng: random.Random) -> bool:
        """A spoiled file is imported, and the log is read back in every form."""
        path = self.folder / rng.choice(("readings.csv", "odd\x1b[2Jname\u202e.csv"))
        path.write_bytes(data)
        if rng.random() < 0.1:
            for old in self.folder.glob("growing.db*"):
                old.unlink()
        keep = ["--keep-good"] if rng.random() < 0.5 else []
        rig = ["--rig", str(CONFIGS / "one_rail.toml")] if rng.random() < 0.9 else []
        kept, *_ = run_command("log", "import", str(path), *rig, *keep, "--journal", str(self.journal))
        form = rng.choice(([], ["--csv"], ["--json"], ["--md"]))
        run_command("log", "--last", "20", *form, "--journal", str(self.journal))
        if kept and Journal(self.journal, read_only=True).last_id:
            self._goes_on()
        return kept

    def _goes_on(self) -> None:
        """After an import that was accepted a session begins, the day has its page, and all can be taken out
        and in again."""
        with Journal(self.journal) as journal:
            session = Session(self.rig, journal, time.time())
            if session.now_s > time.time() + 2 * DAY_S:
                raise Fault(f"the import moved the session's time to {session.now_s:.0f}")
            session.tick(session.now_s + 1.0)
            session.due(session.now_s)
        self._must("log", "report", "--journal", str(self.journal), or_says="has nothing of")
        out, again = self.folder / "out.jsonl", self.folder / "again.db"
        for path in (out, *self.folder.glob("again.db*")):
            path.unlink(missing_ok=True)
        self._must("log", "export", str(out), "--journal", str(self.journal))
        self._must("log", "import", str(out), "--journal", str(again))
        self._must("journal", "check", "--journal", str(again))

    def _must(self, *argv: str, or_says: str | None = None) -> None:
        """A command that has no reason to fail, but for one: that it says so."""
        well, _, said = run_command(*argv)
        if not well and (or_says is None or or_says not in said):
            raise Fault(f"rounds {argv[0]} {argv[1]} failed after an import that was accepted")

    def run_midi(self, data: bytes, rng: random.Random) -> bool:
        """A spoiled MIDI file is a piece of a rig."""
        (self.folder / "piece.mid").write_bytes(data)
        (self.folder / "with_piece.toml").write_text(SMALL_RIG)
        rig = str(self.folder / "with_piece.toml")
        return run_command("health", "--rig", rig, "--journal", str(self.folder / "empty.db"))[0]

    def run_wav(self, data: bytes, rng: random.Random) -> bool:
        """A spoiled recording is heard."""
        path = self.folder / rng.choice(("strike.wav", "odd\x1b[2Jname.wav"))
        path.write_bytes(data)
        form = ["--json"] if rng.random() < 0.5 else []
        return run_command("hear", str(path), *form)[0]

    def run_lines(self, data: bytes, rng: random.Random) -> bool:
        """A spoiled line is answered by one line of JSON, and the session goes on."""
        self.session_lines += 1
        if self.session_lines % 41 == 0:
            self.lines = self._fresh_lines()
        answer = self.lines.answer(data.decode("utf-8", "surrogateescape"), float(self.session_lines))
        checked(answer)
        return json.loads(answer)["error"] is None


_VALUES: tuple[object, ...] = (
    0, 1, -1, 0.25, 3.5, -2.0, 20.5, 261.6, 440.0, 523.3, 1e-12, 1e12, -1e300, 1e308, 10**400, float("nan"),
    float("inf"), True, False, None, "", "on", "off", "start", "stop", "x\x1b[2J", [], [1], {}, {"hz": 440.0},
    {"hz": 330.0, "u95_cents": 2.0}, {"hz": 2000.0, "u95_cents": -1}, {"hz": -5}, {"hz": None},
    {"downbeat_t": -1e9}, {"downbeat_t": 600, "block_s": 0}, {"block_s": 1e300}, {"pieces": ["Porch Step"]},
    {"pieces": ["\u202e"]}, {"temp_c": 500}, {"verdict": "quiet", "hz": None},
)  # fmt: skip
_FIELDS: dict[str, dict[str, tuple[object, ...]]] = {
    "open": {
        "downbeat_t": (600, 3000.0), "block_s": (900,), "temp_c": (21.5,), "pieces": (["Porch Step"], []),
        "people": (1, 2, 1.0, 2.0, "2", [1]), "empty": (True, ["C4"], ["zzz", 3], 1.0),
    },
    "strike": {"hz": (261.6, 311.1), "u95_cents": (1.5,), "verdict": ("clear", "quiet", "unclear", "loud")},
}  # fmt: skip
"""What an object of a line may hold, with values that do and values that nearly do."""


def random_line(rng: random.Random) -> str:
    """A line that is JSON, mostly with a key that is known and a value that may or may not do."""
    key = rng.choice(
        (*(next(k for k in json.loads(line) if k != "t") for line in LINES), "strike", "air", "zzz")
    )
    good = [json.loads(line)[key] for line in LINES if key in json.loads(line)]
    if key in _FIELDS and rng.random() < 0.5:
        value: object = _random_object(_FIELDS[key], rng)
    else:
        value = rng.choice(good) if good and rng.random() < 0.5 else rng.choice(_VALUES)
    line = {key: value}
    if rng.random() < 0.7:
        line["t"] = rng.choice((rng.uniform(0.0, 4000.0), *_VALUES[:13]))
    return json.dumps(line)


def _random_object(fields: dict[str, tuple[object, ...]], rng: random.Random) -> dict[str, object]:
    """Some of the fields, mostly with a value of theirs."""
    chosen = rng.sample(sorted(fields), rng.randint(1, 2))
    return {name: rng.choice(fields[name] if rng.random() < 0.8 else _VALUES) for name in chosen}


def wav(kind: str) -> bytes:
    """A short strike as a WAV file."""
    rate = 16_000
    sound = struck(440.0, np.random.default_rng(1), sample_rate_hz=rate, ring_s=0.3, loudness_dbfs=-12.0)
    sound = np.concatenate([np.zeros(rate // 4), sound[: rate // 2]])
    if kind == "<f4":
        code, samples = 3, sound.astype("<f4")
    elif kind == "u1":
        code, samples = 1, np.clip(128 + 127 * sound, 0, 255).astype("u1")
    else:
        code, samples = 1, np.clip(32767 * sound, -32768, 32767).astype("<i2")
    width = samples.dtype.itemsize
    header = struct.pack("<HHIIHH", code, 1, rate, rate * width, width, 8 * width)
    body = samples.tobytes()
    chunks = (
        b"WAVEfmt " + struct.pack("<I", len(header)) + header + b"data" + struct.pack("<I", len(body)) + body
    )
    return b"RIFF" + struct.pack("<I", len(chunks)) + chunks
