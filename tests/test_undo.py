"""Taking back: the typed slip is as if it had never been, and the air that a strike showed still counts."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.belief.state import checkpoint_name, keep, to_bytes
from rounds.errors import BadInput
from rounds.events import (
    AirMoved,
    Connected,
    Disconnected,
    Gauge,
    NoteWritten,
    Replaced,
    Strike,
    TakenBack,
    Temperature,
)
from rounds.faces.lines import Lines
from rounds.faces.live import Live
from rounds.faces.plainface import PlainFace
from rounds.hearing.reading import Reading
from rounds.importing import import_file
from rounds.journal import Journal, MemoryJournal
from rounds.journal.care import check
from rounds.notes import shifted_hz
from rounds.report.logbook import Filter
from rounds.report.tables import write_csv, write_json, write_lines, write_table
from rounds.rig import Pump, Rig
from rounds.sessions import resuming
from rounds.sessions.session import Session
from rounds.wording.events import sentence
from tests.test_session import NOTES, Bench, rig

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NOW_S = 1.8e9
OFF = {"C4": -35.0, "E4": 28.0, "A4": -60.0}
Doing = tuple[str, float]


def in_a_round(struck: int = 8) -> Bench:
    made = Bench(OFF)
    made.session.open_round(made.now_s)
    for _ in range(struck):
        made.obey()
    return made


def believed(session: Session) -> dict[str, object]:
    """Everything that is believed, but the time of the newest event."""
    document = json.loads(to_bytes(session.beliefs))
    del document["latest_s"]
    return dict(document)


def standing(session: Session) -> tuple[object, ...]:
    day = session.day
    asked = [(told.act, told.bottle, told.strokes) for told in session.instructions]
    rounds = (day.round,) if day.people is None else day.people.rounds
    return believed(session), rounds, day.heads, day.temp_c, day.reading, asked


SLIPS: list[tuple[Callable[[Session, float], object], str]] = [
    (lambda s, t: s.air(6.0, t), "6 strokes into C4"),
    (lambda s, t: s.air(-1.0, t), "1 stroke out of C4"),
    (lambda s, t: s.temperature(12.0, t), "air at 12 °C"),
    (lambda s, t: s.gauge(75.0, t, "G4"), "75 psi in G4"),
    (lambda s, t: s.pump(True, t), "pump on C4"),
    (lambda s, t: s.skip(t), "leaving C4 out"),
    (lambda s, t: s.repeat(t), "going back to C4"),
    (lambda s, t: s.replaced("G4", "cap", t), "a new cap for G4"),
    (lambda s, t: s.note("cap hisses", t, "G4"), "the note “cap hisses”"),
    (lambda s, t: s.strike(t, Reading(262.0, 1.0)), "the strike of C4"),
]


@pytest.mark.parametrize(("slip", "words"), SLIPS, ids=[words for _, words in SLIPS])
def test_a_slip_is_taken_back_and_named(slip: Callable[[Session, float], object], words: str) -> None:
    made = in_a_round(6)
    before, air = standing(made.session), made.session.day.air
    assert made.session.instruction.bottle == "C4"
    slip(made.session, made.now_s)
    assert made.session.undo(made.now_s) == words
    if "strike" in words:
        assert standing(made.session)[:-1] == before[:-1]
        assert made.session.instruction.act == "strike"
    else:
        assert (standing(made.session), made.session.day.air) == (before, air)
    told = made.events(TakenBack)[-1]
    assert isinstance(told, TakenBack)
    assert told.words == words


def test_what_was_taken_back_stays_in_the_journal() -> None:
    made = in_a_round()
    made.session.air(6.0, made.now_s)
    length = made.log.last_id
    made.session.undo(made.now_s)
    assert made.log.last_id == length + 1
    assert [e.strokes for e in made.events(AirMoved)][-1] == 6.0  # type: ignore[attr-defined]


def test_again_goes_further_back_and_ends_at_the_opening_of_the_round() -> None:
    made = Bench(OFF)
    made.session.open_round(made.now_s)
    stood = [standing(made.session)]
    for _ in range(12):
        told = made.session.instruction
        if told.act == "gauge" and told.bottle is not None:
            made.session.gauge(made.gauge_psi(told.bottle), made.now_s)
        else:
            made.obey()
        stood.append(standing(made.session))
    for before in reversed(stood[:-1]):
        made.session.undo(made.now_s)
        assert standing(made.session)[1:-1] == before[1:-1]
    with pytest.raises(BadInput, match="Nothing to take back"):
        made.session.undo(made.now_s)
    assert made.session.round is not None


def test_nothing_is_taken_back_across_a_closed_round_or_a_start() -> None:
    made = in_a_round()
    made.session.close_round(made.now_s)
    with pytest.raises(BadInput, match="Nothing to take back"):
        made.session.undo(made.now_s)
    made.session.temperature(12.0, made.now_s)
    again = Session(made.rig, made.log, made.now_s)
    with pytest.raises(BadInput, match="Nothing to take back"):
        again.undo(made.now_s)


def test_between_rounds_a_wrong_temperature_is_taken_back() -> None:
    made = Bench({})
    made.session.temperature(21.0, made.now_s)
    made.session.temperature(12.0, made.now_s + 5.0)
    made.session.undo(made.now_s + 6.0)
    assert made.session.day.temp_c == 21.0
    assert made.session.beliefs.temp_c == pytest.approx(21.0)


def test_a_running_take_is_left_alone() -> None:
    made = Bench({})
    made.session.temperature(21.0, made.now_s)
    made.session.start_take(made.now_s)
    with pytest.raises(BadInput, match="take runs"):
        made.session.undo(made.now_s)
    made.session.stop_take(made.now_s + 60.0)
    made.session.undo(made.now_s + 61.0)
    assert made.session.day.takes == 1
    assert made.session.day.temp_c is None


def test_what_others_told_meanwhile_stays() -> None:
    made = in_a_round()
    made.session.air(6.0, made.now_s)
    made.session.temperature(23.5, made.now_s, "thermometer")
    made.log.append(NoteWritten(at_s=made.now_s, text="from another terminal"))
    made.session.undo(made.now_s)
    assert made.session.day.temp_c == 23.5
    gone = made.log.taken_back()
    kept = [event for number, event in made.log.events() if number not in gone]
    assert any(isinstance(e, NoteWritten) for e in kept)
    assert any(isinstance(e, Temperature) for e in kept)
    assert not any(isinstance(e, AirMoved) and not e.assumed for e in kept)


def test_an_undo_in_another_window_is_believed_in_this_one(tmp_path: Path) -> None:
    """What this session has believed already must go again: one folded anew from the journal agrees."""
    made = in_a_round()
    made.session.temperature(12.0, made.now_s, "thermometer")
    slip = made.log.last_id
    made.session.temperature(24.0, made.now_s + 1.0, "thermometer")
    made.session.tick(made.now_s + 2.0)
    taken = TakenBack(at_s=made.now_s + 3.0, sums=made.log.sums([slip]), words="air at 12 °C", bottle=None)
    made.log.append(taken)
    made.session.note("anything", made.now_s + 4.0)
    again = Session(made.rig, made.log, made.now_s + 4.0)
    assert believed(made.session) == believed(again)


def test_two_events_alike_are_taken_back_one_after_the_other(tmp_path: Path) -> None:
    """The same six strokes told twice at one moment: the second taking back means the one that is left."""
    six = AirMoved(at_s=1000.0, bottle="C4", pump="hand", strokes=6.0)
    with Journal(tmp_path / "j.db") as log:
        log.append_many([six, six])
        for number in (1, 2):
            (check_sum,) = log.sums([number])
            log.append(TakenBack(at_s=1001.0, sums=(check_sum,), words="6 strokes into C4", bottle="C4"))
        assert log.taken_back() == {1, 2}


def test_a_strike_that_was_not_clear_goes_with_the_act_before_it() -> None:
    made = in_a_round()
    before = standing(made.session)
    made.session.air(6.0, made.now_s)
    made.session.strike(made.now_s + 2.0, Reading(None, None, "quiet"))
    assert made.session.undo(made.now_s + 3.0) == "6 strokes into C4"
    assert standing(made.session)[1:] == before[1:]


def test_a_start_after_it_finds_the_same_day() -> None:
    made = in_a_round()
    made.session.air(6.0, made.now_s)
    made.strike()
    made.session.undo(made.now_s)
    made.session.undo(made.now_s)
    again = Session(made.rig, MemoryJournal(e for _, e in made.log.events()), made.now_s)
    assert believed(again) == believed(made.session)
    assert (again.day.round, again.day.air) == (made.session.day.round, made.session.day.air)


# The guard at the ceiling


def most_in(made: Bench, bottle: str) -> float:
    """Strokes that may have gone in since the bottle was heard last."""
    return made.session.day.air[bottle].most if bottle in made.session.day.air else 0.0


def test_the_guard_forgets_a_typed_slip_and_no_other_air() -> None:
    made = in_a_round(6)
    bottle = made.session.instruction.bottle
    assert bottle is not None
    made.session.air(2.0, made.now_s)
    two = most_in(made, bottle)
    made.session.air(60.0, made.now_s)
    assert most_in(made, bottle) > 10.0 * two
    made.session.undo(made.now_s)
    assert most_in(made, bottle) == two > 0.0


def test_the_guard_keeps_the_air_that_a_strike_showed_though_the_strike_is_taken_back() -> None:
    """The strike may have been another bottle's; the air it spoke of may have gone in all the same."""
    made = Bench(OFF)
    made.session.open_round(made.now_s)
    while made.session.instruction.act != "connect":
        made.obey()
    bottle, state = made.session.instruction.bottle, made.session.round
    asked = made.session.instruction.strokes
    assert bottle is not None
    made.obey()
    shown = made.session.day.air[bottle].fills[-1]
    assert shown.at_most == asked
    made.session.undo(made.now_s)
    assert most_in(made, bottle) == asked
    assert made.session.round == state
    # It may be in: no more is asked for, and the next strike that shows it shows the same air.
    told = made.session.instruction
    assert (told.act, told.bottle, told.strokes) == ("strike", bottle, None)
    made.strike()
    assert made.session.day.air[bottle].fills[-1].at_most == asked
    assert made.session.instruction.bottle == bottle or made.session.instruction.act != "connect"
    again = Session(made.rig, MemoryJournal(e for _, e in made.log.events()), made.now_s)
    assert again.day.air == made.session.day.air


