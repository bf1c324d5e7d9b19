"""What the player does, as events for the journal. Pure: a session records them.

Hands tell little (a key, a number), so the bottle is the one asked for unless another is named.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rounds.air import (
    LEAST_AIR_C,
    MOST_AIR_C,
    NO_GAUGE,
    kpa_to_psi,
    named_unit,
    parse_pressure,
    prior_shell,
    psi_to_kpa,
    stroke_kpa,
)
from rounds.belief.air_log import NOTHING_KNOWN
from rounds.errors import BadInput
from rounds.events import (
    AirMoved,
    Connected,
    Disconnected,
    Event,
    Gauge,
    NoGauge,
    NotToday,
    RoundOpened,
    Skipped,
    Snoozed,
    SteppedBack,
    TakeStarted,
    TakeStopped,
    Temperature,
    ToldEmpty,
)
from rounds.times.local import next_morning_s
from rounds.wording.shown import MOVES_AIR

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rounds.forecast.drift import Worst
    from rounds.guide.round import RoundState
    from rounds.instruction import Instruction
    from rounds.rig import Piece, Rig
    from rounds.sessions.day import Day

LONGEST_BLOCK_S = 86_400.0
FURTHEST_DOWNBEAT_S = 7 * 86_400.0
MOST_STROKES = 500.0
LEAST_STROKES = 1.0 / 64.0
"""Less than this moves no pitch that anybody could hear: no air was moved."""
MOST_GAUGE_PSI = 200.0
TAKE_AHEAD_S = 60.0
"""What is foreseen at the start of a take, whose length nobody knows yet."""
LONGEST_SNOOZE_MIN = 600.0
LEFT_OUT_TODAY = "not played today"
FAR_TOO_HIGH = 2.0
"""Air from empty to this many times the note's frequency, in a bottle as bottles usually are, is a slip."""


def asked_for(day: Day, told: Instruction) -> str:
    """The bottle that an act without a name is about.

    Raises:
        BadInput: no bottle is asked for.
    """
    bottle_id = told.bottle or (day.round.target if day.round is not None else None)
    if bottle_id is not None:
        return bottle_id
    if day.round is None:
        raise BadInput("no round is open; open one first")
    raise BadInput("no bottle is asked for now; step back to one first")


def known(rig: Rig, bottle_id: str) -> str:
    """A bottle of the rig.

    Raises:
        BadInput: the rig has no such bottle.
    """
    if not rig.has_bottle(bottle_id):
        raise BadInput(f"the rig has no bottle {bottle_id!r}; `rounds pieces` lists those it has")
    return bottle_id


def pieces_named(rig: Rig, names: Sequence[str]) -> tuple[Piece, ...]:
    """Pieces of the rig by their names; names it lacks are passed over."""
    return tuple(p for p in rig.pieces if p.name in names)


def round_opened(
    rig: Rig,
    day: Day,
    now_s: float,
    downbeat_s: float | None,
    block_s: float | None,
    temp_c: float | None,
    pieces: Sequence[str],
) -> RoundOpened:
    """A round begins for some pieces (all bottles when none is named).

    Raises:
        BadInput: a round is open already, a piece is not in the rig, the block is longer than a day, or the
            downbeat is further than a week away.
    """
    if day.round is not None:
        raise BadInput("a round is open already; end it before another is opened")
    names = {p.name for p in rig.pieces}
    for name in pieces:
        if name not in names:
            raise BadInput(f"the rig has no piece {name!r}; it has {', '.join(sorted(names)) or 'none'}")
    block_s = rig.habits.block_s if block_s is None else block_s
    if not 0.0 <= block_s <= LONGEST_BLOCK_S:
        raise BadInput(f"a block of {block_s:g} s cannot be; give seconds of playing, at most a day")
    if downbeat_s is not None and abs(downbeat_s - now_s) > FURTHEST_DOWNBEAT_S:
        days = (downbeat_s - now_s) / 86_400.0
        raise BadInput(f"a downbeat {days:.3g} days from now cannot be; give one within a week")
    return RoundOpened(
        at_s=now_s,
        round_id=f"r{day.rounds + 1}",
        downbeat_s=downbeat_s,
        block_s=block_s,
        needed=rig.needed_for(pieces_named(rig, pieces)),
        temp_c=temp_c,
        pieces=tuple(pieces),
        quarantine_s=rig.habits.quarantine_s,
    )


def said_empty(rig: Rig, needed: Mapping[str, float], empty: bool | Sequence[str]) -> tuple[str, ...]:
    """The bottles of a round that hold no air, in file order.

    Raises:
        BadInput: the rig has no such bottle.
    """
    named = set(needed) if empty is True else {known(rig, b) for b in empty or ()}
    return tuple(b.id for b in rig.bottles if b.id in named and b.id in needed)


def all_empty(rig: Rig, day: Day, needed: Mapping[str, float], said: bool | Sequence[str]) -> tuple[str, ...]:
    """Bottles of a round that begins which hold no air: those said to, and those let down before.

    Raises:
        BadInput: no such bottle.
    """
    down = {b for b in needed if day.air.get(b, NOTHING_KNOWN).is_empty}
    named = said_empty(rig, needed, said)
    return tuple(b for b in needed if b in down or b in named)


