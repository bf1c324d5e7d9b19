"""A session from outside: strikes and acts in, instructions and journal out.

The rig is invented. `Bench` is a bottle bench with no physics of the product's own: each stroke adds a
fixed amount to the squared frequency, as the thin-shell law says (Fung, Sechler & Kaplan 1957).
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import pytest

from rounds.air import kpa_to_psi, prior_shell
from rounds.errors import BadInput
from rounds.events import (
    AirMoved,
    Connected,
    Disconnected,
    Event,
    Replaced,
    RoundClosed,
    Sent,
    Skipped,
    SteppedBack,
    Strike,
    TakeStarted,
    TakeStopped,
)
from rounds.faces.controller import Level
from rounds.faces.plain import progress
from rounds.faces.viewing import Viewer
from rounds.guide.round import advance
from rounds.hearing.reading import Reading
from rounds.instruction import Instruction
from rounds.journal import MemoryJournal
from rounds.notes import parse_note, shifted_hz
from rounds.rig import Bottle, Piece, Pump, Reference, Rig
from rounds.sessions.session import Session
from rounds.tui.models import round_strip

NOTES = ("C4", "D4", "E4", "G4", "A4", "C5")
START_S = 1000.0


def rig(**changes: Any) -> Rig:
    bottles = tuple(
        Bottle(
            id=n, note=parse_note(n), volume_ml=1250.0, rail=1, position_cm=15.0 * i, pump="hand", **changes
        )
        for i, n in enumerate(NOTES)
    )
    return Rig("bench", bottles, (Pump("hand", 100.0),))


class Bench:
    """Six bottles off pitch by some cents, a session, and hands that do exactly what is said."""

    def __init__(self, off_cents: dict[str, float], the_rig: Rig | None = None) -> None:
        self.rig = the_rig or rig()
        self.log = MemoryJournal()
        self.now_s = START_S
        self.session = Session(self.rig, self.log, self.now_s)
        self.hz = {n: shifted_hz(self.rig.target_hz(n), off_cents.get(n, 0.0)) for n in NOTES}
        # A stroke that is a fifth weaker than the law's prior, so that the gain has to be learned.
        self.gain_hz2 = {n: 0.8 * self.session.beliefs.gain(n, "hand").mean for n in NOTES}

    def strike(self, bottle: str | None = None) -> Strike:
        self.now_s += 3.0
        bottle = bottle or self.session.instruction.bottle
        assert bottle is not None
        heard = self.session.strike(self.now_s, Reading(self.hz[bottle], 1.0))
        assert heard is not None
        return heard

    def pump(self, bottle: str, strokes: float) -> None:
        self.now_s += abs(strokes)
        self.hz[bottle] = math.sqrt(max(1.0, self.hz[bottle] ** 2 + strokes * self.gain_hz2[bottle]))

    def obey(self) -> Strike:
        """Do what is asked, press no key, strike."""
        told = self.session.instruction
        while told.act == "gauge" and told.bottle:
            self.session.gauge(self.gauge_psi(told.bottle), self.now_s, told.bottle)
            told = self.session.instruction
        if told.strokes and told.bottle:
            self.pump(told.bottle, told.strokes)
        return self.strike()

    def gauge_psi(self, bottle: str) -> float:
        """What a gauge reads: of a bottle as is usual for its note."""
        target_hz = self.rig.target_hz(bottle)
        return kpa_to_psi(
            prior_shell(target_hz, self.rig.bottle(bottle).note.midi).gauge_kpa(self.hz[bottle])
        )

    def run(self, most: int = 200) -> None:
        for _ in range(most):
            told = self.session.instruction
            if told.act == "none":
                return
            if told.act == "wait":
                self.now_s += 15.0
                self.session.tick(self.now_s)
            else:
                self.obey()
        raise AssertionError(f"the round did not end: {self.session.instruction}")

    def events(self, kind: type[Event]) -> list[Event]:
        return [e for _, e in self.log.events() if isinstance(e, kind)]

    def off(self, bottle: str) -> float:
        return 1200.0 * math.log2(self.hz[bottle] / self.rig.target_hz(bottle))


@pytest.fixture
def bench() -> Bench:
    made = Bench({"C4": -35.0, "E4": 28.0, "A4": -60.0})
    made.session.open_round(made.now_s, downbeat_s=made.now_s + 600.0)
    return made


def test_a_round_is_completed_with_no_key_pressed(bench: Bench) -> None:
    bench.run()
    assert all(abs(bench.off(n)) <= 10.0 for n in NOTES)
    assert bench.session.instruction.headline == "In tune"
    assert not bench.session.day.pump_on


def test_bottles_in_tune_are_left_alone(bench: Bench) -> None:
    bench.run()
    touched = {e.bottle for e in bench.events(AirMoved)}  # type: ignore[attr-defined]
    assert touched == {"C4", "E4", "A4"}


def test_a_sharp_bottle_is_let_down_by_the_pin_without_a_connection(bench: Bench) -> None:
    bench.run()
    assert "E4" not in {e.bottle for e in bench.events(Connected)}  # type: ignore[attr-defined]
    assert all(e.pump is None for e in bench.events(AirMoved) if e.bottle == "E4")  # type: ignore[attr-defined]


def test_what_the_hands_did_is_told_from_the_strikes_and_marked_as_assumed(bench: Bench) -> None:
    bench.run()
    acts = [*bench.events(Connected), *bench.events(AirMoved), *bench.events(Disconnected)]
    assert acts
    assert all(e.assumed for e in acts)  # type: ignore[attr-defined]


def test_a_strike_before_the_pumping_is_not_taken_for_pumping(bench: Bench) -> None:
    while bench.session.instruction.act == "strike":
        bench.strike()
    told = bench.session.instruction
    assert told.act == "connect"
    bench.strike()
    assert bench.session.round is not None
    assert bench.session.round.connections == 0
    assert bench.session.instruction.act == "connect"


def test_another_bottles_strike_is_recognised_and_not_believed(bench: Bench) -> None:
    while bench.session.instruction.act == "strike":
        bench.strike()
    target = bench.session.instruction.bottle
    other = "G4" if target != "G4" else "C5"
    before = bench.session.beliefs.level(other, bench.now_s)
    told = bench.session.instruction
    assert bench.strike(other).verdict == "other_bottle"
    again = bench.session.instruction
    assert (again.act, again.bottle, again.strokes) == ("strike", told.bottle, None)
    assert bench.session.beliefs.level(other, bench.now_s).mean == pytest.approx(before.mean, abs=0.5)
    assert other in bench.session.ear_words


def test_a_neighbour_that_no_piece_needs_and_nobody_heard_is_not_taken_for_the_target() -> None:
    """Taken for the target at once, it sent a bottle a tone and a half down: the tool let out air for a
    pitch that was never the target's. So no air is asked for before a second strike."""
    piece = Piece("one note", {parse_note("C4"): 1.0})
    made = Bench({"C4": -12.0, "D4": -4.0}, replace(rig(), pieces=(piece,)))
    made.session.open_round(made.now_s, pieces=["one note"])
    while made.session.instruction.act == "strike":
        made.strike()
    made.strike("D4")
    told = made.session.instruction
    assert (told.act, told.bottle, told.strokes) == ("strike", "C4", None)
    made.run()
    assert abs(made.off("C4")) <= 10.0


