"""What is waited for, and what was heard: the types between the ear and everybody who asks it.

No numpy here, so that sessions and faces can speak of readings without what makes them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from rounds.events import Verdict

Stage = Literal["provisional", "final", "update"]
"""Readings of one strike at 150 ms, at 250 ms and, where it still rings, at 400 ms."""


@dataclass(frozen=True)
class Expectation:
    """What the listener waits for. `target_hz` None: any bottle between 100 and 2500 Hz.

    `others_hz` are the pitches of the other bottles where known (all bottles when there is no target).
    """

    target_hz: float | None = None
    half_width_cents: float = 220.0
    others_hz: tuple[float, ...] = ()
    beside: Expectation | None = None
    """Another bottle that may be struck as well, by a second person; a strike is that of one of them."""


@dataclass(frozen=True)
class Reading:
    """One strike as heard. `at_s` is the onset on the source's own clock, the same for all stages of it.

    `hz` and `u95_cents` are given whenever a tone was found, `cents` only when the target's own tone
    was; trust them only when the verdict is clear. For another bottle, `hz` is that bottle's. `hz` is
    None when there was no tone at all: whatever made the noise was not a strike.
    """

    at_s: float
    hz: float | None
    cents: float | None
    u95_cents: float | None
    verdict: Verdict
    ring_s: float | None
    peak_dbfs: float
    clipped: bool
    advice: str = ""
    stage: Stage = "final"

    @property
    def final(self) -> bool:
        """Whether this is more than the first quick look."""
        return self.stage != "provisional"
