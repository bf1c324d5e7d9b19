"""Which bottle was struck: by pitch, by where the player was sent, and by what is believed of the others.

A strike is another bottle's when that explains the pitch better than the bottle asked for does,
under either story: its air was moved as advised, or nothing was moved. A bottle never heard may be
anywhere in the widest band; a pitch that is just another bottle's is still asked for once more.

Cents are off the target's nominal pitch throughout.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.guide.round import SAME_PITCH_CENTS

if TYPE_CHECKING:
    from collections.abc import Iterable

FIRST_FILL_CENTS = 700.0
"""Half width of the band in which a bottle that was never heard is looked for."""
EMPTY_CENTS = 1200.0
"""How far under its note a bottle may sound: one with no pressure in it lies about 1040 cents lower, by the
share of its stiffness that needs no air (`rounds.air.STIFFNESS_SHARE`)."""
KNOWN_CENTS = 220.0
"""Half width of the band around what is believed of a bottle that was heard."""
OTHER_PRIOR = 0.02
"""How often a player strikes one particular other bottle than the one asked for. Our guess."""
SURPRISE = 0.05
"""How often a bottle is nowhere near what is believed of it (a leak, a knock, strokes miscounted)."""
OUTSIDE = 0.2
"""Of those nowhere near what is believed: how many are outside their band altogether. Our guess."""
EMPTY = 0.02
"""Of bottles never heard on a rig that was not tuned before: how many have hardly any air. Our guess."""
SELDOM_SHARP = 0.1
"""Of bottles far from their note on such a rig: how many stand above it, though empty ones cannot."""
ELSEWHERE = 0.0005
"""Below this density (per cent) a bottle is not where a pitch is."""
MIN_SD_CENTS = 4.0
SELDOM_NEEDED = 0.2
"""How much less often a bottle is struck by mistake that this round does not need, never heard. Our guess."""


@dataclass(frozen=True)
class Story:
    """One account of where a bottle's pitch may be: mean and standard deviation in cents."""

    mean_cents: float
    sd_cents: float

    chance: float = 1.0
    """How likely this account is beside the others: small for air that went the wrong way."""

    def density(self, cents: float) -> float:
        """Normal density at a pitch, per cent."""
        sd = max(self.sd_cents, MIN_SD_CENTS)
        z = (cents - self.mean_cents) / sd
        return self.chance * math.exp(-0.5 * z * z) / (sd * math.sqrt(2.0 * math.pi))


FIRST_STORY = Story(0.0, 30.0)
"""Where a bottle that was never heard is, if the rig was tuned before."""
FAR_CENTS = 60.0
"""A bottle this far off when it is heard at last was not tuned before: two sd of the first story."""


@dataclass(frozen=True)
class Target:
    """The bottle asked for: its stories (empty while it was never heard) and the pitches just refused."""

    stories: tuple[Story, ...]
    rejected_cents: tuple[float, ...] = ()
    astray: float = 0.5
    """Of a bottle never heard: how likely it is anywhere in the band, as at a first fill."""
    unasked: tuple[Story, ...] = ()
    """Less likely accounts, which neither widen the band nor move it: air that went the wrong way."""

    @property
    def half_width_cents(self) -> float:
        """How far from the centre of the band its pitch is looked for."""
        if not self.stories:
            return FIRST_FILL_CENTS
        means = [s.mean_cents for s in self.stories]
        widest = max(s.sd_cents for s in self.stories)
        return KNOWN_CENTS + 0.5 * (max(means) - min(means)) + widest

    @property
    def centre_cents(self) -> float:
        """The centre of the band."""
        means = [s.mean_cents for s in self.stories] or [0.0]
        return 0.5 * (max(means) + min(means))


@dataclass(frozen=True)
class Other:
    """Another bottle whose pitch is known, as seen from the target."""

    bottle: str
    story: Story
    share: float = 1.0
    """How likely the story holds: less than 1 for a bottle never heard."""

    def density(self, cents: float) -> float:
        """Density of this bottle at a pitch, per cent."""
        return self.share * self.story.density(cents)


def whose(cents: float, target: Target, others: Iterable[Other]) -> str | None:
    """The other bottle that a clear strike belongs to; None when it is the target's.

    A pitch outside the target's band is never the target's: the nearest known bottle is named, or
    the empty string when none is near.
    """
    best = max(others, key=lambda o: o.density(cents), default=None)
    if abs(cents - target.centre_cents) > target.half_width_cents:
        near = best is not None and best.density(cents) > ELSEWHERE
        return best.bottle if best is not None and near else ""
    if best is None or _struck_again(cents, target):
        return None
    return best.bottle if OTHER_PRIOR * best.density(cents) > _own(cents, target) else None


def explains(cents: float, target: Target) -> float:
    """How well the target explains a pitch, as a density per cent; a little even outside its band."""
    if abs(cents - target.centre_cents) > target.half_width_cents:
        outside = OUTSIDE * SURPRISE if target.stories else EMPTY * target.astray
        return outside / (EMPTY_CENTS + FIRST_FILL_CENTS)
    return _own(cents, target)


def insisted(
    cents: float, rejected_cents: Iterable[float], others: Iterable[Other], *, compared: bool = False
) -> bool:
    """Whether a refused pitch must be the target's after all.

    It is not out of reach, and it came before and nobody else sounds there, or twice before and who does was
    struck to compare: then what is believed of the target is wrong, and the player, who sees which bottle is
    struck, is right.
    """
    if not -EMPTY_CENTS <= cents <= FIRST_FILL_CENTS:
        return False
    times = times_refused(cents, rejected_cents)
    alone = all(o.density(cents) < ELSEWHERE for o in others)
    return (times >= 1 and alone) or (times >= 2 and compared)


def chance_astray(heard_cents: Iterable[float]) -> float:
    """How likely a bottle never heard is far from its note, after what was heard of the others.

    Laplace's rule of succession (1774): (far + 1) / (all + 2), so a half before anything was heard.
    """
    far = [abs(cents) > FAR_CENTS for cents in heard_cents]
    return (sum(far) + 1.0) / (len(far) + 2.0)


def _own(cents: float, target: Target) -> float:
    surprise = SURPRISE if target.stories else target.astray
    stories = (*(target.stories or (FIRST_STORY,)), *target.unasked)
    return (1.0 - surprise) * max(s.density(cents) for s in stories) + surprise * _anywhere(cents, target)


def _anywhere(cents: float, target: Target) -> float:
    """Density per cent of a bottle that is nowhere near what is believed, but in its band."""
    if target.stories:
        return 1.0 / (2.0 * target.half_width_cents)
    return (SELDOM_SHARP if cents > 0.0 else 1.0 - SELDOM_SHARP) / FIRST_FILL_CENTS


def times_refused(cents: float, rejected_cents: Iterable[float]) -> int:
    """How often this pitch was refused just before."""
    return sum(abs(cents - c) <= SAME_PITCH_CENTS for c in rejected_cents)


def _struck_again(cents: float, target: Target) -> bool:
    """The same pitch again: twice from a bottle never heard, thrice from one that may have moved."""
    same = times_refused(cents, target.rejected_cents)
    if not target.stories:
        return same >= 1
    uncertain = len(target.stories) > 1 or target.stories[0].sd_cents > 2.0 * SAME_PITCH_CENTS
    return uncertain and same >= 2
