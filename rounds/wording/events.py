"""An event as one short sentence. Text of the player's passes through as written: faces make it safe."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds import events as ev
from rounds.air import kpa_to_psi
from rounds.times.journal_time import words
from rounds.wording.shown import VERDICT_WORD
from rounds.wording.words import counted, pump_name, strokes_phrase

if TYPE_CHECKING:
    from collections.abc import Callable


def sentence(event: ev.Event) -> str:
    """What happened, without when and without the bottle."""
    worder = _WORDERS.get(type(event))
    return worder(event) if worder else f"an event of a newer version ({ev.stored_kind(event)})"


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
    pieces = f", for {', '.join(e.pieces)}" if e.pieces else ""
    return f"round opened: {len(e.needed)} bottles needed{pieces}"


def _closed(e: ev.RoundClosed) -> str:
    worst = ""
    if e.worst_cents is not None:
        worst = f", worst {e.worst_bottle} {abs(e.worst_cents):.1f} cents off"
    ended = "finished" if e.finished else "ended before its last bottle"
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
    return f"skipped{': ' + e.reason if e.reason else ''}"


_WORDERS: dict[type[ev.Event], Callable[..., str]] = {
    ev.SessionStarted: _started,
    ev.RoundOpened: _opened,
    ev.RoundClosed: _closed,
    ev.Strike: _strike,
    ev.Connected: lambda e: f"{pump_name(e.pump)} on",
    ev.Disconnected: lambda e: f"{pump_name(e.pump)} off",
    ev.AirMoved: _air,
    ev.Temperature: lambda e: f"air at {e.temp_c:g} °C",
    ev.Gauge: lambda e: f"gauge {kpa_to_psi(e.gauge_kpa):.1f} psi ({e.gauge_kpa:.0f} kPa)",
    ev.NoGauge: lambda e: f"{pump_name(e.pump)} has no gauge to read",
    ev.TakeStarted: lambda e: _take("begun", e),
    ev.TakeStopped: lambda e: _take("cut", e),
    ev.Sent: lambda e: f"sent to {'hear' if e.purpose == 'listen' else 'tune'} it",
    ev.Accepted: lambda e: f"in tune, {signed(e.cents)}",
    ev.ShiftChosen: _shifted,
    ev.Skipped: _skipped,
    ev.SteppedBack: lambda _: "went back to it",
    ev.Replaced: lambda e: f"{e.part} replaced",
    ev.NoteWritten: lambda e: f"note: {e.text}",
    ev.TakenBack: lambda e: f"taken back: {e.words}",
    ev.ClockSet: lambda e: words(e.ahead_s),
}
