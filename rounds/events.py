"""Everything that can happen, as events. The journal is a list of these and nothing else.

Beliefs, rounds and logs are folds over events, so whatever must survive the night is in one of
them. `at_s` is UTC epoch seconds. Cents are off the bottle's nominal target (its note at the rig's
reference, no shift) unless the name says otherwise. A field that was not known is None, never 0.

How they are stored is in `rounds.event_fields`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Literal, get_args

Verdict = Literal["clear", "quiet", "other_bottle", "two_ringing", "unclear"]
VERDICTS: tuple[Verdict, ...] = get_args(Verdict)
Part = Literal["cap", "bottle"]
Purpose = Literal["listen", "visit", "compare", "finish"]
_OWN = frozenset({"kind", "at_s"})


@dataclass(frozen=True, kw_only=True)
class Event:
    """Base: something happened at a time (UTC epoch seconds)."""

    kind: ClassVar[str] = ""
    at_s: float


@dataclass(frozen=True, kw_only=True)
class SessionStarted(Event):
    """The tool was started on a rig; time may have passed unseen before this.

    `zero_s` is when the session's own clock showed 0, where lines bring its times: a session that takes this
    one up after it was killed goes on by the same clock.
    """

    kind: ClassVar[str] = "session_started"
    rig: str
    place: str | None = None
    zero_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class RoundOpened(Event):
    """A tuning round began. `needed` maps bottle id to weight.

    `shares` are the bottles of each of several people who tune at once, by their own pumps; empty: one
    person has them all.
    """

    kind: ClassVar[str] = "round_opened"
    round_id: str
    downbeat_s: float | None
    block_s: float
    needed: dict[str, float]
    temp_c: float | None = None
    shift_cents: float = 0.0
    pieces: tuple[str, ...] = ()
    quarantine_s: float = 0.0
    shares: tuple[tuple[str, ...], ...] = ()
    let_down: bool = False
    """Whether nothing is tuned: the air is let out of all of them."""


@dataclass(frozen=True, kw_only=True)
class RoundClosed(Event):
    """A tuning round ended, finished or not."""

    kind: ClassVar[str] = "round_closed"
    round_id: str
    finished: bool
    connections: int = 0
    in_tune: int = 0
    needed: int = 0
    worst_bottle: str | None = None
    worst_cents: float | None = None
    down: int | None = None
    """How many were let down, where that was what the round was for."""


@dataclass(frozen=True, kw_only=True)
class Strike(Event):
    """A strike was heard. `bottle` is set only where it was recognised; `cents` only where clear.

    `pump_on` tells whether the pump head was on that bottle's valve (the reading is then off by the
    head loss to come). `playing` marks strikes heard in play rather than in a round. `person` is whose turn
    it was to strike (0, 1) where several tune at once and a strike was taken for another bottle's. `agreed`:
    heard again, so it is believed whatever was believed of the bottle before. `asked_strokes`: so much
    air was asked for at `asked_bottle` before it, and it does not show whether that went in.
    """

    kind: ClassVar[str] = "strike"
    bottle: str | None
    verdict: Verdict
    hz: float | None
    cents: float | None
    u95_cents: float | None
    pump_on: bool = False
    playing: bool = False
    ring_s: float | None = None
    peak_dbfs: float | None = None
    clipped: bool = False
    person: int | None = None
    agreed: bool = False
    asked_strokes: float | None = None
    asked_bottle: str | None = None


@dataclass(frozen=True, kw_only=True)
class Connected(Event):
    """The pump head went onto a valve. `assumed`: concluded from the strikes, not said by a key."""

    kind: ClassVar[str] = "connected"
    bottle: str
    pump: str
    assumed: bool = False


@dataclass(frozen=True, kw_only=True)
class Disconnected(Event):
    """The pump head came off a valve."""

    kind: ClassVar[str] = "disconnected"
    bottle: str
    pump: str
    assumed: bool = False


@dataclass(frozen=True, kw_only=True)
class AirMoved(Event):
    """Air went in (strokes > 0) or out (strokes < 0). `pump` is None for the pin.

    `strokes` is None when it is only known that air moved (imported rows). Where the pitch went less than
    was advised, `strokes` is as many as explain it and `at_most` those advised: a stiff bottle may hold them.
    """

    kind: ClassVar[str] = "air_moved"
    bottle: str
    pump: str | None
    strokes: float | None
    assumed: bool = False
    at_most: float | None = None


@dataclass(frozen=True, kw_only=True)
class Temperature(Event):
    """The air temperature was read or entered."""

    kind: ClassVar[str] = "temperature"
    temp_c: float
    source: str = "hand"


@dataclass(frozen=True, kw_only=True)
class RailAir(Event):
    """The air at one rail is so much warmer than what the thermometer says: it is in the sun, by a door."""

    kind: ClassVar[str] = "rail_air"
    rail: int
    warmer_k: float


@dataclass(frozen=True, kw_only=True)
class Gauge(Event):
    """A pressure gauge was read on a bottle."""

    kind: ClassVar[str] = "gauge"
    bottle: str
    gauge_kpa: float
    unit: str = "psi"
    """The unit it was typed in, or that a bare number was taken for."""
    named: bool = False
    """Whether the player named the unit."""


@dataclass(frozen=True, kw_only=True)
class NoGauge(Event):
    """The player said that a pump has no gauge that could be read."""

    kind: ClassVar[str] = "no_gauge"
    pump: str


@dataclass(frozen=True, kw_only=True)
class TakeStarted(Event):
    """A take runs: no sound, no flashing. Worst deviation and likely out as predicted at its start."""

    kind: ClassVar[str] = "take_started"
    take: str
    worst_cents: float | None = None
    worst_bottle: str | None = None
    doubtful: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class TakeStopped(Event):
    """The cut. Predicted worst deviation over the whole take, and the bottles likely out, for the editor."""

    kind: ClassVar[str] = "take_stopped"
    take: str
    worst_cents: float | None = None
    worst_bottle: str | None = None
    doubtful: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Sent(Event):
    """The player was sent to a bottle. Journalled so that a resumed round is at the same bottle.

    `order` are the visits ahead as the plan had them, where they are not those of the order before with some
    left out: a resumed round keeps to it between plans that are as good.
    """

    kind: ClassVar[str] = "sent"
    bottle: str
    purpose: Purpose
    order: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Accepted(Event):
    """A bottle was found or brought in tune in this round, by a strike with the pump off."""

    kind: ClassVar[str] = "accepted"
    bottle: str
    cents: float


@dataclass(frozen=True, kw_only=True)
class ShiftChosen(Event):
    """A floating reference settled for this round: how far all targets moved, and what that saves."""

    kind: ClassVar[str] = "shift_chosen"
    shift_cents: float
    saves: int = 0


@dataclass(frozen=True, kw_only=True)
class Skipped(Event):
    """A bottle is left out of this round, by the player or for a reason of the tool's (its ceiling)."""

    kind: ClassVar[str] = "skipped"
    bottle: str
    reason: str | None = None