def test_a_gauge_read_before_unknown_air_waits_for_a_strike_after_that_was_taken_back() -> None:
    log = MemoryJournal()
    gauge, moved = (
        Gauge(at_s=1001.0, bottle="C4", gauge_kpa=200.0),
        AirMoved(at_s=1002.0, bottle="C4", pump=None, strokes=None, assumed=True),
    )
    log.append_many((gauge, moved))
    log.append(TakenBack(at_s=1003.0, sums=log.sums((log.last_id,)), words="the strike of C4", bottle="C4"))
    air = Session(rig(), log, 1004.0).day.air["C4"]
    assert (air.read_kpa, air.readings) == (200.0, ())


def test_air_let_out_by_a_strike_taken_back_counts_as_still_in() -> None:
    made = Bench({"C4": 40.0})
    made.session.open_round(made.now_s)
    made.session.pump(True, made.now_s)
    made.session.air(3.0, made.now_s)
    made.session.pump(False, made.now_s)
    while made.session.instruction.act != "release":
        made.obey()
    bottle = made.session.instruction.bottle
    assert bottle is not None
    before = made.session.day.air[bottle]
    made.obey()
    made.session.undo(made.now_s)
    assert made.session.day.air[bottle] == before


# Any sequence

DOINGS = st.one_of(
    st.tuples(st.just("obey"), st.just(0.0)),
    st.tuples(st.just("strike"), st.floats(-60.0, 60.0)),
    st.tuples(st.just("unclear"), st.just(0.0)),
    st.tuples(st.just("air"), st.sampled_from([-1.0, 0.6, 2.0, 6.0])),
    st.tuples(st.just("temp"), st.floats(5.0, 35.0)),
    st.tuples(st.just("gauge"), st.floats(0.0, 100.0)),
    st.tuples(st.just("on"), st.just(0.0)),
    st.tuples(st.just("off"), st.just(0.0)),
    st.tuples(st.just("skip"), st.just(0.0)),
    st.tuples(st.just("back"), st.just(0.0)),
    st.tuples(st.just("repeat"), st.just(0.0)),
    st.tuples(st.just("replaced"), st.integers(0, len(NOTES) - 1).map(float)),
    st.tuples(st.just("note"), st.just(0.0)),
    st.tuples(st.just("hand"), st.sampled_from([0.0, 1.0])),
)


