"""What is waited for, and what was heard: the types between the ear and everybody who asks it.

No numpy here, so that sessions and faces can speak of readings without what makes them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from rounds.events import Verdict

Stage = Literal["provisional", "final"]
"""A mere hint at 0.15 s, and the reading that counts: at 0.42 s where it rings on, at 0.26 s where not."""

RINGS_ON_S = 0.4
"""Of a strike that rings (T60) at least this long the later part is read."""


ADVICE: dict[Verdict, str] = {
    "clear": "",
    "unclear": "Too much echo. Bring the mic within a hand of the bottle, then strike again.",
    "two_ringing": "Another bottle still rings. Damp it, then strike again.",
    "quiet": "Strike harder, or bring the microphone closer.",
    "other_bottle": "That was another bottle. Strike the one asked for.",
}
"""What to do after each verdict; the more was heard of a bottle waited for, the earlier it stands."""


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
    """One strike as heard: from the ear, or told in numbers.

    `hz` and `u95_cents` are given whenever a tone was found, `cents` only when the target's own tone
    was; trust them only when the verdict is clear. For another bottle, `hz` is that bottle's. `hz` is
    None when there was no tone at all: whatever made the noise was not a strike.
    """

    hz: float | None
    u95_cents: float | None
    verdict: Verdict = "clear"
    advice: str = ""
    """What to do when it is not clear."""
    ring_s: float | None = None
    peak_dbfs: float | None = None
    clipped: bool = False
    at_s: float = 0.0
    """The onset on the source's own clock, the same for all stages of one strike."""
    cents: float | None = None
    stage: Stage = "final"
    glide_cents: float | None = None
    """How much higher it began than it stays, where it was heard to glide."""
    certain: bool = True
    """Whether it can be nothing but a strike: talk and steps make readings that are not."""

    @property
    def rings_on(self) -> bool:
        """Whether its later part is worth waiting for."""
        return self.hz is not None and (self.ring_s is None or self.ring_s >= RINGS_ON_S)

    @property
    def final(self) -> bool:
        """Whether this is more than the first quick look."""
        return self.stage != "provisional"

    def fainter_than(self, level_dbfs: float) -> bool:
        """Whether its peak is known to be under a level."""
        return self.peak_dbfs is not None and self.peak_dbfs < level_dbfs
