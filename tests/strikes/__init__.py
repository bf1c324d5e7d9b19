"""Strikes by several hands: generators that share no code and no laws, so that each can examine the others.

`make(generator, condition, seed)` gives a `Strike`; the same three always give the same one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.strikes import modal
from tests.strikes.strike import Strike

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["CONDITIONS", "Strike", "make"]

_MAKERS: dict[str, Callable[[str, int], Strike]] = {"modal": modal.make}
CONDITIONS: dict[str, tuple[str, ...]] = {"modal": modal.CONDITIONS}
"""What each generator can do."""


def make(generator: str, condition: str, seed: int) -> Strike:
    """Strike number `seed` of a generator under a condition.

    Raises:
        KeyError: there is no such generator.
        ValueError: the generator has no such condition.
    """
    return _MAKERS[generator](condition, seed)