def two_pumps() -> Rig:
    """The bench with a pump for each of two people."""
    one = rig()
    bottles = tuple(replace(b, pump="foot") if n % 2 else b for n, b in enumerate(one.bottles))
    return replace(one, bottles=bottles, pumps=(*one.pumps, Pump("foot", 120.0)))


def do(session: Session, doing: Doing, now_s: float) -> bool:
    """Do one thing; whether that was an act, which a strike is where it was understood, or shows the head."""
    what, number = doing
    bottle = session.instruction.bottle or "C4"
    acts: dict[str, Callable[[], object]] = {
        "obey": lambda: session.strike(now_s, Reading(_as_told(session, bottle), 1.0)),
        "strike": lambda: session.strike(
            now_s, Reading(shifted_hz(session.rig.target_hz(bottle), number), 1.5)
        ),
        "unclear": lambda: session.strike(now_s, Reading(None, None, "unclear")),
        "air": lambda: session.air(number, now_s),
        "temp": lambda: session.temperature(number, now_s),
        "gauge": lambda: session.gauge(number, now_s, bottle),
        "on": lambda: session.pump(True, now_s),
        "off": lambda: session.pump(False, now_s),
        "skip": lambda: session.skip(now_s),
        "back": lambda: session.back(now_s),
        "repeat": lambda: session.repeat(now_s),
        "replaced": lambda: session.replaced(NOTES[int(number)], "cap", now_s),
        "note": lambda: session.note("x", now_s),
        "hand": lambda: setattr(session, "hand", int(number)),
    }
    length = session.record.log.last_id
    try:
        heard = acts[what]()
    except BadInput:
        return False
    new = [e for event_id, e in session.record.log.events() if event_id > length]
    shows = any(isinstance(e, Connected | Disconnected) for e in new)
    return bool(new) and (not isinstance(heard, Strike) or heard.verdict == "clear" or shows)


