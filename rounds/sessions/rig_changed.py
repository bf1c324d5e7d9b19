"""What a journal left open, held against the rig at hand. Pure.

One journal serves every rig of a player, and a rig changes: a bottle is taken out, or gets another id.
Nothing after this module asks whether a bottle of an open round is there, so what the rig lacks leaves
the round here, as events that the next start folds again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.events import Disconnected, Event, RoundClosed, Skipped, TakeStopped
from rounds.wording.words import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.guide.round import RoundState
    from rounds.rig import Rig
    from rounds.sessions.day import Day

NOT_IN_RIG = "it is no longer in the rig"


@dataclass(frozen=True)
class Fitted:
    """What to journal so that nothing is left open on bottles the rig lacks, and a sentence about it."""

    events: Sequence[Event] = ()
    words: str = ""


def fitted(rig: Rig, day: Day, now_s: float) -> Fitted:
    """The day of the journal, made to fit the rig that a session starts on."""
    if day.rig is not None and day.rig != rig.name:
        return _from_another_rig(rig, day, day.rig, now_s)
    state, off = day.round, _head_off(rig, day, now_s)
    if state is None:
        return Fitted(off)
    gone = _gone(rig, state)
    if not any(rig.has_bottle(b) for b in state.opened.needed):
        closed = _closed(state, now_s)
        return Fitted((*off, closed), "The open round was ended: the rig has none of its bottles any more.")
    skipped = [Skipped(at_s=now_s, bottle=b, reason=NOT_IN_RIG) for b in gone]
    words = f"Left out of the open round, no longer in the rig: {in_words(gone)}." if gone else ""
    return Fitted((*off, *skipped), words)


def _from_another_rig(rig: Rig, day: Day, before: str, now_s: float) -> Fitted:
    """Another rig's round, take and head on a valve end; they say nothing of this one."""
    ended: list[Event] = [Disconnected(at_s=now_s, bottle=b, pump=day.mounted or "") for b in day.heads]
    if day.round is not None:
        ended.append(_closed(day.round, now_s))
    if day.take is not None:
        ended.append(TakeStopped(at_s=now_s, take=day.take.take))
    over = ", and its round was ended" if day.round is not None else ""
    return Fitted(
        ended,
        f"This journal was last used on {before!r}{over}: a bottle of the same name counts as the same one. "
        f"If it is not, give {rig.name!r} its own with --journal.",
    )


def _head_off(rig: Rig, day: Day, now_s: float) -> Sequence[Event]:
    gone = (b for b in day.heads if not rig.has_bottle(b))
    return tuple(Disconnected(at_s=now_s, bottle=b, pump=day.mounted or "") for b in gone)


def _gone(rig: Rig, state: RoundState) -> tuple[str, ...]:
    asked = state.needed if state.target is None else {**state.needed, state.target: 1.0}
    return tuple(b for b in asked if not rig.has_bottle(b))


def _closed(state: RoundState, now_s: float) -> RoundClosed:
    return RoundClosed(
        at_s=now_s,
        round_id=state.opened.round_id,
        finished=False,
        connections=state.connections,
        in_tune=len(state.accepted),
        needed=len(state.opened.needed),
    )
