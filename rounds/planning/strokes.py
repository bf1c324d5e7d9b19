"""How much air a hand can be asked for, and how exactly it does it.

A sixteenth of a stroke is three centimetres of a plunger's way: nobody can do it, and who is asked
for 2 7/16 strokes stops believing the rest. So whole and half strokes are asked for, quarters below
two, and eighths below one where a quarter moves the pitch too far. Coarser ones, a single
eighth, quarters and halves alone, cost 23.1 connections a round instead of 21.4 on four virtual rigs.
"""

from __future__ import annotations

import math

TOUCH = 0.125
"""Smallest part of a stroke that is ever asked for: a touch on the handle."""
QUARTER = 0.25
HALVES_FROM = 2.0
"""From so many strokes on, half strokes are fine enough."""
TRAVEL_SD = 0.05
"""Sd of a part of a stroke, in strokes: 2.5 cm of a plunger's way of 50. Common practice, no source."""
STROKE_SD = 0.1
"""Sd of one full stroke. Common practice, no source."""
PIN_SLOP = 0.25
"""Relative sd of air let out. Common practice, no source."""


def amounts(most: float, *, fine: bool) -> list[float]:
    """Every number of strokes that a hand can be asked for, in order, the last one not below `most`.

    Args:
        fine: whether a quarter would be too coarse, so that below one stroke eighths are asked for.
    """
    part = TOUCH if fine else QUARTER
    found = [part * k for k in range(1, round(1.0 / part))]
    found += [1.0 + QUARTER * k for k in range(round((HALVES_FROM - 1.0) / QUARTER) + 1)]
    halves = max(0, math.ceil((most - HALVES_FROM) / 0.5))
    return found + [HALVES_FROM + 0.5 * k for k in range(1, halves + 1)]


def pumped_sd(strokes: float) -> float:
    """Strokes by which a hand misses what it was asked for, sd: each full stroke, and the part of one."""
    whole = math.floor(strokes)
    return math.hypot(STROKE_SD * math.sqrt(whole), TRAVEL_SD if strokes > whole else 0.0)


def let_out_sd(strokes: float) -> float:
    """The same for air let out."""
    return PIN_SLOP * strokes
