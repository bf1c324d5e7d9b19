"""Which pieces play now, and which notes to leave out."""

from __future__ import annotations

from dataclasses import replace

from rounds.belief import Beliefs
from rounds.events import Event, Strike
from rounds.forecast.playable import playable
from rounds.notes import parse_note
from rounds.rig import Piece
from tests.planning_beliefs import small_rig

RIG = replace(
    small_rig(("C4", "D4", "E4", "E4")),
    pieces=(
        Piece("Three", {parse_note(n): 1.0 for n in ("C4", "D4", "E4")}),
        Piece("One", {parse_note("E4"): 1.0}),
        Piece("Missing", {parse_note("G4"): 1.0}),
    ),
)


def heard(*cents: float) -> Beliefs:
    events: list[Event] = [
        Strike(at_s=float(i), bottle=b.id, verdict="clear", hz=None, cents=c, u95_cents=1.0)
        for i, (b, c) in enumerate(zip(RIG.bottles, cents, strict=False))
    ]
    return Beliefs.fold(RIG, events)


def test_who_is_out_is_left_out_and_one_of_two_alike_is_enough() -> None:
    three, one, missing = playable(RIG, heard(0.0, -40.0, 40.0, 1.0), 10.0)
    assert three.sentence() == "2 of 3 of Three play; leave out D4"
    assert one.whole
    assert one.sentence() == "all 1 of One play"
    assert missing.sentence() == "0 of 1 of Missing play; leave out G4"


def test_a_bottle_never_heard_is_not_promised() -> None:
    three, _, _ = playable(RIG, heard(0.0), 10.0)
    assert [n.name for n in three.leave_out] == ["D4", "E4"]


def test_the_shift_of_the_reference_counts() -> None:
    beliefs = heard(-20.0, -20.0, -20.0)
    assert not playable(RIG, beliefs, 3.0)[0].whole
    assert playable(RIG, beliefs, 3.0, shift_cents=-20.0)[0].whole
