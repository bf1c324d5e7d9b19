"""What planning asks of the beliefs, and nothing more.

A protocol, so that plans can be tested on beliefs written down by hand and no import runs from
planning back to the fold over the journal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from rounds.gauss import Gauss

    Floats = NDArray[np.float64]


class BeliefsProtocol(Protocol):
    """Beliefs about every bottle. Cents are off the nominal target, pump off; times in UTC seconds."""

    def heard(self, bottle_id: str) -> bool:
        """Whether the bottle was ever read since its last replacement."""

    def changed_since_reading(self, bottle_id: str) -> bool:
        """Whether air moved since the last clear reading."""

    def level(self, bottle_id: str, at_s: float, temp_c: float | None = None) -> Gauss:
        """Cents off the nominal target."""

    def path(
        self, bottle_id: str, at_s: float, minutes: Sequence[float], temp_c: float | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and sd of the level at minutes after at_s, if nobody touches the bottle."""

    def gain(self, bottle_id: str, pump_id: str) -> Gauss:
        """Hz² that one full stroke adds."""

    def pin_gain(self, bottle_id: str) -> Gauss:
        """Hz² that one stroke's worth of air takes when let out at the valve."""

    def head_loss(self, bottle_id: str) -> Gauss:
        """Cents by which the pitch changes when the pump head comes off (negative)."""

    def settling(self, bottle_id: str, change_cents: float) -> Gauss:
        """Cents that come back in the minutes after a quick change, as a change of pitch."""
