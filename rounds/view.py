"""What a face shows, and nothing it has to work out: plain values, painted as they are.

`rounds.sessions.session.Session.view()` makes a `View`; the screens, the plain sentences and the tests read
it. A face holds no rules: if it needs to know a thing, the thing is a field here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from rounds.events import Verdict

Act = Literal["strike", "connect", "add", "release", "disconnect", "wait", "none"]
"""What the player does next; `none`: nothing, the round is over or none is open."""
Standing = Literal["unheard", "in_tune", "sharp", "flat", "doubtful", "skipped", "idle"]
"""How a bottle stands: `idle` is not needed, `doubtful` is needed and likely out though not heard so."""
Mode = Literal["between", "round", "take"]
TIME_IS_SHORT, TIME_MAY_BE = "Time is short", "Time may be short"
"""How the message begins that tells whom the want of time costs."""


@dataclass(frozen=True)
class Instruction:
    """The next act. `headline` is short enough to be painted large; `why` is one short phrase."""

    act: Act
    bottle: str | None
    pump: str | None
    strokes: float | None
    aim_cents: float | None
    why: str
    headline: str
    detail: str = ""
    caution: str | None = None
    then_strike: bool = True
    """False where the bottle must not be struck afterwards: there is too much air in it."""


@dataclass(frozen=True)
class ReadingView:
    """The latest strike. `bottle` is whose it was, where known; `advice` what to do when it is not clear."""

    bottle: str | None
    note: str | None
    cents: float | None
    u95_cents: float | None
    verdict: Verdict
    advice: str = ""
    hz: float | None = None
    age_s: float = 0.0
    final: bool = True
    """False for a first look, which the whole strike may yet deny."""
    person: int | None = None
    """Whose strike it was, where several tune at once and it is known."""


@dataclass(frozen=True)
class BottleView:
    """One bottle as drawn on its rail. `cents` off its note (the day's shift counted), None if unknown."""

    id: str
    note: str
    rail: int
    position_cm: float
    standing: Standing
    needed: bool
    cents: float | None
    sd_cents: float | None
    place_in_path: int | None
    """1 for the next visit, 2 for the one after; None when no visit is planned."""
    reason: str
    """Why the bottle is in or out of the round, one short phrase."""
    leaves_min: float | None
    """Minutes until it is more likely out than in; None past two hours or unknown."""
    person: int | None = None
    """Whose bottle it is where several tune at once; then its place is that in their path."""


@dataclass(frozen=True)
class PersonView:
    """One of several who tune at once."""

    instruction: Instruction
    pump_on: str | None
    holds: bool
    """Whether somebody else strikes first."""
    has_keys: bool
    """Whether the keys are theirs."""


@dataclass(frozen=True)
class DueView:
    """The countdown to the next round and its reason; None seconds when nothing is known yet."""

    due_s: float | None
    reason: str
    overdue: bool


@dataclass(frozen=True)
class TakeView:
    """The take that runs now."""

    name: str
    running_s: float
    worst_cents: float | None
    worst_bottle: str | None
    likely_out: tuple[str, ...]


@dataclass(frozen=True)
class View:
    """Everything at one moment. Seconds count from now; None means not set or not known."""

    mode: Mode
    rig_name: str
    instruction: Instruction
    reading: ReadingView | None
    bottles: tuple[BottleView, ...]
    due: DueView
    take: TakeView | None
    round_id: str | None
    phase: Literal["listen", "visits", "verify", "done", "none"]
    connections: int
    visits_left: int
    left: int
    """Needed bottles not yet known to be in tune."""
    needed: int
    seconds_left: float | None
    """Estimated work still to do in this round."""
    downbeat_in_s: float | None
    elapsed_s: float | None
    shift_cents: float
    shift_saves: int
    """Connections that a floating reference saves in this plan."""
    temp_c: float | None
    pump_on: str | None
    """Bottle id the pump head is on, as far as known."""
    pieces: tuple[str, ...] = ()
    people: tuple[PersonView, ...] = ()
    """All who tune at once; empty: one person, whose instruction is that of this view."""
    message: str = ""
    """One sentence that must be said now (time is short, a fault), empty otherwise."""
    next_undo: str = ""
    """What taking back would take back now; empty for nothing."""
