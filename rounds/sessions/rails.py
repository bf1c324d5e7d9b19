"""Whether the bottles of one rail read warmer together than the others: sun on it, or a heater beside it.
Pure.

Single bottles make bad thermometers; a rail of them, each against what was expected of it when the round
began, makes a fair one. What is found is said, and the player says whether it is so.
"""

from __future__ import annotations

import math
import statistics
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.belief import Beliefs
    from rounds.guide.round import RoundState
    from rounds.rig import Rig

LEAST_BOTTLES = 4
"""So many bottles of a rail, and so many of the others, have to be heard."""
MEDIAN_SE = 1.2533
"""The standard error of a median beside that of a mean, of a normal distribution: the root of pi/2."""
LEAST_K, LEAST_SE = 1.5, 4.0
"""So much warmer, and so many standard errors, before anything is said. Our guess."""
MAD_TO_SD = 1.4826
"""From the median of distances to the standard deviation of a normal distribution."""


def expected_now(beliefs: Beliefs, at_s: float) -> dict[str, float]:
    """Where each bottle that was heard before is expected, cents."""
    return {b: beliefs.level(b, at_s).mean for b in beliefs.tracks if beliefs.heard(b)}


def warmer_rail(
    rig: Rig, beliefs: Beliefs, state: RoundState, expected: Mapping[str, float]
) -> tuple[int, float] | None:
    """The rail whose bottles read warmest or coldest beside the others, and by how many kelvin; None: none
    does.

    Only bottles whose air was not moved in this round count.
    """
    kelvin: dict[int, list[float]] = {}
    for bottle_id, heard in state.heard.items():
        if bottle_id in expected and bottle_id not in state.visited:
            per_k = beliefs.priors[bottle_id].per_kelvin.mean
            off = (heard.cents - expected[bottle_id]) / per_k
            kelvin.setdefault(rig.bottle(bottle_id).rail, []).append(off)
    found = {rail: _beside(kelvin, rail) for rail in kelvin}
    sure = {rail: k for rail, k in found.items() if k is not None}
    rail = max(sure, key=lambda r: abs(sure[r]), default=None)
    return None if rail is None else (rail, sure[rail])


def _beside(kelvin: Mapping[int, list[float]], rail: int) -> float | None:
    own, others = kelvin[rail], [k for r, of in kelvin.items() if r != rail for k in of]
    if min(len(own), len(others)) < LEAST_BOTTLES:
        return None
    apart = statistics.median(own) - statistics.median(others)
    se = MEDIAN_SE * _spread(kelvin) * math.sqrt(1.0 / len(own) + 1.0 / len(others))
    return apart if abs(apart) >= max(LEAST_K, LEAST_SE * se) else None


def _spread(kelvin: Mapping[int, list[float]]) -> float:
    """Sd of single bottles about the middle of their rail, from distances: wild ones count little."""
    off = [abs(k - statistics.median(of)) for of in kelvin.values() for k in of]
    return MAD_TO_SD * statistics.median(off)


def in_words(rail: int, warmer_k: float) -> str:
    """A sentence that says what was found and what may be done."""
    much = f"{abs(warmer_k):.1f} K {'warmer' if warmer_k > 0.0 else 'colder'}"
    said = f"The bottles of rail {rail} read {much} than the others"
    return f"{said}: sun, a draught? If so, say rail {rail} {warmer_k:.1f}."
