"""What a face shows, and nothing it has to work out: plain values, painted as they are.

`rounds.sessions.session.Session.view()` makes a `View`; the screens, the plain sentences and the tests read
it. A face holds no rules: if it needs to know a thing, the thing is a field here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rounds.wording.shown import WORD

if TYPE_CHECKING:
    from rounds.events import Verdict
    from rounds.instruction import Instruction, Standing

Mode = Literal["between", "round", "take"]


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


def outcome(bottle: BottleView) -> str:
    """What becomes of a bottle that was heard: `in tune`, `out of tune`, or that it is still to be done."""
    if bottle.standing == "in_tune":
        return WORD["in_tune"] if bottle.place_in_path is None else "in tune but drifts"
    if bottle.standing in ("sharp", "flat"):
        return "out of tune" if bottle.place_in_path is None else "its turn comes"
    # Of a first look nothing has come yet: it is measured, so it is not unheard.
    return "" if bottle.standing == "unheard" else WORD[bottle.standing]