def _as_told(session: Session, bottle: str) -> float:
    """The pitch that a bottle would have if the advised air went in."""
    level, strokes = session.beliefs.level(bottle, session.now_s), session.instruction.strokes or 0.0
    hz = shifted_hz(session.rig.target_hz(bottle), level.mean)
    pump = session.rig.bottle(bottle).pump
    return float((hz**2 + strokes * session.beliefs.gain(bottle, pump).mean) ** 0.5)


@pytest.mark.slow
@settings(deadline=None, max_examples=30)
@given(
    st.lists(DOINGS, max_size=8),
    st.lists(DOINGS, min_size=1, max_size=4),
    st.lists(DOINGS, max_size=4),
    st.sampled_from([0, 1, 2]),
)
def test_any_acts_and_as_many_undone_are_as_if_they_had_never_been(
    before: list[Doing], slips: list[Doing], after: list[Doing], people: int
) -> None:
    """Two twins do the same; one does some more at a time and takes it back. No one can tell them apart."""
    the_rig = two_pumps()
    twin, other = (Session(the_rig, MemoryJournal(), 1000.0) for _ in range(2))
    now_s = 1000.0
    for session in (twin, other):
        if people:
            session.open_round(now_s, temp_c=21.0, people=people)
    for doing in before:
        now_s += 5.0
        do(twin, doing, now_s)
        do(other, doing, now_s)
    acts = 0
    for doing in slips:
        acts += do(other, doing, now_s)
        if not acts or doing[0] == "hand":  # nothing to hang on, or no act: it stays
            do(twin, doing, now_s)
    for _ in range(acts):
        other.undo(now_s)
    assert standing(other)[:-1] == standing(twin)[:-1]
    gone = other.record.log.taken_back()
    heard = any(isinstance(event, Strike) for number, event in other.record.log.events() if number in gone)
    if heard:
        # Where air was asked for before the strike, another strike is asked for, and nobody pumps again.
        pairs = list(zip(other.instructions, twin.instructions, strict=True))
        assert all(a.bottle == b.bottle and (a == b or not a.strokes) for a, b in pairs)
    else:
        assert (standing(other), other.day.air) == (standing(twin), twin.day.air)
        for doing in after:
            now_s += 5.0
            do(twin, doing, now_s)
            do(other, doing, now_s)
        assert standing(other) == standing(twin)
    again = Session(the_rig, MemoryJournal(e for _, e in other.record.log.events()), now_s)
    assert believed(again) == believed(other)
    assert (again.day.round, again.day.air) == (other.day.round, other.day.air)


