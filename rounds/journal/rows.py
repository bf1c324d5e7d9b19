"""An event as a row of the journal and back, guarded by a checksum."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from rounds.bounds import misfit
from rounds.errors import JournalError
from rounds.event_fields import from_fields, stored_kind, to_fields
from rounds.events import Unknown
from rounds.journal import schema
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.events import Event

Row = tuple[float, str, str, int]


def to_row(event: Event) -> Row:
    """An event as it is stored.

    Raises:
        JournalError: a number in it is not finite, or a text cannot be encoded.
    """
    kind = stored_kind(event)
    try:
        fields = json.dumps(to_fields(event), allow_nan=False, separators=(",", ":"))
        at_s = float(event.at_s) + 0.0  # SQLite keeps no negative zero
        if not math.isfinite(at_s):
            raise ValueError(f"time {at_s!r}")
        return at_s, kind, fields, schema.event_sum(at_s, kind, fields)
    except (TypeError, ValueError) as error:
        raise JournalError(f"an event of kind {plain(kind)} cannot be kept: {plain(error)}.") from error


def from_row(event_id: int, at_s: float, kind: str, fields: str, check_sum: int) -> Event:
    """The event stored in a row. One whose numbers cannot be is `Unknown`: kept, and not believed.

    Raises:
        ValueError: the row is not what was written.
    """
    if schema.event_sum(at_s, kind, fields) != check_sum:
        raise ValueError(f"event {event_id} is not what was written")
    found = json.loads(fields)
    event = from_fields(kind, at_s, found)
    return Unknown(at_s=at_s, original_kind=kind, fields=found) if misfit(event) else event
