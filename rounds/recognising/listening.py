"""Between the session and the ear: what to wait for, and what was heard."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.hearing.reading import Expectation
from rounds.recognising.recognition import MOST_U95_CENTS, Sounded

if TYPE_CHECKING:
    from rounds.hearing.reading import Reading
    from rounds.recognising.recognition import Listening


def expectation_of(listening: Listening) -> Expectation:
    """What the ear shall wait for."""
    beside = None if listening.beside is None else expectation_of(listening.beside)
    return Expectation(listening.target_hz, listening.half_width_cents, listening.others_hz, beside)


def sounded_of(reading: Reading) -> Sounded:
    """A reading as the session takes it."""
    return Sounded(
        hz=reading.hz,
        u95_cents=None if reading.u95_cents is None else min(reading.u95_cents, MOST_U95_CENTS),
        verdict=reading.verdict,
        advice=reading.advice,
        ring_s=reading.ring_s,
        peak_dbfs=reading.peak_dbfs,
        clipped=reading.clipped,
    )
