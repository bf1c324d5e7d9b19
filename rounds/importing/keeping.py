"""Whole events from a file of ours, checked field by field.

A journal is trusted as it is read; a file that was carried about is not. Every field must have the
type that the event's class declares, so nothing that a fold cannot take enters a journal.
"""

from __future__ import annotations

import functools
import json
import math
import types
import typing
from typing import Any

from rounds.bounds import misfit
from rounds.event_fields import from_fields
from rounds.events import EVENT_TYPES, Event
from rounds.files.problems import shown
from rounds.importing.lines import is_text

_MOST_INT = 10**300
"""Larger integers have no float."""


def read_event(text: str) -> Event:
    """The event in one line of JSON.

    Raises:
        ValueError: it is not an event, with the reason.
    """
    try:
        value = json.loads(text, parse_constant=_no_constant) if is_text(text) else None
    except RecursionError as error:
        raise ValueError("lists or objects are nested too deep") from error
    if not isinstance(value, dict):
        raise ValueError("this is not an event in JSON")
    return event_of(value)


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def event_of(value: dict[str, Any]) -> Event:
    """The event in a JSON object with `kind` and `at_s`.

    Raises:
        ValueError: it is not one, with the reason.
    """
    fields = dict(value)
    kind, at_s = fields.pop("kind", None), fields.pop("at_s", None)
    if not isinstance(kind, str) or not kind:
        raise ValueError("kind: a word such as 'strike' is needed")
    at_s = _checked(at_s, float, "at_s")
    if kind in EVENT_TYPES:
        hints = _hints(kind)
        fields = {name: _checked(v, hints[name], name) for name, v in fields.items() if name in hints}
    event = from_fields(kind, at_s, fields)
    if (name := misfit(event)) and name != "at_s":  # the time is held against the clock
        raise ValueError(f"{name}: {shown(getattr(event, name))} cannot be")
    return event


@functools.cache
def _hints(kind: str) -> dict[str, Any]:
    hints = typing.get_type_hints(EVENT_TYPES[kind])
    return {k: v for k, v in hints.items() if k not in {"kind", "at_s"}}


def _checked(value: Any, hint: Any, name: str) -> Any:
    """The value as its hint wants it (an int becomes a float), or a ValueError naming the field."""
    origin, inside = typing.get_origin(hint), typing.get_args(hint)
    if origin in {types.UnionType, typing.Union}:
        return (
            None if value is None else _checked(value, next(a for a in inside if a is not type(None)), name)
        )
    if origin is tuple and isinstance(value, (list, tuple)):
        return tuple(_checked(v, inside[0], name) for v in value)
    if origin is dict and isinstance(value, dict):
        return {str(k): _checked(v, inside[1], name) for k, v in value.items()}
    if origin is typing.Literal and value in inside:
        return value
    if origin is None and _fits(value, hint):
        return float(value) if hint is float else value
    raise ValueError(f"{name}: {shown(value)} cannot be used here")


def _fits(value: Any, hint: type) -> bool:
    if hint is float and isinstance(value, int):
        return not isinstance(value, bool) and abs(value) < _MOST_INT
    if hint is float:
        return isinstance(value, float) and math.isfinite(value)
    if hint is int and isinstance(value, bool):
        return False
    return isinstance(value, hint)