def found_empty(rig: Rig, state: RoundState, bottles: bool | Sequence[str]) -> tuple[str, ...]:
    """Bottles of the open round that hold no air: all that were not heard yet, or those named.

    Raises:
        BadInput: no such bottle, or none that could be empty.
    """
    unheard = {b: w for b, w in state.needed.items() if bottles is not True or b not in state.heard}
    named = said_empty(rig, unheard, bottles)
    if not named:
        raise BadInput("every bottle of the round was heard already; name those that are empty")
    return named


def head_on(rig: Rig, day: Day, bottle_id: str, now_s: float) -> Sequence[Event]:
    """The pump head went onto a bottle; off another one before, if it was there."""
    if day.pump_on == bottle_id:
        return ()
    return *head_off(rig, day, now_s), Connected(
        at_s=now_s, bottle=bottle_id, pump=rig.bottle(bottle_id).pump
    )


def head_off(rig: Rig, day: Day, now_s: float) -> Sequence[Event]:
    """The pump head came off, wherever it was."""
    if day.pump_on is None:
        return ()
    return (Disconnected(at_s=now_s, bottle=day.pump_on, pump=rig.bottle(day.pump_on).pump),)


def air_moved(rig: Rig, day: Day, told: Instruction, strokes: float, now_s: float) -> Sequence[Event]:
    """Air went in (positive) or out (negative); in goes only with the head on.

    Raises:
        BadInput: not a sensible count, more than the bottle can take, or no bottle is asked for.
    """
    if not math.isfinite(strokes) or abs(strokes) > MOST_STROKES:
        raise BadInput(f"{strokes} strokes cannot be right; give the count, negative for air let out")
    bottle_id = day.pump_on or asked_for(day, told)
    if abs(strokes) < LEAST_STROKES:
        return ()
    _refuse_what_cannot_be(rig, bottle_id, strokes)
    pump = rig.bottle(bottle_id).pump
    on = [Connected(at_s=now_s, bottle=bottle_id, pump=pump, assumed=True)]
    before = on if strokes > 0.0 and day.pump_on is None else []
    by_pump = day.pump_on is not None or bool(before)
    return *before, AirMoved(at_s=now_s, bottle=bottle_id, pump=pump if by_pump else None, strokes=strokes)


def as_told(rig: Rig, day: Day, told: Instruction, now_s: float) -> Sequence[Event]:
    """The player confirms that what was asked for is done.

    Raises:
        BadInput: it is nothing that can be confirmed.
    """
    if told.act == "disconnect":
        return head_off(rig, day, now_s)
    if day.round is not None and day.round.opened.let_down and told.bottle is not None:
        return (ToldEmpty(at_s=now_s, bottles=(told.bottle,)),)
    if told.bottle is None or not told.strokes or told.act not in MOVES_AIR:
        asked = f"strike {told.bottle}" if told.act == "strike" else "go by what is shown"
        raise BadInput(f"there is nothing to confirm now: {asked}")
    before = head_on(rig, day, told.bottle, now_s) if told.act == "connect" else ()
    by_pump = told.act != "release" or told.pump is not None
    pump = rig.bottle(told.bottle).pump if by_pump else None
    return *before, AirMoved(at_s=now_s, bottle=told.bottle, pump=pump, strokes=told.strokes)


def _refuse_what_cannot_be(rig: Rig, bottle_id: str, strokes: float) -> None:
    """A count that no bottle of this size could take is a slip of the hand, or a danger: both are said."""
    bottle, pump = rig.bottle(bottle_id), rig.pump_of(bottle_id)
    each_kpa = stroke_kpa(pump.barrel_ml, bottle.volume_ml)
    most = bottle.ceiling_kpa / each_kpa
    if strokes < -most:
        raise BadInput(
            f"{-strokes:g} strokes out of {bottle_id} is more air than it holds at its ceiling "
            f"(about {most:.0f} strokes); type the count again"
        )
    would_be = f"{strokes:g} strokes into {bottle_id} would be about {kpa_to_psi(strokes * each_kpa):.0f} psi"
    advice = "if that is what happened, let air out and read the gauge; else type the count again"
    if strokes > most:
        at_most = (
            f"its ceiling of {kpa_to_psi(bottle.ceiling_kpa):.0f} psi is about {most:.0f} strokes from empty"
        )
        raise BadInput(f"{would_be}, and {at_most}; {advice}")
    target_hz = rig.target_hz(bottle_id)
    shell = prior_shell(target_hz, bottle.note.midi)
    if strokes > shell.gauge_kpa(FAR_TOO_HIGH * target_hz) / each_kpa:
        raise BadInput(f"{would_be}, more than an octave above its note; {advice}")


