"""Is the microphone muted? One that is gives only zeros; so does one behind a noise gate between strikes."""

from __future__ import annotations

DEAD_DBFS = -100.0
"""No converter is this quiet: under this there is no sound at all."""
MUTED_S = 5.0
GATED_S = 60.0
"""Where sound came back after zeros before, it is a gate that waits for a strike, and so long is waited."""
STRETCH_S = 0.3

MUTED = "Nothing comes in: unmute the microphone, or strike, if it cuts quiet sounds off."


class Muted:
    """Watches the level of one microphone."""

    def __init__(self) -> None:
        self._zeros_s = 0.0
        self._heard = self._gated = False

    def feed(self, level_dbfs: float, seconds: float) -> bool:
        """Take the level of so many seconds; whether the microphone is to be called muted."""
        if level_dbfs >= DEAD_DBFS:
            self._gated = self._gated or (self._heard and self._zeros_s > STRETCH_S)
            self._heard, self._zeros_s = True, 0.0
        else:
            self._zeros_s += seconds
        return self.muted

    @property
    def muted(self) -> bool:
        """Whether it has been silent for too long."""
        return self._zeros_s >= (GATED_S if self._gated else MUTED_S) - 1e-9
