"""A problem of order as it comes in a JSON document, every problem of it reported at once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rounds.errors import BadInput
from rounds.files.problems import Problems, Table, is_number, shown
from rounds.planning.ordering import Visit, VisitProblem

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_VISITS = 1000
_LONGEST_S = 1e7
_FARTHEST_M = 1e5


def read_problem(document: Any, name: str) -> VisitProblem:
    """The problem in a parsed JSON document; keys nobody knows are passed over.

    Raises:
        BadInput: the document is not such a problem; the message lists everything that is wrong.
    """
    problems = Problems()
    problem = _read(document, problems)
    if problems.found:
        count = "1 problem" if len(problems.found) == 1 else f"{len(problems.found)} problems"
        raise BadInput(
            "\n".join([f"{name}: {count}; nothing was planned.", *(f"  {p}" for p in problems.found)])
        )
    return problem


def unknown_pumps(problem: VisitProblem) -> tuple[str, ...]:
    """Pumps of visits for which no set-up time is given (it is taken as none)."""
    pumps = {v.pump for v in problem.visits if v.pump is not None}
    return tuple(sorted(pumps - set(problem.setup_s)))


def _read(document: Any, problems: Problems) -> VisitProblem:
    if not isinstance(document, dict):
        problems.add("the document", f"found {shown(document)}", 'an object with "visits"')
        return VisitProblem(())
    top = Table(document, "top level", problems)
    return VisitProblem(
        visits=_visits(top),
        setup_s=_setups(top),
        mounted=_pump(top, "mounted"),
        available_s=_available(top),
        quarantine_s=top.number("quarantine_s", 0.0, 0.0, _LONGEST_S, "s"),
    )


def _visits(top: Table) -> tuple[Visit, ...]:
    rows = top.raw("visits")
    if not isinstance(rows, list) or len(rows) > MOST_VISITS:
        top.wrong("visits", f"a list of at most {MOST_VISITS} visits")
        return ()
    visits: dict[str, Visit] = {}
    for i, row in enumerate(rows, 1):
        if not isinstance(row, dict):
            top.problems.add(f"visit {i}", f"found {shown(row)}", "an object")
            continue
        visit = _visit(Table(row, f"visit {i}", top.problems))
        if visit.id in visits:
            top.problems.add(f"visit {i} id", f"found {visit.id!r} a second time", "one visit per id")
        visits[visit.id] = visit
    return tuple(visits.values())


def _visit(row: Table) -> Visit:
    return Visit(
        id=_id(row),
        pump=_pump(row, "pump"),
        work_s=row.number("work_s", None, 0.0, _LONGEST_S, "s"),
        hold_s=row.number("hold_s", None, -_LONGEST_S, 1e3 * _LONGEST_S, "s"),
        keep_s=row.number("keep_s", 0.0, 0.0, _LONGEST_S, "s"),
        rail=row.whole("rail", 0, -10_000, 10_000),
        position_m=row.number("position_m", 0.0, -_FARTHEST_M, _FARTHEST_M, "m"),
        weight=row.number("weight", 1.0, 0.0, 1e9),
    )


def _id(row: Table) -> str:
    value = row.raw("id")
    if isinstance(value, int) and not isinstance(value, bool):
        return shown(value)
    return row.text("id", longest=200)


def _pump(row: Table, key: str) -> str | None:
    value = row.raw(key)
    if value is None or (isinstance(value, str) and 0 < len(value) <= 200):
        return value
    row.wrong(key, "the name of a pump, or null")
    return None


def _setups(top: Table) -> Mapping[str, float]:
    value = top.raw("setup_s")
    if value is None:
        return {}
    if not isinstance(value, dict):
        top.wrong("setup_s", "an object of pumps and seconds")
        return {}
    for pump, seconds in value.items():
        if not is_number(seconds) or not 0.0 <= seconds <= _LONGEST_S:
            top.problems.add(f"setup_s {shown(pump)}", f"found {shown(seconds)}", "seconds from 0")
    return {p: float(s) for p, s in value.items() if is_number(s) and math.isfinite(s)}


def _available(top: Table) -> float | None:
    if top.raw("available_s") is None:
        return None
    return top.number("available_s", None, -_LONGEST_S, _LONGEST_S, "s")
