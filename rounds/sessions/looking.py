"""What health says of the bottles of a round, said where the player stands at the valve.

Worked out when a round opens, from all that happened before it: a session that was killed and is taken up
again says the same.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.health import at_the_valve
from rounds.health.remembering import brought_up, from_checkpoint

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.events import RoundOpened
    from rounds.health.remembering import Remembered
    from rounds.instruction import Instruction
    from rounds.journal import Log
    from rounds.rig import Rig

MOST_EVENTS = 20_000
"""More than this is not worked through while a player waits: `rounds health` does, and keeps what it
found."""
AT_A_VALVE = ("connect", "release", "gauge")


class Looking:
    """What to look at, by bottle; nothing before the first round."""

    def __init__(self) -> None:
        self.words: Mapping[str, str] = {}
        self.expected: Mapping[str, float] = {}
        """Where bottles were expected when the round opened; nothing is known of a round that was taken
        up."""
        self._known: Remembered | None = None

    def look(self, rig: Rig, log: Log, now_s: float, opened: RoundOpened | None = None) -> None:
        """Work it out now, or as it was when a round was opened that is taken up again."""
        known = self._known or from_checkpoint(rig, log)
        if log.last_id - known.last_id > MOST_EVENTS:
            return
        self._known = brought_up(rig, log, known, before=opened)
        self.words = at_the_valve(rig, self._known.histories, now_s if opened is None else opened.at_s)

    def said_with(self, told: Instruction) -> Instruction:
        """An order with what to look at, where it leads to a valve."""
        words = self.words.get(told.bottle or "")
        if words is None or told.act not in AT_A_VALVE:
            return told
        return replace(told, why=f"{told.why}; {words}" if told.why else words)
