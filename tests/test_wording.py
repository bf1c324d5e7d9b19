"""The log says what happened in the words of the screens."""

from __future__ import annotations

import pytest

from rounds import events as ev
from rounds.wording.events import sentence


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (ev.Connected(at_s=0.0, bottle="E3", pump="floor"), "the floor pump on"),
        (ev.Disconnected(at_s=0.0, bottle="E3", pump="pump1"), "pump1 off"),
        (
            ev.AirMoved(at_s=0.0, bottle="E3", pump="floor", strokes=0.1875),
            "¼ of a stroke in, by the floor pump",
        ),
        (ev.AirMoved(at_s=0.0, bottle="E3", pump=None, strokes=-1.5), "1½ strokes out, by the pin"),
        (ev.AirMoved(at_s=0.0, bottle="E3", pump=None, strokes=None), "air moved, how much is not known"),
        (
            ev.Strike(at_s=0.0, bottle="E3", verdict="clear", hz=1.0, cents=-10.7, u95_cents=0.3),
            "struck: 10.7 cents flat ±0.3",
        ),
        (
            ev.Strike(at_s=0.0, bottle=None, verdict="quiet", hz=None, cents=None, u95_cents=None),
            "struck: too quiet",
        ),
        (ev.Accepted(at_s=0.0, bottle="E3", cents=5.8), "in tune, 5.8 cents sharp"),
        (ev.Skipped(at_s=0.0, bottle="E3"), "left out"),
        (
            ev.TakeStopped(
                at_s=0.0, take="take 1", worst_cents=-20.0, worst_bottle="A#3", doubtful=("A#3", "C3")
            ),
            "take cut; worst expected: A#3 20.0 cents flat; likely out: A#3, C3",
        ),
        (ev.ShiftChosen(at_s=0.0, shift_cents=0.0), "A4 stays where it is"),
        (
            ev.ShiftChosen(at_s=0.0, shift_cents=-4.0, saves=1),
            "A4 is moved 4.0 cents flat, which saves 1 connection",
        ),
        (ev.Temperature(at_s=0.0, temp_c=24.5, source="hand"), "air at 24.5 °C"),
    ],
)
def test_words(event: ev.Event, words: str) -> None:
    assert sentence(event) == words
