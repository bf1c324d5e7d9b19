"""Events survive being taken apart, written as JSON by the standard library, and put together again."""

from __future__ import annotations

import dataclasses
import json
import typing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds import events
from rounds.event_fields import from_fields, stored_kind, to_fields, to_json
from rounds.events import (
    EVENT_TYPES,
    VERDICTS,
    Event,
    Strike,
    Unknown,
)

numbers = st.floats(allow_nan=False, allow_infinity=False)
texts = st.text(max_size=12)
BY_TYPE: dict[typing.Any, st.SearchStrategy[typing.Any]] = {
    float: numbers,
    int: st.integers(-(2**53), 2**53),
    bool: st.booleans(),
    str: texts,
    dict[str, float]: st.dictionaries(texts, numbers, max_size=4),
    tuple[str, ...]: st.lists(texts, max_size=4).map(tuple),
    tuple[int, ...]: st.lists(st.integers(0, 2**32 - 1), max_size=4).map(tuple),
    tuple[tuple[str, ...], ...]: st.lists(st.lists(texts, max_size=4).map(tuple), max_size=2).map(tuple),
}
ANY_JSON = st.recursive(
    st.none() | st.booleans() | numbers | texts, lambda inner: st.lists(inner) | st.dictionaries(texts, inner)
)


def strategy_of(annotation: typing.Any) -> st.SearchStrategy[typing.Any]:
    """Values that a field of an event may have, from its annotation."""
    if annotation in BY_TYPE:
        return BY_TYPE[annotation]
    if typing.get_origin(annotation) is typing.Literal:
        return st.sampled_from(typing.get_args(annotation))
    parts = [a for a in typing.get_args(annotation) if a is not type(None)]
    assert len(parts) == 1, f"no values known for {annotation}"
    return st.none() | strategy_of(parts[0])


def events_of(cls: type[Event]) -> st.SearchStrategy[Event]:
    hints = typing.get_type_hints(cls)
    return st.builds(cls, **{f.name: strategy_of(hints[f.name]) for f in dataclasses.fields(cls)})


def back(event: Event) -> Event:
    """Through the text of a JSON document and back."""
    fields = json.loads(to_json(event))
    kind, at_s = fields.pop("kind"), fields.pop("at_s")
    return from_fields(kind, at_s, fields)


any_event = st.sampled_from(sorted(EVENT_TYPES)).flatmap(lambda kind: events_of(EVENT_TYPES[kind]))


@pytest.mark.parametrize("kind", sorted(EVENT_TYPES))
def test_every_kind_comes_back_as_it_was(kind: str) -> None:
    @given(events_of(EVENT_TYPES[kind]))
    def check(event: Event) -> None:
        assert back(event) == event
        assert from_fields(stored_kind(event), event.at_s, to_fields(event)) == event
        assert type(back(event)) is EVENT_TYPES[kind]

    check()


def test_every_event_of_the_module_is_known() -> None:
    defined = {
        cls
        for cls in vars(events).values()
        if isinstance(cls, type) and issubclass(cls, Event) and cls not in (Event, Unknown)
    }
    assert set(EVENT_TYPES.values()) == defined
    assert all(cls.kind == kind for kind, cls in EVENT_TYPES.items())


@pytest.mark.slow
@given(texts.filter(lambda k: k not in EVENT_TYPES), numbers, st.dictionaries(texts, ANY_JSON, max_size=4))
def test_an_unknown_kind_is_kept_as_it_is(kind: str, at_s: float, fields: dict[str, object]) -> None:
    event = from_fields(kind, at_s, fields)
    assert isinstance(event, Unknown)
    own = {name: value for name, value in fields.items() if name not in ("kind", "at_s")}
    assert (stored_kind(event), to_fields(event)) == (kind, own)


def test_an_unknown_kind_comes_back_through_json() -> None:
    event = from_fields("of_a_newer_version", 1.5, {"a": [1, {"b": None}]})
    assert back(event) == event


@pytest.mark.slow
@given(any_event, st.dictionaries(texts.map(lambda t: "new_" + t), ANY_JSON, max_size=3))
def test_fields_of_a_newer_version_are_dropped(event: Event, more: dict[str, object]) -> None:
    assert from_fields(event.kind, event.at_s, {**to_fields(event), **more}) == event


@pytest.mark.parametrize("kind", sorted(EVENT_TYPES))
def test_a_missing_field_is_told(kind: str) -> None:
    cls = EVENT_TYPES[kind]
    needed = [
        f.name
        for f in dataclasses.fields(cls)
        if f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING and f.name != "at_s"
    ]
    if not needed:
        assert isinstance(from_fields(kind, 0.0, {}), cls)
        return
    with pytest.raises(ValueError, match="incomplete"):
        from_fields(kind, 0.0, {})


def test_json_holds_no_number_that_json_has_not() -> None:
    event = Strike(at_s=0.0, bottle=None, verdict="clear", hz=float("nan"), cents=None, u95_cents=None)
    with pytest.raises(ValueError, match="JSON"):
        to_json(event)


def test_verdicts_are_those_of_the_type() -> None:
    assert typing.get_args(events.Verdict) == VERDICTS
