"""From a `View` between rounds to what each widget paints: whether to tune, what plays, what comes first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.faces.view import sign
from rounds.tui.models import downbeat_fact, sound_facts, tally_text, weather_facts
from rounds.tui.widgets.lines import Said
from rounds.tui.widgets.slab import SlabModel
from rounds.tui.widgets.strip import Fact, StripModel
from rounds.wording import shown
from rounds.wording.printable import plain
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.faces.controller import Level
    from rounds.faces.view import BottleView, View
    from rounds.forecast.playable import Playable

_FIRST_SHOWN = 3
_NOTES_NAMED, _FEW_NAMED = 6, 2
_NARROW = 72
GO_ROUND = 2
"""A piece without more notes than this is played round them. Our guess."""
_OUT = ("wants_air", "too_full", "unsure", "unheard")


def strip(view: View, level: Level) -> StripModel:
    """The heading between rounds."""
    facts = [Fact("", tally_text(view), loud=True)]
    if view.downbeat_in_s is not None:
        facts.insert(0, downbeat_fact(view.downbeat_in_s))
    return StripModel("BETWEEN", (*facts, *weather_facts(view), *sound_facts(level)))


def slab(view: View) -> SlabModel:
    """Whether to tune, in the largest letters; a light slab where it is time."""
    return SlabModel("gauge" if view.due.overdue else "none", "", headline(view))


def headline(view: View) -> str:
    """`TUNE NOW`, `FIRST IN 8 MIN`, `ALL HOLD`, `WAIT 5 MIN`, `LISTEN FIRST`: no clock that ticks."""
    due = view.due
    if due.overdue:
        return "TUNE NOW"
    if due.call == "unheard":
        return "LISTEN FIRST"
    if due.snoozed_s is not None:
        return f"WAIT {_minutes(due.snoozed_s)} MIN"
    if due.call == "well":
        return "ALL HOLD"
    if due.due_s is not None and due.due_s > 0.0:
        return f"TUNE IN {_minutes(due.due_s)} MIN"
    first_min = min((b.leaves_min for b in view.bottles if _waits(b) and b.leaves_min), default=None)
    out = sum(b.state in _OUT for b in view.bottles if _waits(b))
    return f"FIRST IN {max(1, round(first_min))} MIN" if first_min is not None and not out else f"{out} OUT"


def _waits(bottle: BottleView) -> bool:
    """Whether a bottle counts for the next round."""
    return bottle.needed and bottle.state not in ("left_out", "set_aside")


def _minutes(seconds: float) -> int:
    return max(1, round(seconds / 60.0))


def reasons(view: View, keyed: Callable[[str], str] = str) -> tuple[Said, ...]:
    """Why, and what would be done first."""
    ahead = first_ones(view)
    names = ", ".join(f"{plain(b.id, 8)} {sign(b)}" for b in ahead[:_FIRST_SHOWN])
    more = f" +{len(ahead) - _FIRST_SHOWN}" if len(ahead) > _FIRST_SHOWN else ""
    temp = "" if view.temp_c is not None else "{temperature}: tell the air temperature."
    parts = (
        shown.sentence(plain(view.due.words or view.due.reason, 240)),
        f"First: {names}{more}." if names else shown.NOBODY_FIRST,
        _left_out(view),
        keyed(temp),
    )
    return tuple(Said(part, "bold") for part in parts if part)


def _left_out(view: View) -> str:
    left = [plain(b.id, 8) for b in view.bottles if b.needed and not _waits(b)]
    return f"Left out, makes no round due: {in_words(left, 3)}." if left else ""


def first_ones(view: View) -> list[BottleView]:
    """Bottles that would be done first: the path where there is one, else those soonest or already out."""
    ahead = list(view.path)
    if ahead:
        return ahead
    out = [b for b in view.bottles if _waits(b) and b.state in _OUT]
    return sorted(out, key=lambda b: (b.leaves_min is None, b.leaves_min or 0.0))


def pieces(view: View, most: int, width: int) -> tuple[Said, ...]:
    """What plays now, a piece a row: `/ Lantern Walk: 13 of 14 play, leave out E3`, within rows, columns."""
    named = _NOTES_NAMED if width >= _NARROW else _FEW_NAMED
    rows = [_piece(p, named) for p in view.playable]
    if len(rows) <= most:
        return tuple(rows)
    more = len(rows) - most + 1
    return (*rows[: most - 1], Said(f"  and {more} more pieces: rounds forecast lists them", "$faint"))


def _piece(piece: Playable, named: int) -> Said:
    name, out = plain(piece.piece, 24), [note.name for note in piece.leave_out]
    if not out:
        return Said(f"= {name}: all {piece.notes} play", "$faint")
    playing = f"{piece.notes - len(out)} of {piece.notes} play"
    if not piece.notes - len(out):
        return Said(f"! {name}: none of {piece.notes} plays yet", "bold")
    if len(out) <= GO_ROUND:
        return Said(f"/ {name}: {playing}, leave out {in_words(out)}", "")
    return Said(f"! {name}: {playing}, leave out {in_words(out, named)}", "bold")
