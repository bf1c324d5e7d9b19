"""What the player does with the whole rig rather than with the bottle at hand, as events for the journal.
Pure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rounds.air import kpa_to_psi
from rounds.belief.air_log import NOTHING_KNOWN
from rounds.errors import BadInput
from rounds.events import Disconnected, Event, RailAir, RoundOpened, ShiftChosen, Swapped
from rounds.notes import cents
from rounds.sessions.acts import known

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.rig import Rig
    from rounds.sessions.day import Day

LAST_A4 = "last"
"""In place of hertz: A4 as it was in the round before."""
MOST_MATCHED_CENTS = 100.0
SAME_SHIFT_CENTS = 0.05


def a4_matched(rig: Rig, day: Day, a4: float | str, now_s: float) -> Sequence[Event]:
    """All targets of the open round move so that A4 is as asked for: in hertz, or as it was last.

    Raises:
        BadInput: no round is open, or A4 would move by more than a semitone.
    """
    if day.round is None:
        raise BadInput("no round is open; open one first")
    shift = shift_for(rig, day, a4)
    if day.round.shift_settled and abs(shift - day.round.shift_cents) < SAME_SHIFT_CENTS:
        return ()
    return (ShiftChosen(at_s=now_s, shift_cents=shift),)


def shift_for(rig: Rig, day: Day, a4: float | str) -> float:
    """How far all targets move for an A4, cents.

    Raises:
        BadInput: by more than a semitone.
    """
    if isinstance(a4, str):
        shift = day.last_shift_cents
    else:
        shift = cents(a4, rig.reference.a4_hz) if a4 > 0.0 and math.isfinite(a4) else math.inf
    if not abs(shift) <= MOST_MATCHED_CENTS:
        raise BadInput(
            f"A4 at {a4} Hz is more than a semitone from the {rig.reference.a4_hz:g} Hz of the rig; "
            f"give one nearer, or write another reference_hz into the rig file"
        )
    return shift


MOST_WARMER_K = 25.0


def rail_air(rig: Rig, day: Day, rail: int, warmer_k: float, now_s: float) -> RailAir:
    """The air at a rail is warmer or colder than the thermometer says.

    Raises:
        BadInput: the rig has no such rail, no air temperature was given, or it cannot be.
    """
    rails = sorted({b.rail for b in rig.bottles})
    if rail not in rails:
        raise BadInput(f"the rig has no rail {rail}; it has {', '.join(map(str, rails))}")
    if not abs(warmer_k) <= MOST_WARMER_K:
        raise BadInput(
            f"{warmer_k:g} K beside the air cannot be; give -{MOST_WARMER_K:g} to {MOST_WARMER_K:g}"
        )
    if day.temp_c is None:
        raise BadInput("give the air temperature first, then how much warmer the rail is")
    return RailAir(at_s=now_s, rail=rail, warmer_k=warmer_k)


def let_down_opened(rig: Rig, day: Day, now_s: float) -> RoundOpened:
    """All bottles that may hold air are let down, spares too.

    Raises:
        BadInput: all are empty already.
    """
    needed = {b.id: 1.0 for b in rig.with_spares if not day.air.get(b.id, NOTHING_KNOWN).is_empty}
    if not needed:
        raise BadInput("every bottle is down already")
    return RoundOpened(
        at_s=now_s,
        round_id=f"r{day.rounds + 1}",
        downbeat_s=None,
        block_s=rig.habits.block_s,
        needed=needed,
        shift_cents=day.shift_cents,
        let_down=True,
    )


def swapped(rig: Rig, day: Day, one: str, other: str, now_s: float) -> Sequence[Event]:
    """Two bottles changed places, or a spare came in; a pump head on either came off before.

    Raises:
        BadInput: no such bottles, the same one twice, or they differ in size or ceiling: what the rig file
            says of their places would then be wrong.
    """
    if known(rig, one) == known(rig, other):
        raise BadInput(f"{one} cannot change places with itself; name two bottles")
    a, b = rig.bottle(one), rig.bottle(other)
    if a.volume_ml != b.volume_ml:
        raise BadInput(
            f"{one} has {a.volume_ml:g} mL and {other} {b.volume_ml:g}; write both new sizes into the rig "
            f"file, then say rounds replace --bottle of each"
        )
    if a.ceiling_kpa != b.ceiling_kpa:
        one_psi, other_psi = (f"{kpa_to_psi(c.ceiling_kpa):g} psi" for c in (a, b))
        raise BadInput(
            f"the ceiling of {one} is {one_psi} and that of {other} {other_psi}; "
            f"give both the lower one in the rig file first"
        )
    off = [
        Disconnected(at_s=now_s, bottle=head, pump=rig.bottle(head).pump)
        for head in day.heads
        if head in (one, other)
    ]
    return *off, Swapped(at_s=now_s, bottle=one, other=other)
