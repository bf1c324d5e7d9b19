"""What was found of the promises, as rows and sentences for every face; too few is said to be so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.forecast.promises import ENOUGH, PROMISED

if TYPE_CHECKING:
    from rounds.forecast.promises import Finding, Kind, Promises

NAMES: dict[Kind, str] = {"reading": "readings heard again", "forecast": "forecasts", "dose": "doses"}
NOTHING = "Nothing was promised yet that a strike has tested."
WIDENED = 1.05
"""A widening below this changes nothing that anybody would see."""


@dataclass(frozen=True)
class PromiseRow:
    """One finding in words. `held` is `41 of 44 held (90 % promised)`."""

    what: str
    of: str
    held: str
    off: str
    verdict: str

    @property
    def sentence(self) -> str:
        """`forecasts, bass: 41 of 44 held (90 % promised), 2.1 cents off: as promised`."""
        off = f", off by {self.off}" if self.off else ""
        return f"{self.what}, {self.of}: {self.held}{off}: {self.verdict}"


@dataclass(frozen=True)
class PromisesPage:
    """All that is said of the promises of a journal."""

    rows: tuple[PromiseRow, ...]
    sentences: tuple[str, ...]


def page(found: Promises) -> PromisesPage:
    """Rows and sentences; where nothing was tested yet, that."""
    if not found.tested and not found.rounds:
        return PromisesPage((), (NOTHING,))
    return PromisesPage(rows(found), sentences(found))


def rows(found: Promises) -> tuple[PromiseRow, ...]:
    """Every finding that has something to tell; each kind ends with all of it."""
    every = [f for kind in NAMES for f in found.findings(kind)]
    return tuple(_row(f) for f in every if f.count or f.name == "all")


def _row(finding: Finding) -> PromiseRow:
    held = f"{finding.held} of {finding.count} held ({100.0 * PROMISED[finding.kind]:.0f} % promised)"
    off = ""
    if finding.median_cents is not None and finding.ninth_cents is not None:
        off = f"{finding.median_cents:.1f} cents, nine in ten within {finding.ninth_cents:.1f}"
    return PromiseRow(NAMES[finding.kind], finding.name, held, off, finding.verdict)


def sentences(found: Promises) -> tuple[str, ...]:
    """Rounds and due times, and what was changed for this rig."""
    return (*_of_rounds(found), *_changed(found))


def _of_rounds(found: Promises) -> tuple[str, ...]:
    if not found.rounds:
        return ("No round tested a due time yet.",)
    expected, out = sum(r.expected_out for r in found.rounds), sum(r.found_out for r in found.rounds)
    called = [r for r in found.rounds if r.due]
    somebody = sum(r.found_out > 0 for r in called)
    few = " (too few to tell)" if len(called) < ENOUGH else ""
    return (
        f"Due times: {len(called)} of {len(found.rounds)} rounds began when one was due; "
        f"{somebody} of those {len(called)} found somebody out{few}.",
        f"As rounds began {expected:.0f} bottles were expected out, and {out} were found out.",
    )


def _changed(found: Promises) -> tuple[str, ...]:
    wider = [f"{group} {factor:.1f} times" for group, factor in found.widening.items() if factor >= WIDENED]
    room = [f"{group} {cents:.1f}" for group, cents in found.room_cents.items()]
    widened = (
        f"Forecasts are made wider for this rig, by what they missed: {', '.join(wider)}."
        if wider
        else "No group's forecasts had to be made wider for this rig."
    )
    return widened, f"What the room adds to a reading's doubt here, in cents (sd): {', '.join(room)}."