def test_a_bottle_believed_far_off_is_found_again_when_the_player_insists(bench: Bench) -> None:
    """The ear calls it another bottle's, for it is outside the band; nobody else sounds there."""
    while bench.session.instruction.act == "strike":
        bench.strike()
    target = bench.session.instruction.bottle
    assert target is not None
    lost = Reading(shifted_hz(bench.rig.target_hz(target), -430.0), 1.0, "other_bottle")
    refused = bench.session.strike(bench.now_s + 1.0, lost)
    assert refused is not None
    assert refused.verdict == "other_bottle"
    believed = bench.session.strike(bench.now_s + 2.0, lost)
    assert believed is not None
    assert (believed.bottle, believed.verdict) == (target, "clear")


def test_keys_override_the_strikes(bench: Bench) -> None:
    first = bench.session.instruction.bottle
    bench.session.skip(bench.now_s)
    second = bench.session.instruction.bottle
    assert second != first
    bench.session.back(bench.now_s)
    assert bench.session.instruction.bottle == first
    bench.strike()
    bench.session.repeat(bench.now_s)
    assert bench.session.instruction.act == "strike"


def test_air_told_by_hand_is_not_assumed_again(bench: Bench) -> None:
    while bench.session.instruction.act == "strike":
        bench.strike()
    told = bench.session.instruction
    assert told.bottle is not None
    assert told.strokes is not None
    bench.session.pump(True, bench.now_s)
    bench.session.air(told.strokes, bench.now_s)
    bench.pump(told.bottle, told.strokes)
    afterwards = bench.session.instruction
    assert afterwards.act == "strike"
    assert bench.strike().pump_on
    assert len(bench.events(AirMoved)) == 1
    assert len(bench.events(Connected)) == 1


