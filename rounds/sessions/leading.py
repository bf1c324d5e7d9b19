"""The plan and the instruction of one person in a round, and since when it stands.

A round of several people has one of these for each. All that is decided comes from
`rounds.guide.advice`; what is kept here is only what a restart may lose.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.guide.instructions import idle, strike_again
from rounds.notes import cents
from rounds.sessions.replanning import Replanner
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.guide.round import RoundState
    from rounds.instruction import Instruction
    from rounds.planning import RoundPlan
    from rounds.rig import Rig

NEAR_CENTS = 150.0
"""Two people are not sent to bottles this near in pitch at once, where there are others."""


class Lead:
    """One person's instruction and plan."""

    def __init__(self, now_s: float) -> None:
        self.told: Instruction = idle("no round is open")
        self.told_s = self.asked_s = now_s
        self.replanner = Replanner()

    def copy(self) -> Lead:
        """A copy that later instructions do not change."""
        twin = Lead(self.told_s)
        twin.told, twin.asked_s, twin.replanner = self.told, self.asked_s, self.replanner.copy()
        return twin

    def tell(self, instruction: Instruction, now_s: float) -> None:
        """This is to be done now."""
        if (instruction.act, instruction.bottle) != (self.told.act, self.told.bottle):
            self.asked_s = now_s
        if instruction != self.told:
            self.told, self.told_s = instruction, now_s

    @property
    def refused(self) -> bool:
        """Whether a refusal at the ceiling is being shown."""
        return self.told.act == "none" and self.told.bottle is not None

    def shown(self, rig: Rig, unclear_s: float | None) -> Instruction:
        """What is to be done. After a strike that was not understood, no air: only another strike."""
        unclear = unclear_s is not None and unclear_s >= self.asked_s
        if not unclear or not self.told.strokes or self.told.bottle is None:
            return self.told
        return strike_again(self.told, rig.bottle(self.told.bottle).note.name)


def held(told: Instruction, first: int, *, late: bool = False) -> Instruction:
    """The same work, but the strike waits for somebody else's; not for ever when that one is late."""
    if not told.then_strike:
        return told
    why = f"person {first + 1} strikes first{', or strike when it is quiet' if late else ''}"
    if told.act == "strike":
        return replace(told, act="wait", why=why, headline="Hold")
    return replace(told, why=f"{why}, then you; {told.why}" if told.why else why)


def stand_by(told: Instruction, mine: RoundState, left: Sequence[int]) -> Instruction:
    """Nothing more for this person, while others (by number, with what is left to each) work on.

    Args:
        told: that there is nothing to do.
        mine: their own round.
        left: bottles left to each person.
    """
    why = told.why
    if not mine.opened.needed:
        why = "no bottle of this round is yours"
    elif not mine.open_bottles:
        skipped = in_words(list(mine.skipped))
        why = f"your others are in tune; skipped: {skipped}" if mine.skipped else "yours are in tune"
    others = ", ".join(f"{n} left with person {i}" for i, n in enumerate(left, 1) if n)
    return replace(told, why=f"{why}. {others}", headline="Stand by")


def kept_apart(rig: Rig, plan: RoundPlan, elsewhere: Sequence[str]) -> RoundPlan:
    """The same plan, with bottles near in pitch to those others work on put last where nothing hurries."""

    def near(bottle_id: str) -> bool:
        hz = rig.target_hz(bottle_id)
        return any(abs(cents(hz, rig.target_hz(other))) < NEAR_CENTS for other in elsewhere)

    listen = tuple(sorted(plan.listen, key=near))
    hurry = plan.finish_before_downbeat_s is not None
    visits = plan.visits if hurry else tuple(sorted(plan.visits, key=lambda v: near(v.bottle)))
    return replace(plan, listen=listen, visits=visits)
