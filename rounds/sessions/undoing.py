"""What one act of the player was, so that it can be taken back with all that was concluded from it. Pure.

An act is a key, a number or a strike that was understood. Strikes that were not, and what the program
wrote of itself afterwards, hang on the act before them. What others told (a thermometer, strikes in
play, another terminal) stays, and so do takes; no act reaches over the edge of a round or a start.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rounds.events import (
    ClockSet,
    Event,
    EventsMissing,
    Imported,
    RoundClosed,
    RoundOpened,
    SessionStarted,
    Strike,
    TakenBack,
    TakeStarted,
    TakeStopped,
    Temperature,
)
from rounds.wording.events import act_in_words

if TYPE_CHECKING:
    from rounds.sessions.crew import Crew

EDGES = (SessionStarted, RoundOpened, RoundClosed)
"""What happened before one of these is not taken back after it."""
_OF_OTHERS = (*EDGES, TakeStarted, TakeStopped, ClockSet, Imported, EventsMissing, TakenBack)


@dataclass(frozen=True)
class Stood:
    """What the session had asked and concluded before an act: it is not in the journal."""

    crew: Crew
    ear_words: str


@dataclass
class PlayerAct:
    """One act: its own event, and the ids of all that came of it so far."""

    event: Event
    stood: Stood
    ids: list[int] = field(default_factory=list)

    @property
    def words(self) -> str:
        """What it was: `6 strokes into G4`."""
        return act_in_words(self.event)

    @property
    def bottle(self) -> str | None:
        """The bottle it was about, if any."""
        bottle = getattr(self.event, "bottle", None)
        return bottle if isinstance(bottle, str) else None


def begins_an_act(event: Event) -> bool:
    """Whether the event is what the player did, rather than what came of it."""
    return hangs_on_an_act(event) and not (isinstance(event, Strike) and event.verdict != "clear")


def hangs_on_an_act(event: Event) -> bool:
    """Whether the event goes when the act before it is taken back."""
    if isinstance(event, Temperature):
        return event.source == "hand"
    if isinstance(event, Strike):
        return not event.playing
    return not isinstance(event, _OF_OTHERS)
