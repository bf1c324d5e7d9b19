"""Was this a struck tone at all? Hiss, speech, steps and pumping make onsets too.

Four marks, from the series around the loudest peak, the spectrum and the level: a struck tone keeps its
frequency (`coherence`: noise forgets its phase from one window to the next), it is loudest at its
beginning (`early`: a voice swells), it stands out of all that sounds between 100 and 2500 Hz
(`crest_db`: noise does not, whatever its colour), and it is sudden (`jump_db`). The limits were set on
synthesised strikes and noises of other random seeds than the benchmarks'.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

LAG = 4
"""In steps of the series: windows this far apart share no sample."""
BEGINNING = 6
"""The first sixth of the series is its beginning."""
COHERENT = 0.8
LOOSELY_COHERENT = 0.5
"""Enough where two tones beat, and for a strike that is soon over and stands out well: then the rest of
the series is the room."""
SHORT_DECAY = 15.0
LOUD_AT_FIRST = 0.88
STEADY = 0.95
LOUDEST_AT_FIRST = 0.97
"""One of these two marks must be beyond doubt."""
SWELLING = 0.8
SWELLING_BEATING = 0.7
"""Under this it swells, as voices do, and is passed over; two tones that beat may begin apart."""
STANDS_OUT_DB = 30.0
STANDS_OUT_WELL_DB = 35.0
BARELY_DB = 24.0

FULL = ((0.93, 0.6, 45.0, 20.0),)
"""Coherence, beginning, crest and jump of what is steady, sudden and far over all else: a strike, though its
tone may still grow."""
THIN_COHERENT, THIN_CREST_DB = 0.95, 45.0
"""Under both of these it may be a knock on wood whose room answers with a tone."""
DULL = (
    (0.2, LOUDEST_AT_FIRST, 32.0, 20.0),
    (0.05, LOUDEST_AT_FIRST, 40.0, 20.0),
    (0.6, LOUDEST_AT_FIRST, BARELY_DB, 30.0),
    (0.6, 0.1, 38.0, 20.0),
    (0.95, 0.5, 45.0, 8.0),
)
"""The same of a sound that is answered though it is not read: a tone too short or too restless, a drum's that
glides by semitones, one that the room makes louder after the strike, or that talk is nearly as loud as."""
CERTAIN = ((0.95, 0.97, 38.0, 20.0), (0.9, 0.8, 45.0, 20.0), (0.7, 0.97, 50.0, 20.0))
"""The same beyond which it was a strike and nothing else: no step, knock or word of sixteen minutes of eight
kinds of noise came here."""

Kind = Literal["struck", "faint", "doubtful", "dull", "noise"]
"""`faint`: a struck tone close to the noise. `doubtful`: a tone, but it does not begin like a strike. `dull`:
it begins like one, but its tone is hardly there; noises make some of these too."""


@dataclass(frozen=True)
class Struckness:
    """The marks."""

    coherence: float
    early: float
    crest_db: float
    jump_db: float

    @property
    def certain(self) -> bool:
        """Whether it can be nothing but a strike."""
        return self._beyond(CERTAIN)

    def kind(self, decay: float, *, beats: bool) -> Kind:
        """What made the sound; `decay` in nepers a second, `beats`: two tones were found in it."""
        if self._beyond(FULL):
            return "struck"
        kind = self._tonal_kind(decay, beats=beats)
        return "dull" if kind == "noise" and self._beyond(DULL) else kind

    def _beyond(self, marks: tuple[tuple[float, float, float, float], ...]) -> bool:
        """Whether it is more coherent, loud at first, outstanding and sudden than one row of marks."""
        mine = (self.coherence, self.early, self.crest_db, self.jump_db)
        return any(all(own > least for own, least in zip(mine, row, strict=True)) for row in marks)

    def _tonal_kind(self, decay: float, *, beats: bool) -> Kind:
        loosely = (beats or decay > SHORT_DECAY) and self.crest_db > STANDS_OUT_WELL_DB
        if self.coherence < (LOOSELY_COHERENT if loosely else COHERENT) or self.crest_db < BARELY_DB:
            return "noise"
        steady = loosely or self.coherence > STEADY or self.early > LOUDEST_AT_FIRST
        if self.early < LOUD_AT_FIRST or not steady:
            swelling = SWELLING_BEATING if beats else SWELLING
            return "doubtful" if self.early > swelling else "noise"
        if self.coherence < THIN_COHERENT and self.crest_db < THIN_CREST_DB:
            return "doubtful"
        return "struck" if self.crest_db > STANDS_OUT_DB else "faint"


def coherence(values: NDArray[np.complex128]) -> float:
    """How well the phase at one moment foretells the next, 0 to 1, weighted with the power."""
    products = values[LAG:] * values[:-LAG].conj()
    return float(np.abs(products.sum()) / max(float(np.abs(products).sum()), 1e-30))


def early(values: NDArray[np.complex128]) -> float:
    """Largest amplitude at the beginning against the largest of all."""
    size = np.abs(values)
    return float(size[: max(2, values.size // BEGINNING)].max() / max(float(size.max()), 1e-30))
