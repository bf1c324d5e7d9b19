"""docs/lines.md: its example is run as it stands, and every line that is understood is named."""

from __future__ import annotations

from pathlib import Path

from rounds.commands.tune import hear_wav
from rounds.faces.lines import Lines
from rounds.journal import MemoryJournal
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "docs" / "lines.md").read_text(encoding="utf-8")


def on_the_shipped_rig() -> Lines:
    session = Session(load_rig(ROOT / "configs" / "one_rail.toml"), MemoryJournal(), 0.0)
    return Lines(session, 0.0, hear_wav)


def test_the_example_answers_as_printed() -> None:
    said = TEXT.partition("```text\n")[2].partition("```")[0].splitlines()
    lines, answers = said[::2], said[1::2]
    assert len(lines) == len(answers) > 5
    talk = on_the_shipped_rig()
    for line, answer in zip(lines, answers, strict=True):
        assert line.startswith("> ")
        assert f"< {talk.answer(line[2:], 0.0)}" == answer


def test_every_act_has_a_row() -> None:
    for act in on_the_shipped_rig()._acts:
        assert f'| `{{"{act}"' in TEXT, act
