"""An event as one short sentence. Text of the player's passes through as written: faces make it safe."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds import events as ev
from rounds.air import kpa_to_psi
from rounds.event_fields import stored_kind
from rounds.times.journal_time import words
from rounds.wording.shown import VERDICT_WORD
from rounds.wording.words import counted, pump_name, strokes_phrase

if TYPE_CHECKING:
    from collections.abc import Callable

MOST_NOTE_CHARS = 40
"""Of a note that is taken back, so much is repeated."""


def sentence(event: ev.Event) -> str:
    """What happened, without when and without the bottle."""
    wording = WORDING.get(type(event))
    return wording.happened(event) if wording else f"an event of a newer version ({stored_kind(event)})"


def act_in_words(event: ev.Event) -> str:
    """What the player did, as it is spoken of when it is taken back: `6 strokes into G4`."""
    wording = WORDING.get(type(event))
    return wording.as_act(event) if wording else sentence(event)


def signed(cents: float) -> str:
    """Cents with their word: `4.5 cents sharp`."""
    word = "sharp" if cents > 0.05 else "flat" if cents < -0.05 else "true"
    return f"{abs(cents):.1f} cents {word}"


def _strike(e: ev.Strike) -> str:
    if e.verdict != "clear" or e.cents is None:
        return f"struck: {VERDICT_WORD[e.verdict]}"
    doubt = "" if e.u95_cents is None else f" ±{e.u95_cents:.1f}"
    return f"struck: {signed(e.cents)}{doubt}{', pump on' if e.pump_on else ''}{', in play' * e.playing}"


def _air(e: ev.AirMoved) -> str:
    if e.strokes is None:
        return "air moved, how much is not known"
    amount, by = strokes_phrase(e.strokes), f"by {pump_name(e.pump)}" if e.pump else ""
    if e.strokes >= 0:
        return f"{amount} in, {by}" if by else f"{amount} in"
    return f"{amount} out, {by or 'by the pin'}"


def _opened(e: ev.RoundOpened) -> str:
    if e.let_down:
        return f"round opened: {counted(len(e.needed), 'bottle')} to be let down"
    pieces = f", for {', '.join(e.pieces)}" if e.pieces else ""
    return f"round opened: {len(e.needed)} bottles needed{pieces}"


def _closed(e: ev.RoundClosed) -> str:
    worst = ""
    if e.worst_cents is not None:
        worst = f", worst {e.worst_bottle} {abs(e.worst_cents):.1f} cents off"
    ended = "finished" if e.finished else "ended before its last bottle"
    if e.down is not None:
        return f"round {ended}: {e.down} of {e.needed} let down"
    connections = counted(e.connections, "connection")
    return f"round {ended}: {e.in_tune} of {e.needed} in tune, {connections}{worst}"


def _take(what: str, e: ev.TakeStarted | ev.TakeStopped) -> str:
    whose = f"{e.worst_bottle} " if e.worst_bottle else ""
    worst = "" if e.worst_cents is None else f"; worst expected: {whose}{signed(e.worst_cents)}"
    return f"take {what}{worst}{'; likely out: ' + ', '.join(e.doubtful) if e.doubtful else ''}"


def _started(e: ev.SessionStarted) -> str:
    return f"session begun on the rig {e.rig}"


def _shifted(e: ev.ShiftChosen) -> str:
    if not e.shift_cents:
        return "A4 stays where it is"
    saves = f", which saves {counted(e.saves, 'connection')}" if e.saves > 0 else ""
    return f"A4 is moved {signed(e.shift_cents)}{saves}"


def _skipped(e: ev.Skipped) -> str:
    return f"left out{': ' + e.reason if e.reason else ''}"


def _snoozed(e: ev.Snoozed) -> str:
    return f"no round called due for {e.minutes:g} min" if e.minutes else "a round called due when it is"


def _not_today(e: ev.NotToday) -> str:
    return "not played today" if e.until_s > e.at_s else "played again today"


_TO = {
    "listen": "a strike",
    "visit": "air",
    "compare": "a strike, to compare",
    "finish": "the rest of its air",
}


def _pumped(e: ev.AirMoved) -> str:
    strokes = e.strokes or 0.0
    amount = f"{abs(strokes):g} stroke{'' if abs(strokes) == 1.0 else 's'}"
    return f"{amount} {'out of' if strokes < 0.0 else 'into'} {e.bottle}"


def _note(e: ev.NoteWritten) -> str:
    text = e.text if len(e.text) <= MOST_NOTE_CHARS else f"{e.text[: MOST_NOTE_CHARS - 1]}…"
    return f"the note “{text}”"


def _by_itself(e: ev.Event) -> str:
    """For events that no act of the player's begins with: the program, or a start, writes them."""
    return sentence(e)


