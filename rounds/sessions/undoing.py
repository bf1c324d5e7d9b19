"""What one act of the player was, so that it can be taken back with all that was concluded from it. Pure.

An act is a key, a number or a strike that was understood. Strikes that were not, and what the program
wrote of itself afterwards, hang on the act before them. What others told (a thermometer, strikes in
play, another terminal) stays, and so do takes; no act reaches over the edge of a round or a start.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rounds.air import kpa_to_psi
from rounds.events import (
    AirMoved,
    ClockSet,
    Connected,
    Disconnected,
    Event,
    Gauge,
    NoGauge,
    NoteWritten,
    Replaced,
    RoundClosed,
    RoundOpened,
    SessionStarted,
    Skipped,
    SteppedBack,
    Strike,
    TakenBack,
    TakeStarted,
    TakeStopped,
    Temperature,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.sessions.crew import Hands

EDGES = (SessionStarted, RoundOpened, RoundClosed)
"""What happened before one of these is not taken back after it."""
_OF_OTHERS = (*EDGES, TakeStarted, TakeStopped, ClockSet, TakenBack)
MOST_NOTE_CHARS = 40


@dataclass(frozen=True)
class Stood:
    """What the session had told the player, and thought, before an act: it is not in the journal."""

    hands: Hands
    ear_words: str


@dataclass
class Act:
    """One act: its own event, and the ids of all that came of it so far."""

    event: Event
    stood: Stood
    ids: list[int] = field(default_factory=list)

    @property
    def words(self) -> str:
        """What it was: `6 strokes into G4`."""
        return _WORDERS[type(self.event)](self.event)

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


def _air(event: AirMoved) -> str:
    strokes = event.strokes or 0.0
    amount = f"{abs(strokes):g} stroke{'' if abs(strokes) == 1.0 else 's'}"
    return f"{amount} {'out of' if strokes < 0.0 else 'into'} {event.bottle}"


def _note(event: NoteWritten) -> str:
    text = event.text if len(event.text) <= MOST_NOTE_CHARS else f"{event.text[: MOST_NOTE_CHARS - 1]}…"
    return f"the note “{text}”"


_WORDERS: dict[type[Event], Callable[..., str]] = {
    AirMoved: _air,
    Strike: lambda e: f"the strike of {e.bottle}",
    Connected: lambda e: f"pump on {e.bottle}",
    Disconnected: lambda e: f"pump off {e.bottle}",
    Temperature: lambda e: f"air at {e.temp_c:g} °C",
    Gauge: lambda e: f"{kpa_to_psi(e.gauge_kpa):.3g} psi in {e.bottle}",
    NoGauge: lambda e: f"no gauge on {e.pump}",
    Skipped: lambda e: f"skipping {e.bottle}",
    SteppedBack: lambda e: f"going back to {e.bottle}",
    Replaced: lambda e: f"a new {e.part} for {e.bottle}",
    NoteWritten: _note,
}
