"""Where strikes begin, block by block, by aubio's onset detector.

aubio wants float32, one-dimensional, exactly one hop at a time; whatever comes in is cut to that
here. Its default silence of -50 dB hides quiet strikes, so it is set to -90. It also fires at the
start of a stream and on hiss: whether an onset was a strike is for the reading to say.
"""

from __future__ import annotations

import numpy as np

from rounds.hearing.detectors import onset_detector

FRAME = 512
HOP = 128
THRESHOLD = 0.06
SILENCE_DB = -90.0
MIN_GAP_S = 0.02
"""Short, so that a bounce of the mallet is seen; the ear makes one strike of them."""


class Onsets:
    """A stream of samples in, indices of onsets out (counted from the first sample fed)."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._detector = onset_detector(
            sample_rate_hz, frame=FRAME, hop=HOP, threshold=THRESHOLD, silence_db=SILENCE_DB, gap_s=MIN_GAP_S
        )
        self._rest = np.zeros(0, np.float32)

    def feed(self, block: np.ndarray) -> list[int]:
        """Onsets that this block completes."""
        pending = np.concatenate([self._rest, block.astype(np.float32, copy=False)])
        whole = pending.size - pending.size % HOP
        self._rest = pending[whole:]
        hops = pending[:whole].reshape(-1, HOP)
        return [int(self._detector.get_last()) for hop in hops if self._detector(hop)[0] > 0.0]