# Journal, exports and checks


def on_disk(path: Path) -> Journal:
    """A journal with a strike, a slip, its taking back, and a note."""
    journal = Journal(path)
    session = Session(rig(), journal, NOW_S - 2000.0, place="barn")
    session.open_round(NOW_S - 2000.0)
    session.strike(NOW_S - 2000.0 + 3, Reading(shifted_hz(session.rig.target_hz("C4"), -30.0), 1.0))
    session.air(6.0, NOW_S - 2000.0 + 10)
    session.undo(NOW_S - 2000.0 + 12)
    session.note("going on", NOW_S - 2000.0 + 20)
    return journal


def test_the_log_shows_the_slip_and_its_taking_back(tmp_path: Path) -> None:
    with on_disk(tmp_path / "j.db") as journal:
        table, csv_text, document = io.StringIO(), io.StringIO(), io.StringIO()
        for writer, out in ((write_table, table), (write_csv, csv_text), (write_json, document)):
            writer(Filter().read(journal), out)
        slip = next(e for _, e in journal.events() if isinstance(e, AirMoved))
    assert f"{sentence(slip)} (taken back)" in table.getvalue()
    assert "taken back: 6 strokes into" in table.getvalue()
    told = json.loads(document.getvalue())["events"]
    air = [e for e in told if e["event"]["kind"] == "air_moved"]
    assert [e["taken_back"] for e in air] == [True]
    assert csv_text.getvalue().count("(taken back)") == sum(e["taken_back"] for e in told)


@pytest.mark.parametrize("name", ["log.jsonl", "log.csv", "log.json"])
def test_out_and_in_is_the_same_journal_and_the_same_belief(tmp_path: Path, name: str) -> None:
    writer = {"jsonl": write_lines, "csv": write_csv, "json": write_json}[name.rpartition(".")[2]]
    with on_disk(tmp_path / "j.db") as journal, open(tmp_path / name, "w", encoding="utf-8") as out:
        writer(Filter().read(journal), out)
        all_events, gone = list(journal.events()), journal.taken_back()
    with Journal(tmp_path / "empty.db") as same, on_disk(tmp_path / "full.db") as full:
        import_file(tmp_path / name, same, None, keep_good=False, on_bad=lambda bad: None, now_s=NOW_S)
        assert (list(same.events()), same.taken_back()) == (all_events, gone)
        # Carried into a journal that has all of it already, nothing is kept twice.
        import_file(tmp_path / name, full, None, keep_good=False, on_bad=lambda bad: None, now_s=NOW_S)
        assert full.taken_back() == gone
    with Journal(tmp_path / "more.db") as more:
        more.append_many(Temperature(at_s=float(k), temp_c=20.0) for k in range(7))
        import_file(tmp_path / name, more, None, keep_good=False, on_bad=lambda bad: None, now_s=NOW_S)
        assert more.taken_back() == {number + 7 for number in gone}