@pytest.mark.slow
@pytest.mark.parametrize("stop_after", range(0, 40, 3))
def test_a_killed_session_stands_where_it_stood(bench: Bench, stop_after: int) -> None:
    for _ in range(stop_after):
        if bench.session.instruction.act in ("none", "wait"):
            break
        bench.obey()
    again = Session(bench.rig, MemoryJournal(e for _, e in bench.log.events()), bench.now_s)
    assert again.record.resumed
    assert again.instruction == bench.session.instruction
    assert again.round == bench.session.round


def test_a_checkpoint_changes_nothing_but_the_time_it_takes(bench: Bench) -> None:
    bench.run()
    bench.session.close_round(bench.now_s)
    bench.session.record.keep_checkpoint()
    events = [e for _, e in bench.log.events()]
    from_checkpoint = Session(bench.rig, bench.log, bench.now_s)
    in_full = Session(bench.rig, MemoryJournal(events), bench.now_s)
    assert from_checkpoint.day == in_full.day
    for n in NOTES:
        assert from_checkpoint.beliefs.level(n, bench.now_s) == in_full.beliefs.level(n, bench.now_s)


def test_what_another_program_writes_meanwhile_is_taken_in(bench: Bench) -> None:
    bench.strike()
    bench.log.append(Replaced(at_s=bench.now_s, bottle="C4", part="cap"))
    assert bench.session.beliefs.heard("C4")
    bench.session.note("the cap of C4 is new", bench.now_s)
    assert not bench.session.beliefs.heard("C4")


def test_time_running_backwards_is_no_time_passed(bench: Bench) -> None:
    bench.strike()
    last_s = max(e.at_s for _, e in bench.log.events())
    bench.session.tick(bench.now_s - 5000.0)
    bench.now_s -= 5000.0
    bench.strike()
    assert all(e.at_s >= last_s for _, e in list(bench.log.events())[-1:])


def test_above_its_ceiling_no_air_is_advised_and_the_round_goes_on() -> None:
    low = Bench({"G4": -80.0}, rig(ceiling_kpa=100.0))
    low.session.open_round(low.now_s)
    while low.session.instruction.act == "strike":
        low.strike()
    assert low.session.instruction.act == "gauge"
    low.session.gauge_typed("none", low.now_s)
    told = low.session.instruction
    assert (told.act, told.bottle) == ("none", "G4")
    assert "psi" in told.why
    low.session.tick(low.now_s + 11.0)
    skipped = low.events(Skipped)
    assert [e.bottle for e in skipped] == ["G4"]  # type: ignore[attr-defined]
    assert not low.events(AirMoved)


