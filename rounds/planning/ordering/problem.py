"""A problem of order, as the contract of `rounds plan --visits` words it, and its answer.

Times in seconds counted back from the downbeat, positions in metres along a rail. A visit that
ends `e` seconds before the downbeat is on time when its bottle still holds `keep_s` after the
downbeat: e + keep_s <= hold_s.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


CAUTIOUS_HOLD = 0.75
"""Between equal plans, the one wins that still works when every hold is this share of what was said."""


@dataclass(frozen=True)
class Visit:
    """One bottle that may be visited. `pump` None: by the pin, no connection, no pump taken in hand."""

    id: str
    pump: str | None
    work_s: float
    hold_s: float
    keep_s: float = 0.0
    rail: int = 0
    position_m: float = 0.0
    weight: float = 1.0


@dataclass(frozen=True)
class VisitProblem:
    """Visits, what taking each pump in hand costs, and the time there is (None: as much as wanted)."""

    visits: tuple[Visit, ...]
    setup_s: Mapping[str, float] = field(default_factory=dict)
    mounted: str | None = None
    available_s: float | None = None
    quarantine_s: float = 0.0


@dataclass(frozen=True)
class VisitOrder:
    """Which bottles to visit, in the order of doing, and which not; what it costs."""

    order: tuple[str, ...]
    left_out: tuple[str, ...]
    late_weight: float
    connections: int
    pump_changes: int
    finish_before_downbeat_s: float
    work_s: float
    """From the first hand movement to the end of the last visit, pumps taken in hand included."""
    proved: bool = True
    """Whether weight, connections and pump changes are proved to be the least."""