@dataclass(frozen=True, kw_only=True)
class SteppedBack(Event):
    """The player went back to a bottle to hear it again."""

    kind: ClassVar[str] = "stepped_back"
    bottle: str


@dataclass(frozen=True, kw_only=True)
class Replaced(Event):
    """A cap or a bottle was replaced: a new history begins for it."""

    kind: ClassVar[str] = "replaced"
    bottle: str
    part: Part


@dataclass(frozen=True, kw_only=True)
class Swapped(Event):
    """Two bottles changed places with their caps, or a spare came in: what is known of each goes with it.

    Afterwards `bottle` is the place where the other one stands, and `other` the one where this one stands.
    """

    kind: ClassVar[str] = "swapped"
    bottle: str
    other: str


@dataclass(frozen=True, kw_only=True)
class ToldEmpty(Event):
    """The player says that bottles hold no air: they are filled before anybody strikes them."""

    kind: ClassVar[str] = "told_empty"
    bottles: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Snoozed(Event):
    """The player wants no round called due for so many minutes (0: as soon as it is)."""

    kind: ClassVar[str] = "snoozed"
    minutes: float


@dataclass(frozen=True, kw_only=True)
class NotToday(Event):
    """A bottle is not played before a time: rounds leave it out and none is due for it.

    A time that is no later than the event's own brings it back.
    """

    kind: ClassVar[str] = "not_today"
    bottle: str
    until_s: float


@dataclass(frozen=True, kw_only=True)
class NoteWritten(Event):
    """The player wrote something down, about a bottle or about the day."""

    kind: ClassVar[str] = "note_written"
    text: str
    bottle: str | None = None


@dataclass(frozen=True, kw_only=True)
class Imported(Event):
    """A file was brought in: it is the `events` events just before this one.

    `sums_crc` is a checksum over their check sums: only where they stand before it do they go with it.
    """

    kind: ClassVar[str] = "imported"
    file: str
    events: int
    sums_crc: int


@dataclass(frozen=True, kw_only=True)
class EventsMissing(Event):
    """So many events that had been kept here, after a time, are no longer in the journal."""

    kind: ClassVar[str] = "events_missing"
    events: int
    since_s: float


@dataclass(frozen=True, kw_only=True)
class TakenBack(Event):
    """The player took an act back: it and what was concluded from it stay written, and are not believed.

    `sums` are the check sums those events are stored with; their ids change when a journal is carried
    into another. `words` says what it was.
    """

    kind: ClassVar[str] = "taken_back"
    sums: tuple[int, ...]
    words: str
    bottle: str | None = None


@dataclass(frozen=True, kw_only=True)
class ClockSet(Event):
    """The machine's clock moved: from now on the journal's time runs `ahead_s` before it (0: they agree).

    `unseen_s` of that are taken to have passed between two sessions, which the clock could not tell.
    """

    kind: ClassVar[str] = "clock_set"
    ahead_s: float
    unseen_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Unknown(Event):
    """An event of a newer version, kept untouched.

    `fields` never holds `kind` or `at_s`: those are the event's own, and one line of JSON has one of each.
    """

    kind: ClassVar[str] = "unknown"
    original_kind: str
    fields: dict[str, Any]

    def __post_init__(self) -> None:
        """Drop keys that are no fields."""
        if not _OWN.isdisjoint(self.fields):
            kept = {name: value for name, value in self.fields.items() if name not in _OWN}
            object.__setattr__(self, "fields", kept)


EVENT_TYPES: dict[str, type[Event]] = {
    cls.kind: cls
    for cls in (
        SessionStarted,
        RoundOpened,
        RoundClosed,
        Strike,
        Connected,
        Disconnected,
        AirMoved,
        Temperature,
        RailAir,
        Gauge,
        NoGauge,
        TakeStarted,
        TakeStopped,
        Sent,
        Accepted,
        ShiftChosen,
        Skipped,
        SteppedBack,
        Replaced,
        Swapped,
        ToldEmpty,
        Snoozed,
        NotToday,
        NoteWritten,
        Imported,
        EventsMissing,
        TakenBack,
        ClockSet,
    )
}
"""Every event by the kind it is stored under; one that is missing here would be read back as `Unknown`."""
