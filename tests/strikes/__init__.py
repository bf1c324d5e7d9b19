"""Strikes by several hands: generators that share no code and no laws, so that each can examine the others.

`make(generator, condition, seed)` gives a `Strike`; the same three always give the same one. Numbers under
60 000 are for fitting, higher ones for proof; of `mesh` none may be used for fitting.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.strikes import chains, mesh, modal, own, sampled
from tests.strikes.strike import Strike

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["CHAINS", "CONDITIONS", "FITTED", "NEVER_FITTED", "Strike", "make", "missing"]

FITTED = ("own", "modal", "sampled")
NEVER_FITTED = "mesh"
CHAINS = chains.CONDITIONS
"""What may stand between any of them and the program."""
_MAKERS: dict[str, Callable[[str, int], Strike]] = {
    "own": own.make,
    "modal": modal.make,
    "sampled": sampled.make,
    "mesh": mesh.make,
}
_OF_ITS_OWN = {
    "own": own.CONDITIONS,
    "modal": modal.CONDITIONS,
    "sampled": sampled.CONDITIONS,
    "mesh": mesh.CONDITIONS,
}
CONDITIONS = {name: (*of_its_own, *CHAINS) for name, of_its_own in _OF_ITS_OWN.items()}
"""What each generator can do."""
_PLACED = {
    "own": ("close microphone", "reverberant"),
    "modal": ("near", "room"),
    "sampled": ("near", "room"),
    "mesh": ("near", "room"),
}
"""Where the microphone of a chain stands, by turns."""


def make(generator: str, condition: str, seed: int) -> Strike:
    """Strike number `seed` of a generator under a condition.

    Raises:
        KeyError: there is no such generator.
        ValueError: the generator has no such condition.
    """
    if condition in CHAINS:
        placed = _PLACED[generator][seed % 2]
        return chains.through(_MAKERS[generator](placed, seed), condition, seed)
    return _MAKERS[generator](condition, seed)


def missing(generator: str, condition: str) -> str | None:
    """What this machine lacks for it, in words; None where nothing."""
    return sampled.missing(condition) if generator == "sampled" else None
