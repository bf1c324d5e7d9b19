"""An event as its fields, and back: how the journal and files have it.

The JSON form of an event is its fields plus `kind`; unknown fields of a newer version are dropped
on reading, an unknown kind becomes `Unknown` and is kept as it is.
"""

from __future__ import annotations

import dataclasses
import json
from typing import Any

from rounds.events import EVENT_TYPES, Event, Unknown

_FIELDS: dict[type[Event], tuple[str, ...]] = {}
_TUPLES = {"bottles", "pieces", "doubtful", "sums", "shares", "order"}


def _fields(cls: type[Event]) -> tuple[str, ...]:
    if cls not in _FIELDS:
        _FIELDS[cls] = tuple(f.name for f in dataclasses.fields(cls) if f.name != "at_s")
    return _FIELDS[cls]


def to_fields(event: Event) -> dict[str, Any]:
    """The event's fields as a JSON-ready dict, without `kind` and `at_s`."""
    if isinstance(event, Unknown):
        return dict(event.fields)
    return {name: getattr(event, name) for name in _fields(type(event))}


def stored_kind(event: Event) -> str:
    """The kind under which an event is stored (that of the original for an unknown one)."""
    return event.original_kind if isinstance(event, Unknown) else event.kind


def from_fields(kind: str, at_s: float, fields: dict[str, Any]) -> Event:
    """The event that `to_fields` took apart.

    Raises:
        ValueError: a field that this kind cannot do without is missing.
    """
    cls = EVENT_TYPES.get(kind)
    if cls is None:
        return Unknown(at_s=at_s, original_kind=kind, fields=dict(fields))
    known = {
        name: _in_tuples(value) if name in _TUPLES else value
        for name, value in fields.items()
        if name in _fields(cls)
    }
    try:
        return cls(at_s=at_s, **known)
    except TypeError as error:
        raise ValueError(f"event {kind!r} is incomplete: {error}") from error


def _in_tuples(value: Any) -> Any:
    """Lists, and lists in lists, as the tuples they were."""
    return tuple(_in_tuples(v) for v in value) if isinstance(value, list) else value


def to_json(event: Event) -> str:
    """One line of JSON, fields in a fixed order."""
    return json.dumps({"kind": stored_kind(event), "at_s": event.at_s, **to_fields(event)}, allow_nan=False)
