"""A4 of a recording: the pitch that a bottle of the rig, or anything else struck, was in tune with."""

from __future__ import annotations

import statistics
from contextlib import closing

from rounds.errors import BadInput
from rounds.hearing.reading import Expectation
from rounds.hearing.recording import strikes
from rounds.hearing.sources import open_recording
from rounds.notes import STANDARD_A4_HZ, cents, nearest_note

APART_CENTS = 30.0
"""Strikes whose distances to their notes differ by more than this have no A4 in common."""


def a4_of_recording(path: str) -> float:
    """A4 in hertz: each clear strike counts as its nearest note, and the median of what they say is taken.

    Raises:
        BadInput: no strike is clear, or they are not in tune with one another.
        RoundsError: it cannot be read.
    """
    with closing(open_recording(path)) as source:
        heard = [r.hz for r in strikes(source, Expectation()) if r.verdict == "clear" and r.hz is not None]
    off = [cents(hz, nearest_note(hz).hz()) for hz in heard]
    if not off:
        raise BadInput(f"{path}: no strike is clear, so there is no A4 to match; record one bottle alone")
    low, high = min(off), max(off)
    if high - low > APART_CENTS:
        raise BadInput(
            f"{path}: its strikes are {low:+.0f} to {high:+.0f} cents off their notes, so they have no A4 in "
            f"common; record one bottle that was in tune"
        )
    return float(STANDARD_A4_HZ * 2.0 ** (statistics.median(off) / 1200.0))