def test_the_head_of_a_bottle_left_out_comes_off_whatever_was_believed_of_it() -> None:
    """Its strike is waited for, though two bottles are believed to sound where it does."""
    bench = Bench({"C4": -60.0})
    bench.session.open_round(bench.now_s)
    while bench.session.instruction.act != "connect":
        bench.strike()
    bench.session.pump(True, bench.now_s)
    bench.session.skip(bench.now_s)
    assert (bench.session.instruction.act, bench.session.instruction.bottle) == ("disconnect", "C4")
    bench.hz["C4"] = shifted_hz(bench.rig.target_hz("C4"), 90.0)  # the gauge slipped: near D4, but not D4
    for _ in range(3):
        if bench.session.day.pump_on is not None:
            bench.strike("C4")
    assert bench.session.day.pump_on is None
    assert bench.session.instruction.bottle != "C4"


def test_a_gauge_that_shows_the_ceiling_is_believed_over_the_estimate() -> None:
    made = Bench({"G4": -40.0})
    made.session.open_round(made.now_s)
    made.session.gauge(79.9, made.now_s, "G4")
    while made.session.instruction.act == "strike":
        made.strike()
    assert made.session.instruction.act == "none"
    assert "limit" in made.session.instruction.why


def test_bass_is_warned_of_and_approached_from_below() -> None:
    base = rig(group="bass", tolerance_cents=10.0)
    made = Bench({"C4": -90.0}, base)
    made.session.open_round(made.now_s)
    while made.session.instruction.act == "strike":
        made.strike()
    told = made.session.instruction
    assert told.act == "connect"
    assert told.strokes is not None
    hz2_needed = made.rig.target_hz("C4") ** 2 - made.hz["C4"] ** 2
    assert told.strokes < hz2_needed / made.session.beliefs.gain("C4", "hand").mean


@pytest.mark.slow
def test_a_bottle_that_does_not_hold_cannot_eat_the_round(bench: Bench) -> None:
    """C4 loses 60 cents as the head comes off; the others are tuned all the same."""
    for _ in range(200):
        told = bench.session.instruction
        if told.act == "none":
            break
        if told.act == "wait":
            bench.now_s += 15.0
            bench.session.tick(bench.now_s)
            continue
        if told.bottle == "C4" and told.act == "disconnect":
            bench.hz["C4"] *= 2.0 ** (-60.0 / 1200.0)
        bench.obey()
    state = bench.session.round
    assert state is not None
    assert state.skipped == {"C4": "does not hold: see health"}
    assert sum(e.bottle == "C4" for e in bench.events(Connected)) <= 4  # type: ignore[attr-defined]
    assert all(abs(bench.off(n)) <= 10.0 for n in NOTES if n != "C4")


def test_who_goes_back_to_a_bottle_that_does_not_hold_may_try_again(bench: Bench) -> None:
    state = bench.session.round
    assert state is not None
    for at_s in range(4):
        state = advance(state, Connected(at_s=float(at_s), bottle="C4", pump="hand"))
    assert state.connected == {"C4": 4}
    assert advance(state, SteppedBack(at_s=5.0, bottle="C4")).connected == {}


def test_a_take_is_silent_and_logged_with_what_was_foreseen(bench: Bench) -> None:
    bench.run()
    bench.session.close_round(bench.now_s)
    bench.session.start_take(bench.now_s)
    heard = bench.session.strike(bench.now_s + 1.0, Reading(bench.hz["C4"], 1.0))
    assert heard is None
    bench.session.stop_take(bench.now_s + 300.0)
    (started,), (stopped,) = bench.events(TakeStarted), bench.events(TakeStopped)
    assert started.take == stopped.take == "take 1"  # type: ignore[attr-defined]
    assert stopped.worst_cents is not None  # type: ignore[attr-defined]


