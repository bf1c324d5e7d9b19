"""What a generator of strikes gives: the sound, when it is struck, and the pitch that is true."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Strike:
    """A recording of one bottle, struck once or more.

    `true_hz` is the late, steady pitch of its louder main mode, which the ear takes for the note while it
    rings. Where it was itself measured (real instruments), it is known to `known_to_cents`.
    """

    generator: str
    condition: str
    samples: NDArray[np.float32]
    sample_rate_hz: int
    at_s: tuple[float, ...]
    """When the mallet first touches, each time."""
    true_hz: float
    target_hz: float | None
    """What the listener is told to wait for; None: any bottle."""
    half_width_cents: float = 220.0
    known_to_cents: float = 0.0
    others_before: bool = False
    """Whether another bottle is struck before it."""
    glide_cents: float = 0.0
    """How far above `true_hz` it begins."""
