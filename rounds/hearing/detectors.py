"""The only module that sees aubio: what detects onsets, and a coarse pitch.

docs/hearing.md says what would take its place if it were no longer kept up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from numpy.typing import NDArray


class OnsetDetector(Protocol):
    """Takes a stream hop by hop: float32, one-dimensional, exactly one hop at a time."""

    def __call__(self, hop: NDArray) -> NDArray:  # type: ignore[type-arg]
        """A number above 0 where an onset was found."""

    def get_last(self) -> int:
        """The sample of the newest onset, counted from the first sample taken."""


class PitchDetector(Protocol):
    """Takes a stream hop by hop and gives the pitch in Hz, 0 where it finds none."""

    def __call__(self, hop: NDArray) -> NDArray:  # type: ignore[type-arg]
        """The pitch at this hop."""


def onset_detector(
    sample_rate_hz: int, *, frame: int, hop: int, threshold: float, silence_db: float, gap_s: float
) -> OnsetDetector:
    """A detector of onsets by high-frequency content.

    Args:
        sample_rate_hz: of the stream.
        frame: samples of a spectrum, a power of two.
        hop: samples between two.
        threshold: of the peak picker.
        silence_db: below this nothing is an onset.
        gap_s: no two onsets are nearer.
    """
    # Late: aubio takes 150 ms to import, and reading a rig must not pay for it.
    import aubio

    detector = aubio.onset("hfc", frame, hop, sample_rate_hz)
    detector.set_threshold(threshold)
    detector.set_silence(silence_db)
    detector.set_minioi_s(gap_s)
    found: OnsetDetector = detector
    return found


def comb_detector(sample_rate_hz: int, *, frame: int, hop: int) -> PitchDetector:
    """A coarse pitch by a harmonic comb; `frame` is a power of two."""
    import aubio

    found: PitchDetector = aubio.pitch("fcomb", frame, hop, sample_rate_hz)
    return found