def test_listening_in_play_is_off_at_first_and_then_believes_only_one_clear_bottle(bench: Bench) -> None:
    bench.run()
    bench.session.close_round(bench.now_s)
    assert bench.session.strike(bench.now_s + 1.0, Reading(bench.hz["C4"], 1.0)) is None
    bench.session.listen_in_play = True
    played = bench.session.strike(bench.now_s + 2.0, Reading(bench.hz["C4"], 1.0))
    assert played is not None
    assert played.bottle == "C4"
    between = shifted_hz(bench.rig.target_hz("C4"), 100.0)
    assert bench.session.strike(bench.now_s + 3.0, Reading(between, 1.0)) is None


def test_a_round_closes_at_the_downbeat_with_its_figures(bench: Bench) -> None:
    bench.run()
    assert bench.session.round is not None
    bench.session.tick(START_S + 601.0)
    (closed,) = bench.events(RoundClosed)
    assert bench.session.round is None
    assert closed.finished
    assert closed.in_tune == closed.needed == len(NOTES)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda s: s.strike(1.0, Reading(-3.0, 1.0)),
        lambda s: s.strike(1.0, Reading(math.nan, 1.0)),
        lambda s: s.strike(1.0, Reading(440.0, -1.0)),
        lambda s: s.air(math.inf, 1.0),
        lambda s: s.temperature(400.0, 1.0),
        lambda s: s.gauge(-1.0, 1.0, "C4"),
        lambda s: s.gauge(10.0, 1.0, "H9"),
        lambda s: s.open_round(1.0),
        lambda s: s.tick(math.nan),
        lambda s: s.back(1.0),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence_and_nothing_is_journalled(
    bench: Bench, wrong: object
) -> None:
    before = bench.log.last_id
    with pytest.raises(BadInput):
        wrong(bench.session)  # type: ignore[operator]
    assert bench.log.last_id == before


