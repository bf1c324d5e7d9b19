"""All the strikes of a recording."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.hearing.ear import Ear

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rounds.hearing.reading import Expectation, Reading
    from rounds.hearing.sources import Source


def strikes(source: Source, expectation: Expectation) -> Iterator[Reading]:
    """One reading a strike, in order."""
    ear = Ear(source.sample_rate_hz, expectation, stages=("final",), every=True)
    for block in source.blocks():
        yield from ear.feed(block)
    yield from ear.flush()
