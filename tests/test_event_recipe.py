"""The recipe of DEVELOPERS.md for a new event, followed once: a class, its words, and it goes all the way.

Beside it, what a forgetful hand would miss: every event has words, every verdict a place, every field of a
day a place in the checkpoint.
"""

from __future__ import annotations

import io
from dataclasses import MISSING, dataclass, fields, replace
from typing import TYPE_CHECKING, Any, ClassVar, Literal, get_args, get_origin, get_type_hints

import pytest

from rounds.belief import Beliefs
from rounds.belief.air_log import AirLog
from rounds.belief.pressure import Fill
from rounds.events import EVENT_TYPES, Event, TakenBack, Unknown
from rounds.faces.viewing import Viewer
from rounds.importing import import_file
from rounds.importing.keeping import read_event
from rounds.journal import Journal, MemoryJournal
from rounds.report.logbook import entries
from rounds.report.tables import said, write_csv, write_json, write_lines, write_table
from rounds.sessions.day import Day
from rounds.sessions.resuming import KEPT, NOT_KEPT, keep_both, take_up
from rounds.sessions.session import Session
from rounds.sessions.undoing import begins_an_act
from rounds.times.journal_time import Scale
from rounds.wording.events import WORDING, Wording, act_in_words, sentence
from tests.test_session import rig

if TYPE_CHECKING:
    from pathlib import Path

START_S = 1_770_000_000.0


@dataclass(frozen=True, kw_only=True)
class CapTightened(Event):
    """A cap was tightened: the event that somebody adds tomorrow."""

    kind: ClassVar[str] = "cap_tightened"
    bottle: str
    strokes: float | None = None


ANY: dict[object, object] = {float: 1.5, int: 2, bool: False, str: "C4", dict: {"C4": 1.0}, tuple: ()}


def sample(cls: type[Event]) -> Event:
    """An event of a class, each field that must be given having some value of its type."""
    hints = get_type_hints(cls)
    needed = [f.name for f in fields(cls) if f.default is MISSING and f.default_factory is MISSING]
    values: dict[str, Any] = {name: any_value(hints[name]) for name in needed}
    return cls(**values)


def any_value(hint: object) -> object:
    inside = get_args(hint)
    if hint in ANY:
        return ANY[hint]
    if get_origin(hint) in ANY:
        return ANY[get_origin(hint)]
    return inside[0] if get_origin(hint) is Literal else any_value(inside[0])


@pytest.fixture
def added(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both steps of the recipe: the event in its table, and its words in theirs."""
    monkeypatch.setitem(EVENT_TYPES, CapTightened.kind, CapTightened)
    words = Wording(lambda _: "cap tightened", lambda e: f"tightening the cap of {e.bottle}")
    monkeypatch.setitem(WORDING, CapTightened, words)


@pytest.mark.usefixtures("added")
def test_a_new_event_is_shown_taken_back_listed_and_carried_away(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with Journal(path) as journal:
        session = Session(rig(), journal, START_S)
        session.open_round(START_S + 1.0)
        session._do(CapTightened(at_s=START_S + 2.0, bottle="C4"))
        view = Viewer(session).view(START_S + 3.0)
        assert view.next_undo == "tightening the cap of C4"
        assert session.undo(START_S + 4.0) == "tightening the cap of C4"
        session._do(CapTightened(at_s=START_S + 5.0, bottle="E4"))
        again = Session(rig(), journal, START_S + 6.0)
        assert again.round == session.round
        listed = [said(e) for e in entries(journal.events(), Scale(), journal.taken_back())]
        document, rows = io.StringIO(), io.StringIO()
        write_json(entries(journal.events()), document)
        write_csv(entries(journal.events()), rows)
        kept = list(journal.events())
    assert [line for line in listed if "cap" in line] == [
        "cap tightened (taken back)",
        "taken back: tightening the cap of C4",
        "cap tightened",
    ]
    for name, text in (("log.json", document.getvalue()), ("log.csv", rows.getvalue())):
        (tmp_path / name).write_text(text, encoding="utf-8")
        with Journal(tmp_path / f"{name}.db") as other:
            import_file(tmp_path / name, other, None, keep_good=False, on_bad=print, now_s=START_S)
            assert [e for _, e in other.events()] == [e for _, e in kept]


def test_without_the_recipe_it_is_an_event_of_a_newer_version() -> None:
    found = read_event('{"kind": "cap_tightened", "at_s": 1.0, "bottle": "C4"}')
    assert isinstance(found, Unknown)
    assert sentence(found) == act_in_words(found) == "an event of a newer version (cap_tightened)"


@pytest.mark.usefixtures("added")
@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ('{"kind": "cap_tightened", "at_s": 1.0, "bottle": 3}', "bottle"),
        ('{"kind": "cap_tightened", "at_s": 1.0, "bottle": "C4", "strokes": 1e9}', "strokes"),
    ],
)
def test_its_fields_are_checked_at_the_door_without_a_word_about_them(text: str, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        read_event(text)


def test_every_event_has_words_in_the_log() -> None:
    assert set(WORDING) == set(EVENT_TYPES.values())


@pytest.mark.parametrize("kind", EVENT_TYPES)
def test_what_can_be_taken_back_has_words_of_its_own(kind: str) -> None:
    """The log says "2 strokes in" beside the bottle's name; what is taken back has to name the bottle."""
    event = sample(EVENT_TYPES[kind])
    assert sentence(event)
    if begins_an_act(event) and kind not in ("sent", "accepted", "shift_chosen"):
        assert WORDING[type(event)].as_act is not Wording(str).as_act, "what was taken back has no words"
    assert act_in_words(event)


@pytest.mark.parametrize("write", [write_csv, write_json, write_lines, write_table])
def test_every_event_can_be_written(write: object) -> None:
    every = [sample(cls) for cls in EVENT_TYPES.values()]
    out = io.StringIO()
    assert callable(write)
    write(entries(enumerate(every, 1)), out)
    assert len(out.getvalue()) > len(every)


SAMPLES: dict[str, object] = {
    "takes": 3,
    "rounds": 2,
    "needed": {"C4": 1.5},
    "skipped": ("E4",),
    "snoozed_until_s": 99.0,
    "not_today": {"E4": 500.0},
    "pieces": ("Morning",),
    "shift_cents": -4.25,
    "last_shift_cents": 3.5,
    "heads": ("C4", "E4"),
    "mounted": "hand",
    "temp_c": 21.5,
    "air": {"C4": AirLog(strokes=7.0, read_kpa=90.0, fills=(Fill(3.0, 220.0),))},
    "without_gauge": ("hand",),
    "scale": Scale(30.0, 5.0),
    "rig": "Three",
    "place": "Shed",
    "started_s": 12.0,
}
"""For each field of a day that a checkpoint keeps, a value that is not its default."""


@pytest.mark.parametrize("name", sorted(KEPT))
def test_every_field_of_a_day_comes_through_a_checkpoint(name: str) -> None:
    """A new field needs a sample here, or a place among those that are left out for a reason."""
    day = replace(Day(), **{name: SAMPLES[name]})  # type: ignore[arg-type]
    assert getattr(day, name) != getattr(Day(), name)
    log = MemoryJournal()
    last_id = log.append_many([TakenBack(at_s=0.0, sums=(), words="")])
    assert keep_both(log, Beliefs(rig()), day, last_id)
    assert take_up(rig(), log).day == day
    assert take_up(rig(), log).last_id == last_id


def test_a_checkpoint_leaves_nothing_else_out() -> None:
    assert set(SAMPLES) == KEPT
    assert {f.name for f in fields(Day)} == KEPT | NOT_KEPT
