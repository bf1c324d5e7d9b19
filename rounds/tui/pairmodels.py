"""From a view of two people to what the widgets paint. No rule is made here, as in `rounds.tui.models`."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.tui import models
from rounds.tui.widgets.pair import MARKS, BoardModel, WhoModel
from rounds.wording import shown
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.faces.view import View
    from rounds.tui.widgets.rails import RailsModel
    from rounds.tui.widgets.reading import ReadingModel


def of(view: View, person: int) -> View:
    """The view as one of the two has it."""
    own = view.people[person]
    return replace(view, instruction=own.instruction, pump_on=own.pump_on)


def boards(view: View) -> tuple[BoardModel, ...]:
    """Both orders."""
    return tuple(_board(view, i) for i in range(len(view.people)))


def _board(view: View, person: int) -> BoardModel:
    own = view.people[person]
    told = own.instruction
    deed, why = (plain(shown.sentence(text), 240) for text in (told.detail, told.why))
    caution = "" if told.caution == told.why else plain(told.caution or "", 240)
    who = WhoModel(person, own.has_keys, own.holds and told.bottle is not None, deed, why, caution)
    return BoardModel(who, models.slab(of(view, person)))


def reading(view: View) -> ReadingModel:
    """The newest strike, marked with the person who struck."""
    heard = view.reading
    if heard is None or heard.person is None:
        return models.reading(view)
    found = models.reading(of(view, heard.person))
    return replace(found, note=f"{MARKS[heard.person]} {found.note}".rstrip())


def rails(view: View) -> RailsModel:
    """Every bottle, with both hands and both heads."""
    here = tuple(p.instruction.bottle for p in view.people if p.instruction.bottle is not None)
    heads = tuple(p.pump_on for p in view.people if p.pump_on is not None)
    return replace(models.rails(view), all_here=here, all_heads=heads)