@pytest.mark.slow
def test_advice_that_goes_in_circles_costs_one_bottle_and_not_the_session(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    circle = Sent(at_s=bench.now_s, bottle="D4", purpose="visit")
    with monkeypatch.context() as patch:
        patch.setattr("rounds.guide.advice.next_step", lambda _now: circle)
        bench.strike("C4")
    assert [e.bottle for e in bench.events(Skipped)] == ["D4"]  # type: ignore[attr-defined]
    bench.session.tick(bench.now_s + 1.0)
    assert bench.session.instruction.act == "strike"


def test_a_piece_that_the_rig_lacks_is_named() -> None:
    made = Bench({})
    with pytest.raises(BadInput, match="no piece 'Foghorn'"):
        made.session.open_round(made.now_s, pieces=("Foghorn",))


def message(bench: Bench) -> str:
    return Viewer(bench.session).view(bench.now_s).message


def floating_rig(fixed_by: str | None) -> Rig:
    piece = Piece("Slow Ferry", {parse_note(n): 1.0 for n in NOTES}, fixed_by=fixed_by)
    reference = Reference(floating=True, low_cents=-20.0, high_cents=20.0)
    return replace(rig(), reference=reference, pieces=(piece,))


def test_a_floating_reference_is_shown_with_what_it_saves() -> None:
    bench = Bench(dict.fromkeys(NOTES, -14.0), floating_rig(None))
    bench.session.open_round(bench.now_s, pieces=["Slow Ferry"])
    bench.run()
    view = Viewer(bench.session).view(bench.now_s)
    assert view.shift_cents < -5.0
    assert view.shift_saves == len(NOTES)
    assert "saves 6 connections" in " ".join(progress(view))
    assert any("saves 6" in fact.value for fact in round_strip(view, Level(None, None, "off", "")).facts)
    assert view.message == ""


def test_a_backing_track_refuses_the_floating_reference_and_the_faces_say_why() -> None:
    bench = Bench(dict.fromkeys(NOTES, -14.0), floating_rig("backing track harbour loop"))
    bench.session.open_round(bench.now_s, pieces=["Slow Ferry"])
    assert message(bench) == "A4 stays where it is: backing track harbour loop fixes the pitch."
    bench.run()
    assert bench.session.day.shift_cents == 0.0


def test_too_little_time_is_said_before_anything_was_heard_and_again_when_it_is_known() -> None:
    bench = Bench(dict.fromkeys(NOTES, -40.0))
    bench.session.open_round(bench.now_s, downbeat_s=bench.now_s + 70.0)
    assert message(bench).startswith("Time may be short. ")
    assert "unheard" in message(bench)
    while bench.session.instruction.act == "strike":
        view = Viewer(bench.session).view(bench.now_s)
        assert view.tally.to_do == max((b.place_in_path or 0 for b in view.bottles), default=0)
        assert not [b.id for b in view.bottles if b.state == "left_out" and b.to_do]
        bench.strike()
    assert message(bench).startswith("Time is short. Left out: ")
    named = message(bench)
    bench.session.close_round(bench.now_s)
    bench.session.open_round(bench.now_s, downbeat_s=bench.now_s + 50.0)
    assert message(bench).startswith("Time is short. Left out: "), named


def test_few_guessed_losses_are_no_alarm_before_a_third_was_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Said in the first second and gone after three strikes, it was false, and told against the header."""
    bench = Bench(dict.fromkeys(NOTES, -40.0))
    bench.session.open_round(bench.now_s, downbeat_s=bench.now_s + 70.0)
    plan = bench.session.plan()
    monkeypatch.setattr(bench.session, "plan", lambda: replace(plan, sacrificed=("C5",)))
    assert message(bench) == ""
    bench.strike()
    assert message(bench) == ""
    bench.strike()
    assert message(bench) == "Time may be short. 1 unheard may be left out."


def test_a_slip_of_skip_after_hearing_again_is_taken_back() -> None:
    bench = Bench({})
    bench.session.open_round(bench.now_s)
    first = bench.session.instruction.bottle
    for act in (bench.session.repeat, bench.session.repeat, bench.session.skip):
        act(bench.now_s)
    second = bench.session.instruction.bottle
    assert second != first
    bench.session.skip(bench.now_s)
    bench.session.back(bench.now_s)
    assert bench.session.instruction.bottle == second
    bench.session.back(bench.now_s)
    assert bench.session.instruction.bottle == first
    assert bench.session.round is not None
    assert first in bench.session.round.needed


def test_an_empty_bottle_is_taken_at_its_second_strike_and_pumped() -> None:
    # No pressure leaves the share of the stiffness that needs none: 600 log2(0.3) = -1042 cents.
    bench = Bench({"C4": -1042.0})
    bench.session.open_round(bench.now_s)
    while bench.session.instruction.bottle != "C4":
        bench.strike()
    assert bench.strike().verdict == "other_bottle"
    assert bench.session.ear_words == "that is very low for C4; if C4 is empty, strike it again"
    heard = bench.strike()
    assert (heard.bottle, heard.verdict) == ("C4", "clear")
    while bench.session.instruction.act == "strike":
        bench.strike()
    told = bench.session.instruction
    assert (told.act, told.bottle) == ("connect", "C4")
    assert told.strokes is not None
    assert told.strokes > 1.0


def test_a_pitch_more_than_an_octave_under_is_never_the_bottle() -> None:
    bench = Bench({"C4": -1250.0})
    bench.session.open_round(bench.now_s)
    while bench.session.instruction.bottle != "C4":
        bench.strike()
    verdicts = []
    for _ in range(60):
        told = bench.session.instruction
        if told.act == "none":
            break
        heard = bench.obey()
        if told.bottle == "C4":
            verdicts.append(heard.verdict)
    assert verdicts == ["other_bottle"] * 5
    assert bench.session.round is not None
    assert bench.session.round.skipped == {"C4": "not told after 5 strikes: flat bottle? Pump 3, then strike"}


def test_after_a_strike_that_was_not_clear_no_air_is_asked_for_again(bench: Bench) -> None:
    """The air is in already: pumping once more would be twice too much. The next strike shows it."""
    while bench.session.instruction.act != "connect":
        bench.obey()
    told = bench.session.instruction
    assert told.bottle is not None
    assert told.strokes is not None
    bench.pump(told.bottle, told.strokes)
    bench.session.strike(bench.now_s + 1.0, Reading(None, None, "unclear", "the room blurs it"))
    assert (bench.session.instruction.act, bench.session.instruction.bottle) == ("strike", told.bottle)
    assert bench.session.instruction.strokes is None
    bench.strike()
    moved = bench.events(AirMoved)[-1]
    assert isinstance(moved, AirMoved)
    assert moved.strokes == told.strokes
    assert bench.session.instruction.act in ("disconnect", "add")


@pytest.mark.parametrize("struck", ["C4", "D4"])
def test_back_with_the_head_still_on_takes_the_strike_of_either_bottle(struck: str) -> None:
    """The order is to take the head off C4 and strike it; who goes straight back to D4 did that too."""
    bench = Bench({"C4": -60.0, "D4": -40.0})
    bench.session.open_round(bench.now_s)
    while bench.session.instruction.act == "strike":
        bench.strike()
    bench.session.pump(True, bench.now_s)
    here = bench.session.instruction.bottle
    assert here is not None
    bench.session.back(bench.now_s)
    told, target = bench.session.instruction, bench.session.round.target  # type: ignore[union-attr]
    assert (told.act, told.bottle) == ("disconnect", here)
    assert target is not None
    assert target != here
    heard = bench.session.strike(bench.now_s, Reading(bench.hz[here if struck == "C4" else target], 1.0))
    assert heard is not None
    assert heard.bottle == (here if struck == "C4" else target)
    assert bench.session.day.pump_on is None
    assert bench.session.instruction.act != "disconnect"


def test_a_stroke_told_with_the_pump_off_puts_it_on() -> None:
    bench = Bench({"C4": -60.0})
    bench.session.open_round(bench.now_s)
    asked = bench.session.instruction
    assert asked.act == "strike"
    bench.session.air(1.0, bench.now_s)
    assert bench.session.day.pump_on == asked.bottle
    assert (bench.session.instruction.act, bench.session.instruction.bottle) == ("strike", asked.bottle)
    assert bench.session.instruction.why == "let's hear what that did"


def test_no_round_is_due_for_a_bottle_that_was_skipped() -> None:
    """It was left out on purpose; the countdown, the counts and the list must not call for it at once."""
    bench = Bench({"C4": -60.0})
    bench.session.open_round(bench.now_s)
    while bench.session.instruction.act == "strike":
        bench.strike()
    assert bench.session.instruction.bottle == "C4"
    bench.session.skip(bench.now_s)
    bench.session.close_round(bench.now_s)
    assert bench.session.day.skipped == ("C4",)
    due = bench.session.due(bench.now_s)
    assert "C4" not in due.doubtful
    assert due.due_s is None or due.due_s > bench.now_s
    shown = {b.id: b.state for b in Viewer(bench.session).view(bench.now_s).bottles}
    assert shown["C4"] == "left_out"
    bench.session.open_round(bench.now_s)
    assert not bench.session.day.skipped


@pytest.mark.parametrize(("strokes", "said"), [(0.125, "wants_air"), (-0.5, "too_full"), (None, "too_full")])
def test_a_bottle_that_is_given_air_is_not_called_too_full(strokes: float | None, said: str) -> None:
    """What settles back is pumped beforehand: a bottle that sounds high may want a little more."""
    told = Instruction("add", "C4", "hand", strokes, None, "", "")
    viewer = Viewer(cast("Session", SimpleNamespace(instructions=(told,))))
    assert viewer._as_ordered("C4", "too_full") == said
    assert viewer._as_ordered("C4", "holds") == "holds"
    assert viewer._as_ordered("D4", "too_full") == "too_full"
