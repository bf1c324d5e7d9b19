"""What a face shows, and nothing it has to work out: plain values, painted as they are.

`rounds.sessions.session.Session.view()` makes a `View`; the screens, the plain sentences and the tests read
it. A face holds no rules: if it needs to know a thing, the thing is a field here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rounds.wording import shown
from rounds.wording.words import strokes_phrase

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.events import Verdict
    from rounds.forecast.calling import Call
    from rounds.forecast.playable import Playable
    from rounds.instruction import Instruction, State

Mode = Literal["between", "round", "take"]


@dataclass(frozen=True)
class ReadingView:
    """The latest strike. `bottle` is the one struck, where known; `advice` what to do if not clear."""

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
    state: State
    needed: bool
    cents: float | None
    sd_cents: float | None
    place_in_path: int | None
    """1 for the next visit, 2 for the one after; None when no visit is planned."""
    strokes: float | None
    """Strokes to its aim, out of it negative; None where none are to move or it is not known."""
    reason: str
    """Why the bottle is in or out of the round, one short phrase."""
    leaves_min: float | None
    """Minutes until it is more likely out than in; None past two hours or unknown."""
    person: int | None = None
    """Whose bottle it is where several tune at once; then its place is that in their path."""
    not_today: bool = False
    """The player said that it is not played today."""

    @property
    def to_do(self) -> bool:
        """Whether a visit or a strike is planned."""
        return self.place_in_path is not None


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
    """Due now, with somebody out now: the only moment to call."""
    call: Call = "well"
    words: str = ""
    """The state in a sentence without its full stop: `first bottles soon: C3 is likely out in 6 min`."""
    snoozed_s: float | None = None
    """Seconds for which the player put off a round that is due; None where none is put off."""


@dataclass(frozen=True)
class TakeView:
    """The take that runs now."""

    name: str
    running_s: float
    worst_cents: float | None
    worst_bottle: str | None
    likely_out: tuple[str, ...]


@dataclass(frozen=True)
class Tally:
    """The needed bottles counted once each: `everything` is the sum of the others."""

    everything: int
    hold: int
    to_do: int
    fade: int
    out: int
    unheard: int
    left_out: int
    set_aside: int


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
    reference_hz: float
    """A4 as it is tuned to now."""
    temp_c: float | None
    pump_on: str | None
    """Bottle id the pump head is on, as far as known."""
    pieces: tuple[str, ...] = ()
    people: tuple[PersonView, ...] = ()
    """All who tune at once; empty: one person, whose instruction is that of this view."""
    message: str = ""
    """One sentence that must be said now (time is short, a fault), empty otherwise."""
    maybe_swapped: tuple[str, str] | None = None
    """Two bottles each of which sounds like the other's note, until the player says whether they are."""
    next_undo: str = ""
    """What taking back would take back now; empty for nothing."""
    playable: tuple[Playable, ...] = ()
    """The pieces named for the round, else all of the rig: which notes to leave out of each now."""
    is_let_down: bool = False
    """Whether the round lets bottles down: nothing is struck, and each is confirmed."""
    next_in_s: float | None = None
    """Seconds until the bottles that are left for the last minutes begin, while nothing else is to do."""

    @property
    def path(self) -> tuple[BottleView, ...]:
        """The bottles whose visits are planned, next first."""
        ahead = [b for b in self.bottles if b.place_in_path is not None]
        return tuple(sorted(ahead, key=lambda b: b.place_in_path or 0))

    @property
    def tally(self) -> Tally:
        """One count for strip, rails, sentences and summary.

        In a round what has a place in the path is to do, and what has none and does not hold is left out.
        Between rounds nothing is to do: what does not hold is out, unheard, fading or left out.
        """
        needed = [b for b in self.bottles if b.needed]
        found = [_counted_as(b, self.mode) for b in needed]
        return Tally(len(needed), *(found.count(kind) for kind in _KINDS))


_KINDS = ("hold", "to_do", "fade", "out", "unheard", "left_out", "set_aside")


def _counted_as(bottle: BottleView, mode: Mode) -> str:
    """The one group of the tally that a needed bottle belongs to."""
    if bottle.state in ("set_aside", "left_out"):
        return bottle.state
    if bottle.to_do:
        return "to_do"
    if mode == "round":
        return "hold" if bottle.state in ("holds", "fades") else "left_out"
    return {"holds": "hold", "fades": "fade", "unheard": "unheard"}.get(bottle.state, "out")


def sign(bottle: BottleView) -> str:
    """A bottle drawn small: `▕▃▏2` wants two strokes, `▐█▌½` is half a stroke too full, `▔` holds."""
    figure = shown.work_figure(bottle.strokes) if bottle.state in ("wants_air", "too_full") else ""
    if bottle.state == "wants_air" and bottle.strokes:
        return f"▕{shown.level_of(bottle.strokes)}▏{figure}"
    return shown.SIGN[bottle.state] + figure


def work_words(bottle: BottleView, strokes_as: Callable[[float], str] = strokes_phrase) -> str:
    """`wants 1½ strokes`, `too full by ½ of a stroke`, `holds`; strokes worded for eyes or for ears."""
    if bottle.state not in ("wants_air", "too_full") or not bottle.strokes:
        return shown.WORD[bottle.state]
    strokes = strokes_as(shown.countable(bottle.strokes))
    return f"wants {strokes}" if bottle.state == "wants_air" else f"too full by {strokes}"


def outcome(bottle: BottleView, strokes_as: Callable[[float], str] = strokes_phrase) -> str:
    """What becomes of a bottle that was heard: what it wants, and whether that is still to be done."""
    if bottle.state == "fades" and bottle.to_do:
        return "holds now, won't last"
    if bottle.state in ("wants_air", "too_full"):
        wants = work_words(bottle, strokes_as)
        return f"{wants}, still to do" if bottle.to_do else wants
    # Of a first look nothing has come yet: it is measured, so it is not unheard.
    return "" if bottle.state == "unheard" else shown.WORD[bottle.state]
