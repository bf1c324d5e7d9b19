"""All the strikes of a recording: the best reading of each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.hearing.ear import Ear

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rounds.hearing.reading import Expectation, Reading
    from rounds.hearing.sources import Source


def strikes(source: Source, expectation: Expectation) -> Iterator[Reading]:
    """One reading a strike, in order: the update where a strike rings on, else the final one."""
    ear = Ear(source.sample_rate_hz, expectation, stages=("final", "update"))
    held: Reading | None = None
    for reading in _readings(ear, source):
        if held is not None and reading.at_s != held.at_s:
            yield held
        held = reading
    if held is not None:
        yield held


def _readings(ear: Ear, source: Source) -> Iterator[Reading]:
    for block in source.blocks():
        yield from ear.feed(block)
    yield from ear.flush()