@dataclass(frozen=True)
class Wording:
    """The words of one kind of event. `happened`: in the log, without when and without the bottle."""

    happened: Callable[..., str]
    as_act: Callable[..., str] = _by_itself
    """What is taken back: `6 strokes into G4`."""


WORDING: dict[type[ev.Event], Wording] = {
    ev.SessionStarted: Wording(_started),
    ev.RoundOpened: Wording(_opened),
    ev.RoundClosed: Wording(_closed),
    ev.Strike: Wording(_strike, lambda e: f"the strike of {e.bottle}"),
    ev.Connected: Wording(lambda e: f"{pump_name(e.pump)} on", lambda e: f"pump on {e.bottle}"),
    ev.Disconnected: Wording(lambda e: f"{pump_name(e.pump)} off", lambda e: f"pump off {e.bottle}"),
    ev.AirMoved: Wording(_air, _pumped),
    ev.Temperature: Wording(lambda e: f"air at {e.temp_c:g} °C", lambda e: f"air at {e.temp_c:g} °C"),
    ev.RailAir: Wording(
        lambda e: f"rail {e.rail} {e.warmer_k:+g} K beside the air",
        lambda e: f"rail {e.rail} at {e.warmer_k:+g} K",
    ),
    ev.Gauge: Wording(
        lambda e: f"gauge {kpa_to_psi(e.gauge_kpa):.1f} psi ({e.gauge_kpa:.0f} kPa)",
        lambda e: f"{kpa_to_psi(e.gauge_kpa):.3g} psi in {e.bottle}",
    ),
    ev.NoGauge: Wording(
        lambda e: f"{pump_name(e.pump)} has no gauge to read", lambda e: f"no gauge on {e.pump}"
    ),
    ev.TakeStarted: Wording(lambda e: _take("begun", e)),
    ev.TakeStopped: Wording(lambda e: _take("cut", e)),
    ev.Sent: Wording(lambda e: f"asked for {_TO[e.purpose]}"),
    ev.Accepted: Wording(lambda e: f"in tune, {signed(e.cents)}"),
    ev.ShiftChosen: Wording(_shifted),
    ev.Skipped: Wording(_skipped, lambda e: f"leaving {e.bottle} out"),
    ev.SteppedBack: Wording(lambda _: "went back to it", lambda e: f"going back to {e.bottle}"),
    ev.Replaced: Wording(lambda e: f"{e.part} replaced", lambda e: f"a new {e.part} for {e.bottle}"),
    ev.Swapped: Wording(
        lambda e: f"changed places with {e.other}", lambda e: f"the swap of {e.bottle} and {e.other}"
    ),
    ev.ToldEmpty: Wording(
        lambda e: f"said to be empty: {', '.join(e.bottles)}",
        lambda e: f"{counted(len(e.bottles), 'empty bottle')}",
    ),
    ev.Snoozed: Wording(_snoozed, lambda e: f"the snooze of {e.minutes:g} min"),
    ev.NotToday: Wording(_not_today, lambda e: f"{e.bottle} {_not_today(e)}"),
    ev.NoteWritten: Wording(lambda e: f"note: {e.text}", _note),
    ev.Imported: Wording(lambda e: f"{counted(e.events, 'event')} brought in from {e.file}"),
    ev.EventsMissing: Wording(lambda e: f"{counted(e.events, 'event')} kept before this are missing"),
    ev.TakenBack: Wording(lambda e: f"taken back: {e.words}"),
    ev.ClockSet: Wording(lambda e: words(e.ahead_s, e.unseen_s)),
}
"""The one table of words for events: the log and taking back read it."""
