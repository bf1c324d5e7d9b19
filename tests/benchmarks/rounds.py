"""Orders of a round beside each other: `python -m tests.benchmarks.rounds [--rigs N]`.

Random rigs of 20 to 45 bottles on three rails with one to three pumps. Every bottle must be in tune at
the downbeat. The plans know how long a bottle usually holds; the true holds of the evening are 75 to
125 % of that, evenly. Ours is `rounds.planning.solve`; the others are orders people use. Those visit
everybody, beginning so that the last visit ends just before the downbeat, or, when time is short,
beginning at once and stopping when time is up. Time is short when there are 80 % of what all visits
take. The numbers stand in docs/planning.md.
"""

from __future__ import annotations

import argparse
import random
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rounds.planning import Visit, VisitProblem, solve

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

HOLD_SHARE = (0.75, 1.25)
SHORT = 0.8
EVENINGS = 20
"""Evenings per rig, each with its own true holds."""
QUARANTINE_S = 20.0


@dataclass(frozen=True)
class Evening:
    """A rig before a downbeat: visits, how far each bottle is out, and its MIDI note."""

    problem: VisitProblem
    error_cents: dict[str, float]
    midi: dict[str, int]


@dataclass(frozen=True)
class Outcome:
    """What one order led to; means over evenings."""

    connections: float
    """Visits, and one more for each bottle visited in vain."""
    visits: int
    minutes: float
    in_tune: float
    in_tune_as_planned: float
    """If every bottle held as long as usual."""


