"""Several people in one round: a one-person round for each, side by side, and in which order they strike.

Each has the bottles of their own pumps, so nobody's next step depends on another's hands, and all that
leads one person leads each of them unchanged. Only the microphone is shared. A strike that cannot be
told is nobody's; after it they strike one after the other, until each was heard once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.events import VERDICTS, Event, RoundOpened, Strike, Swapped
from rounds.guide.round import RoundState, advance, begin

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_PEOPLE = 2
NOT_UNDERSTOOD = frozenset(VERDICTS) - {"clear"}
"""Verdicts after which it is not known whether the air that was asked for has gone in."""


@dataclass(frozen=True)
class People:
    """Everybody's own round, and what their strikes left open."""

    rounds: tuple[RoundState, ...]
    unclear_s: tuple[float, ...]
    """When a strike was not understood that may have been theirs; minus infinity once one was."""
    turns: tuple[int, ...] = ()
    """Those still to strike one after the other; empty: as they like."""
    heard_last: int | None = None
    """Whose strike was believed last."""

    def owner(self, bottle_id: str | None) -> int | None:
        """The person who tunes a bottle; None when nobody does."""
        shares = self.rounds[0].opened.shares
        return next((i for i, share in enumerate(shares) if bottle_id in share), None)

    def after(self, event: Event) -> People:
        """Everybody's round after an event, which is that of one person or of all."""
        who = self._whose(event)
        rounds = tuple(advance(r, event) if i in who else r for i, r in enumerate(self.rounds))
        moved = any(a is not b for a, b in zip(rounds, self.rounds, strict=True))
        people = replace(self, rounds=rounds) if moved else self
        return people._heard(event, who) if isinstance(event, Strike) and not event.playing else people

    def doubted(self, strike: Strike) -> People:
        """After a strike that was taken back: it is not known whether the air that was asked for is in."""
        return replace(self, unclear_s=self._unclear(self._whose(strike), strike.at_s))

    def _whose(self, event: Event) -> tuple[int, ...]:
        if isinstance(event, Swapped):
            return tuple(range(len(self.rounds)))
        owner = self.owner(getattr(event, "bottle", None))
        if owner is not None:
            return (owner,)
        if isinstance(event, Strike):
            return () if event.person is None else (event.person,)
        return tuple(range(len(self.rounds)))

    def _heard(self, strike: Strike, who: tuple[int, ...]) -> People:
        """The person to strike next: one who was not understood strikes again, after the others."""
        if strike.verdict == "clear":
            heard_last = who[0] if who else self.heard_last
            left = tuple(i for i in self.turns if i not in who)
            known = self._unclear(who, -math.inf)
            return replace(self, turns=left, heard_last=heard_last, unclear_s=known)
        turns = self.turns[1:] + self.turns[:1]
        if not turns and not who:
            turns = tuple(range(len(self.rounds)))
        return replace(self, turns=turns, unclear_s=self._unclear(who or turns, strike.at_s))

    def _unclear(self, who: tuple[int, ...], at_s: float) -> tuple[float, ...]:
        return tuple(at_s if i in who else was for i, was in enumerate(self.unclear_s))


def assemble(opened: RoundOpened, heads: Sequence[str] = ()) -> People | None:
    """Everybody's own round of one that was opened for several; None when it is for one person.

    A head that is on goes to whoever has its bottle.
    """
    if len(opened.shares) < 2:
        return None
    rounds = []
    for share in opened.shares:
        theirs = {b: w for b, w in opened.needed.items() if b in share}
        rounds.append(begin(replace(opened, needed=theirs), [b for b in heads if b in share]))
    return People(tuple(rounds), (-math.inf,) * len(rounds))