def temperature(temp_c: float, source: str, now_s: float) -> Temperature:
    """The air temperature.

    Raises:
        BadInput: outside -30 to 60 degrees Celsius.
    """
    if not LEAST_AIR_C <= temp_c <= MOST_AIR_C:
        raise BadInput(f"{temp_c} °C is not an air temperature to play in; give -30 to 60")
    return Temperature(at_s=now_s, temp_c=temp_c, source=source)


def gauge(bottle_id: str, psi: float, now_s: float, unit: str = "psi", *, named: bool = False) -> Gauge:
    """A pressure gauge was read on a bottle; `named`: the player named the unit.

    Raises:
        BadInput: not a pressure.
    """
    if not 0.0 <= psi <= MOST_GAUGE_PSI:
        most = f"give 0 to {MOST_GAUGE_PSI:g}, or name its unit, as in 3.2 bar"
        raise BadInput(f"{psi:g} psi is not a bottle's pressure: {most}")
    return Gauge(at_s=now_s, bottle=bottle_id, gauge_kpa=psi_to_kpa(psi), unit=unit, named=named)


def gauge_typed(rig: Rig, bottle_id: str, text: str, now_s: float) -> Gauge | NoGauge:
    """What was typed of a gauge: `46`, `3.2 bar`, or `none` where its pump has no gauge.

    Raises:
        BadInput: not a pressure.
    """
    pump = rig.pump_of(bottle_id)
    if text.strip().casefold() == NO_GAUGE:
        return NoGauge(at_s=now_s, pump=pump.id)
    try:
        read_kpa, named = parse_pressure(text, pump.gauge_unit), named_unit(text)
    except ValueError as error:
        raise BadInput(f"{error}, or {NO_GAUGE} where the pump has no gauge") from None
    unit = named or pump.gauge_unit
    return gauge(bottle_id, kpa_to_psi(read_kpa), now_s, unit, named=named is not None)


def snoozed(minutes: float, now_s: float) -> Snoozed:
    """No round is called due for so many minutes.

    Raises:
        BadInput: not a number of minutes.
    """
    if not 0.0 <= minutes <= LONGEST_SNOOZE_MIN:
        raise BadInput(
            f"a snooze of {minutes:g} min cannot be; give minutes from 0 to {LONGEST_SNOOZE_MIN:g}"
        )
    return Snoozed(at_s=now_s, minutes=minutes)


def not_today(rig: Rig, day: Day, bottle_id: str, now_s: float) -> Sequence[Event]:
    """A bottle is not played until the night is over; an open round goes on without it.

    Raises:
        BadInput: the rig has no such bottle.
    """
    until_s = next_morning_s(now_s)
    event = NotToday(at_s=now_s, bottle=known(rig, bottle_id), until_s=until_s)
    led = day.round is not None and bottle_id in day.round.needed
    return (*[Skipped(at_s=now_s, bottle=bottle_id, reason=LEFT_OUT_TODAY)] * led, event)


def today(rig: Rig, day: Day, bottle_id: str, now_s: float) -> Sequence[Event]:
    """A bottle is played after all; an open round goes to it.

    Raises:
        BadInput: the rig has no such bottle.
    """
    event = NotToday(at_s=now_s, bottle=known(rig, bottle_id), until_s=now_s)
    led = day.round is not None and day.round.skipped.get(bottle_id) == LEFT_OUT_TODAY
    return (*[SteppedBack(at_s=now_s, bottle=bottle_id)] * led, event)


def without_absent(day: Day, opened: RoundOpened) -> Sequence[Event]:
    """A round that leaves out the bottles that are not played today.

    Raises:
        BadInput: that are all it needs.
    """
    gone = [b for b in day.absent(opened.at_s) if b in opened.needed]
    if gone and len(gone) == len(opened.needed):
        raise BadInput("every bottle of this round is left out today; bring one back first")
    return opened, *(Skipped(at_s=opened.at_s, bottle=b, reason=LEFT_OUT_TODAY) for b in gone)


def stepped_back(rig: Rig, day: Day, now_s: float) -> SteppedBack:
    """Back to the bottle before this one.

    Raises:
        BadInput: no round is open, or this is its first bottle.
    """
    if day.round is None:
        raise BadInput("no round is open; open one first")
    target = day.round.target
    before = [b for b in day.round.path if b != target and rig.has_bottle(b)]
    if not before:
        raise BadInput("this is the first bottle of the round; there is none to go back to")
    return SteppedBack(at_s=now_s, bottle=before[-1])


def _foreseen(seen: Worst) -> dict[str, Any]:
    return {
        "worst_cents": seen.worst_cents,
        "worst_bottle": seen.worst_bottle,
        "doubtful": seen.doubtful,
    }


def take_started(name: str, seen: Worst, now_s: float) -> TakeStarted:
    """A take runs from now on, with what is foreseen of it."""
    return TakeStarted(at_s=now_s, take=name, **_foreseen(seen))


def take_stopped(name: str, seen: Worst, now_s: float) -> TakeStopped:
    """The cut, with how the take is believed to have been."""
    return TakeStopped(at_s=now_s, take=name, **_foreseen(seen))