def test_a_checkpoint_that_believes_what_was_taken_back_is_thrown_away(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.db") as journal:
        session = Session(rig(), journal, 1000.0)
        keep(session.beliefs, journal, session.record.newest_id)
        name = checkpoint_name(session.rig)
        assert journal.load_checkpoint(name) is not None
        session.temperature(12.0, 1001.0)
        keep(session.beliefs, journal, session.record.newest_id)
        session.undo(1002.0)
        assert journal.load_checkpoint(name) is None
        assert Session(rig(), journal, 1003.0).day.temp_c is None


def test_only_the_present_round_is_folded_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """That is why it is quick: a thousand rounds before this one do not matter."""
    made = in_a_round(4)
    for _ in range(3):
        made.run()
        made.session.close_round(made.now_s)
        made.now_s += 3600.0
        made.session.open_round(made.now_s)
    made.strike("C4")
    opened = made.log.last_id
    made.session.air(6.0, made.now_s)
    folded: list[object] = []
    take_in = resuming.take_in

    def counting(*args: Any, **options: Any) -> Any:
        folded.append(args)
        return take_in(*args, **options)

    monkeypatch.setattr(resuming, "take_in", counting)
    made.session.undo(made.now_s)
    assert 0 < len(folded) < 20 < opened


def test_check_counts_what_is_not_believed(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with on_disk(path) as journal:
        gone = len(journal.taken_back())
        cannot_be = Strike(at_s=1.0, bottle="C4", verdict="clear", hz=1e9, cents=0.0, u95_cents=1.0)
        journal.append(cannot_be)
    found = check(path)
    assert (found.taken_back, found.unbelieved) == (gone, 1)
    assert "(strike) has a number that cannot be" in found.problems[0]
    assert gone >= 1


def test_a_part_replaced_by_a_slip_keeps_its_history() -> None:
    made = in_a_round()
    before = made.session.beliefs.heard("G4")
    made.session.replaced("G4", "bottle", made.now_s)
    assert not made.session.beliefs.heard("G4")
    made.session.undo(made.now_s)
    assert made.session.beliefs.heard("G4") == before is True
    assert made.events(Replaced)


# Faces


def test_lines_say_what_was_taken_back() -> None:
    made = in_a_round(6)
    talk = Lines(made.session, 0.0, lambda *_: [])
    before = json.loads(talk.answer(json.dumps({"t": made.now_s, "tick": True}), 0.0))
    talk.answer(json.dumps({"t": made.now_s, "air": 6}), 0.0)
    after = json.loads(talk.answer(json.dumps({"t": made.now_s, "undo": True}), 0.0))
    assert after.pop("taken_back") == "6 strokes into C4"
    assert after == before
    made.session.close_round(made.now_s)
    none_left = json.loads(talk.answer(json.dumps({"t": made.now_s, "undo": True}), 0.0))
    assert "Nothing to take back" in none_left["error"]
    assert "taken_back" not in none_left


def test_sentences_say_what_was_taken_back(tmp_path: Path) -> None:
    made = in_a_round(6)
    (tmp_path / "read").touch()
    face = PlainFace(Live(made.session, lambda: made.now_s, accepted_file=tmp_path / "read"))
    face.hear("add 6")
    assert made.session.record.next_undo == "6 strokes into C4"
    assert face.hear("u")[0] == "Undone: 6 strokes into C4."
    assert made.session.instruction.bottle == "C4"