def draw(rng: random.Random) -> Evening:
    """A random rig. Bass holds about 10 minutes, the top about 25, the middle about 45 (common practice)."""
    count, pumps = rng.randint(20, 45), rng.randint(1, 3)
    low = 84 - count
    visits, errors, midi = [], {}, {}
    for i in range(count):
        note = low + i
        usual_min = 10.0 if note < 60 else 25.0 if note > 88 else 45.0
        name = f"b{i}"
        errors[name] = rng.gauss(0.0, 25.0)
        midi[name] = note
        work_s = 19.0 + 0.25 * abs(errors[name]) + rng.uniform(0.0, 6.0)
        visits.append(
            Visit(
                id=name,
                pump=f"P{min(pumps - 1, i * pumps // count)}"
                if rng.random() < 0.7
                else f"P{rng.randrange(pumps)}",
                work_s=round(work_s),
                hold_s=round(60.0 * usual_min * rng.lognormvariate(0.0, 0.35)),
                rail=i % 3,
                position_m=0.12 * (i // 3),
            )
        )
    setups = {f"P{j}": float(rng.randint(6, 20)) for j in range(pumps)}
    return Evening(VisitProblem(tuple(visits), setups, None, None, QUARANTINE_S), errors, midi)


def rail_order(evening: Evening) -> list[Visit]:
    """Along the rails."""
    return sorted(evening.problem.visits, key=lambda v: (v.rail, v.position_m))


def low_to_high(evening: Evening) -> list[Visit]:
    """By pitch."""
    return sorted(evening.problem.visits, key=lambda v: evening.midi[v.id])


def largest_error_first(evening: Evening) -> list[Visit]:
    """The worst first."""
    return sorted(evening.problem.visits, key=lambda v: -abs(evening.error_cents[v.id]))


def sensible(evening: Evening) -> list[Visit]:
    """Families together, longest hold first, families by their mean hold."""
    by_pump: dict[str | None, list[Visit]] = {}
    for visit in evening.problem.visits:
        by_pump.setdefault(visit.pump, []).append(visit)
    families = sorted(by_pump.values(), key=lambda f: -sum(v.hold_s for v in f) / len(f))
    return [v for family in families for v in sorted(family, key=lambda v: -v.hold_s)]


OTHERS: dict[str, Callable[[Evening], list[Visit]]] = {
    "rail order": rail_order,
    "low to high": low_to_high,
    "largest error first": largest_error_first,
    "families together, longest hold first": sensible,
}
OURS = "ours"


def ends_before(problem: VisitProblem, order: Sequence[Visit]) -> tuple[list[float], float]:
    """Seconds from the end of each visit to the end of the last one, and the time they all take."""
    clock, pump, ends = 0.0, problem.mounted, []
    for visit in order:
        clock += 0.0 if visit.pump == pump else problem.setup_s[visit.pump or ""]
        pump = visit.pump
        clock += visit.work_s
        ends.append(clock)
    return [clock - e for e in ends], clock


def cut_to(problem: VisitProblem, order: list[Visit], available_s: float | None) -> list[Visit]:
    """As many visits from the start as there is time for."""
    if available_s is None:
        return order
    while order and ends_before(problem, order)[1] > available_s - problem.quarantine_s:
        order = order[:-1]
    return order


def play(problem: VisitProblem, order: list[Visit], holds: Sequence[dict[str, float]]) -> Outcome:
    """Do an order, on every evening's true holds."""
    before, work_s = ends_before(problem, order)
    count = len(problem.visits)
    held = [
        sum(e + problem.quarantine_s <= true[v.id] for v, e in zip(order, before, strict=True))
        for true in holds
    ]
    planned = sum(e + problem.quarantine_s <= v.hold_s for v, e in zip(order, before, strict=True))
    mean_held = sum(held) / len(held)
    return Outcome(
        connections=2 * len(order) - mean_held,
        visits=len(order),
        minutes=work_s / 60.0,
        in_tune=mean_held / count,
        in_tune_as_planned=planned / count,
    )


def compare(evening: Evening, rng: random.Random, share: float | None) -> dict[str, Outcome]:
    """All orders on one rig."""
    problem = evening.problem
    if share is not None:
        work_s = ends_before(problem, sensible(evening))[1]
        problem = replace(problem, available_s=float(round(share * work_s)) + QUARANTINE_S)
    holds = [{v.id: v.hold_s * rng.uniform(*HOLD_SHARE) for v in problem.visits} for _ in range(EVENINGS)]
    by_id = {v.id: v for v in problem.visits}
    found = {
        name: play(problem, cut_to(problem, rule(evening), problem.available_s), holds)
        for name, rule in OTHERS.items()
    }
    found[OURS] = play(problem, [by_id[i] for i in solve(problem).order], holds)
    return found


def beaten(found: dict[str, Outcome]) -> bool:
    """Whether another order has as good a result as planned with fewer visits."""
    ours = found[OURS]
    return any(
        o.in_tune_as_planned >= ours.in_tune_as_planned and o.visits < ours.visits
        for name, o in found.items()
        if name != OURS
    )


def table(title: str, results: list[dict[str, Outcome]]) -> None:
    """Print the means of one situation."""
    print(f"\n{title}\n")
    print("| order | in tune at the downbeat | as planned | visits | with second visits | minutes |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name in [*OTHERS, OURS]:
        rows = [r[name] for r in results]
        n = len(rows)
        print(
            f"| {name} | {100 * sum(o.in_tune for o in rows) / n:.1f} % "
            f"| {100 * sum(o.in_tune_as_planned for o in rows) / n:.1f} % "
            f"| {sum(o.visits for o in rows) / n:.1f} | {sum(o.connections for o in rows) / n:.1f} "
            f"| {sum(o.minutes for o in rows) / n:.1f} |"
        )
    best = sum(
        r[OURS].in_tune >= max(o.in_tune for name, o in r.items() if name != OURS) - 1e-9 for r in results
    )
    print(f"\nOurs is best or equal on {best} of {len(results)} rigs; ", end="")
    print(f"another is as good as planned with fewer visits on {sum(beaten(r) for r in results)}.")


def timing(rng: random.Random) -> None:
    """Time to plan, best of three."""
    print("\n| bottles | pumps | weights | processor time to plan, median and worst of 12 |")
    print("| --- | --- | --- | --- |")
    for count, pumps in ((40, 1), (40, 2), (40, 3), (300, 2)):
        for weights in ((1.0,), (1.0, 3.0)):
            took = sorted(_time(_large(rng, count, pumps, weights)) for _ in range(12))
            print(f"| {count} | {pumps} | {weights} | {1e3 * took[6]:.0f} ms, {1e3 * took[-1]:.0f} ms |")


def _time(problem: VisitProblem) -> float:
    best = float("inf")
    for _ in range(3):
        started = time.process_time()
        solve(problem)
        best = min(best, time.process_time() - started)
    return best


def _large(rng: random.Random, count: int, pumps: int, weights: tuple[float, ...]) -> VisitProblem:
    work = [float(rng.randint(15, 45)) for _ in range(count)]
    visits = tuple(
        Visit(
            f"v{i}",
            f"P{rng.randrange(pumps)}",
            p,
            hold_s=float(round(rng.uniform(60.0, rng.choice((0.4, 1.0, 1.5)) * sum(work)))),
            weight=rng.choice(weights),
        )
        for i, p in enumerate(work)
    )
    available = rng.choice((None, 0.8 * sum(work)))
    setups = {f"P{j}": float(rng.randint(5, 20)) for j in range(pumps)}
    return VisitProblem(visits, setups, None, available, QUARANTINE_S)


def main() -> None:
    """Run the comparison and print its tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rigs", type=int, default=80)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--no-timing", action="store_true", help="leave out the time to plan")
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.rigs)
    for title, share in (("Time to spare", None), (f"Time is short (x{SHORT:g})", SHORT)):
        results = []
        for seed in seeds:
            rng = random.Random(seed)
            results.append(compare(draw(rng), rng, share))
        table(f"{title}: {args.rigs} rigs, {EVENINGS} evenings each", results)
    if not args.no_timing:
        timing(random.Random(1))


if __name__ == "__main__":
    main()
