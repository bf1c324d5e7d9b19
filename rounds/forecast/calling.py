"""Whether to call the players between rounds, in four states that are said in words.

A call is made when a round is due, and never while nobody is out: the due time comes from chances, and who is
out from what is believed now. While a take runs nothing is said at all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from rounds.belief.in_or_out import tuned
from rounds.gauss import Gauss
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rounds.belief import Beliefs
    from rounds.forecast.drift import Due
    from rounds.rig import Rig

Call = Literal["well", "soon", "due", "filming", "unheard"]
"""`unheard`: no needed bottle was heard, so nothing can be said."""
SOON_S = 600.0
"""A first bottle that leaves within this long is said to leave soon. Our guess."""
MOST_NAMED = 3


def out_now(
    rig: Rig, beliefs: Beliefs, awaited: Iterable[str], at_s: float, shift_cents: float = 0.0
) -> tuple[str, ...]:
    """Which of the bottles waited for are out now, by the rule that the rails are drawn by."""
    found = []
    for bottle_id in awaited:
        level = beliefs.level(bottle_id, at_s)
        off = Gauss(level.mean - shift_cents, level.sd)
        if beliefs.heard(bottle_id) and tuned(off, rig.bottle(bottle_id).tolerance_cents) != "in_tune":
            found.append(bottle_id)
    return tuple(found)


def call_of(due: Due, now_s: float, out: int, *, filming: bool) -> Call:
    """The state at one moment. `out`: how many of the bottles waited for are out now, as believed."""
    if filming:
        return "filming"
    if not due.heard:
        return "unheard"
    if due.due_s is not None and due.due_s <= now_s and out > 0:
        return "due"
    soon = due.first_s is not None and due.first_s - now_s <= SOON_S
    return "soon" if out > 0 or soon else "well"


def call_words(due: Due, now_s: float, call: Call) -> str:
    """The state as a sentence without its full stop."""
    match call:
        case "filming":
            return "filming: silent until the cut"
        case "unheard":
            return "nothing is known yet: no needed bottle was heard"
        case "due":
            return f"a round is due: {due.reason}"
        case "well":
            return f"all well: {_first_out(due, now_s) or due.reason}"
    if due.first_s is None or due.first_s > now_s:
        return f"first bottles soon: {_first_out(due, now_s) or due.reason}"
    return f"first bottles out: {_first_out(due, now_s)}; {_when(due, now_s)}"


def _first_out(due: Due, now_s: float) -> str:
    """`C3 and D3 are likely out in 6 min`; empty where nobody leaves."""
    if due.first_s is None:
        return ""
    when = "now" if due.first_s <= now_s else f"in {_minutes(due.first_s, now_s)}"
    verb = "is" if len(due.first) == 1 else "are"
    return f"{in_words(due.first, MOST_NAMED)} {verb} likely out {when}"


def _when(due: Due, now_s: float) -> str:
    """When a round is due where it is not due now."""
    if due.due_s is None:
        return "no round is due for that"
    if due.put_off_until_s is not None and due.put_off_until_s > now_s:
        return f"put off for {_minutes(due.put_off_until_s, now_s)} more"
    return f"a round is due in {_minutes(due.due_s, now_s)}"


def _minutes(at_s: float, now_s: float) -> str:
    return f"{max(1, round((at_s - now_s) / 60.0))} min"
