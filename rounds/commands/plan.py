"""`rounds plan`: whom to visit, in which order, aimed where; from a file of visits or from the journal."""

from __future__ import annotations

import datetime
import json
import sys
from typing import TYPE_CHECKING, Any

from rounds.commands import looking_ahead
from rounds.commands.pieces import named
from rounds.errors import BadInput
from rounds.starting import options
from rounds.times.local import next_moment_s
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from rounds.planning import RoundPlan, VisitOrder
    from rounds.rig import Rig

_MOST_BYTES = 4_000_000


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "plan",
        help="plan the order of a round",
        description="Plan whom to visit and in which order, with the fewest pump connections that do: from a "
        "JSON file of visits, or for a rig from what the journal knows.",
    )
    options.add_rig(parser)
    options.add_allow_command(parser)
    options.add_journal(parser)
    parser.add_argument(
        "--now", type=looking_ahead.moment, metavar="ISO", help="time to plan from (ISO 8601)"
    )
    parser.add_argument(
        "--temp", type=looking_ahead.temperature, metavar="C", help="air temperature, Celsius"
    )
    parser.add_argument(
        "--piece", action="append", default=[], metavar="NAME", help="plan only the bottles this needs"
    )
    parser.add_argument("--visits", metavar="FILE", help="a JSON file of visits; - reads standard input")
    parser.add_argument("--downbeat", type=_clock, metavar="HH:MM", help="start of the playing, local time")
    parser.add_argument(
        "--block", type=looking_ahead.minutes, metavar="MIN", help="how long the playing lasts"
    )
    parser.add_argument("--mounted", metavar="PUMP", help="the pump in hand now")
    options.add_people(parser)
    options.add_json(parser)
    parser.set_defaults(run=run)


def _clock(text: str) -> datetime.time:
    import argparse

    try:
        return datetime.time.fromisoformat(text.strip())
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a time of day such as 19:30") from None


def run(args: argparse.Namespace) -> int:
    """Plan, and print the plan."""
    if args.visits is None and options.rig_named(args) is None:
        raise BadInput("rounds plan needs --visits FILE or a rig: --rig FILE, or ROUNDS_RIG")
    return _plan_visits(args) if args.visits is not None else _plan_rig(args)


def _plan_visits(args: argparse.Namespace) -> int:
    from rounds.planning import solve
    from rounds.planning.visitfile import read_problem, unknown_pumps

    problem = read_problem(_document(args.visits), plain(args.visits))
    for pump in unknown_pumps(problem):
        print(
            f"rounds: setup_s does not name pump {plain(pump)}; its set-up is taken as 0 s.", file=sys.stderr
        )
    found = solve(problem)
    if not found.proved:
        print("rounds: a good order, not proved to be the best one.", file=sys.stderr)
    print(json.dumps(_contract(found), allow_nan=False, ensure_ascii=False) if args.json else _told(found))
    return 0


def _document(name: str) -> Any:
    try:
        if name == "-":
            text = sys.stdin.read(_MOST_BYTES + 1)
        else:
            with open(name, encoding="utf-8-sig") as file:
                text = file.read(_MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadInput(f"{plain(name)} cannot be read ({why}); check its name and place.") from error
    if len(text) > _MOST_BYTES:
        raise BadInput(f"{plain(name)} is larger than {_MOST_BYTES // 1_000_000} MB; plan fewer visits.")
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{plain(name)} is not JSON ({error}); write it as docs/planning.md shows.") from error


def _contract(found: VisitOrder) -> dict[str, Any]:
    return {
        "order": list(found.order),
        "left_out": list(found.left_out),
        "late_weight": found.late_weight,
        "connections": found.connections,
        "pump_changes": found.pump_changes,
        "finish_before_downbeat_s": found.finish_before_downbeat_s,
    }


def _told(found: VisitOrder) -> str:
    lines = [f"{i}. {plain(name)}" for i, name in enumerate(found.order, 1)]
    if found.left_out:
        lines.append(f"Left out: {', '.join(plain(n) for n in found.left_out)}.")
    lines.append(
        f"{found.connections} connections, {found.pump_changes} pump changes, "
        f"{found.work_s / 60.0:.1f} min, done {found.finish_before_downbeat_s:g} s before the downbeat."
    )
    return "\n".join(lines)


def _plan_rig(args: argparse.Namespace) -> int:
    from rounds.planning import Asked, parallel_plans
    from rounds.planning.gauges import gauge_needs, gauge_sentences

    told = looking_ahead.standing(args)
    if args.mounted is not None and args.mounted not in {p.id for p in told.rig.pumps}:
        raise BadInput(f"the rig has no pump {plain(args.mounted)}")
    pieces = looking_ahead.pieces_named(told.rig, args.piece)
    asked = Asked(
        now_s=told.now_s,
        downbeat_s=None if args.downbeat is None else next_moment_s(args.downbeat, told.now_s),
        block_s=told.rig.habits.block_s if args.block is None else 60.0 * args.block,
        needed=told.needed,
        mounted=args.mounted,
        shift_cents=None if told.rig.reference.floating else 0.0,
        temp_c=told.temp_c,
        pieces=pieces,
    )
    plans = parallel_plans(told.rig, told.beliefs, asked, args.people)
    for said in gauge_sentences(told.rig, told.temp_c):
        print(plain(said, 400), file=sys.stderr)
    if not all(p.proved for p in plans):
        print("rounds: a good order, not proved to be the best one.", file=sys.stderr)
    if args.json:
        refused = [n.bottle for n in gauge_needs(told.rig, told.temp_c)]
        document = {
            "now": looking_ahead.iso(told.now_s),
            "plans": [_as_json(p) for p in plans],
            "refused_without_gauge": refused,
        }
        print(json.dumps(document, allow_nan=False, ensure_ascii=False))
    else:
        print("\n\n".join(_sentences(told.rig, plan, i, len(plans)) for i, plan in enumerate(plans, 1)))
    return 0


def _as_json(plan: RoundPlan) -> dict[str, Any]:
    return {
        "pumps": list(plan.pumps),
        "listen": list(plan.listen),
        "visits": [
            {
                "bottle": v.bottle,
                "pump": v.pump,
                "aim_cents": round(v.aim_cents, 2),
                "why": v.why,
                "work_s": round(v.work_s, 1),
            }
            for v in plan.visits
        ],
        "left_alone": dict(plan.left_alone),
        "sacrificed": list(plan.sacrificed),
        "shift_cents": round(plan.shift_cents, 2),
        "shift_saves": plan.shift_saves,
        "shift_refused": plan.shift_refused,
        "connections": plan.connections,
        "pump_changes": plan.pump_changes,
        "work_s": round(plan.work_s, 1),
        "finish_before_downbeat_s": plan.finish_before_downbeat_s,
    }


def _sentences(rig: Rig, plan: RoundPlan, person: int, people: int) -> str:
    lines = [f"Person {person}, {' and '.join(plain(p) for p in plan.pumps)}:"] if people > 1 else []
    if plan.shift_cents:
        lines.append(f"A4 moves {plan.shift_cents:+.1f} cents; saves {plan.shift_saves} connections.")
    if plan.shift_refused and rig.reference.floating:
        lines.append(f"A4 stays where it is: {plain(plan.shift_refused)} fixes the pitch.")
    if plan.listen:
        lines.append(f"First strike {_named(rig, plan.listen)}.")
    for i, visit in enumerate(plan.visits, 1):
        how = f"pump {plain(visit.pump)}" if visit.pump is not None else "by the pin"
        lines.append(f"{i}. {_named(rig, [visit.bottle])}, {how}, aim {visit.aim_cents:+.1f}: {visit.why}.")
    for bottle, why in plan.left_alone.items():
        lines.append(f"   {_named(rig, [bottle])}: {why}.")
    if plan.sacrificed:
        lines.append(f"Out at the downbeat for want of time: {_named(rig, plan.sacrificed)}.")
    lines.append(_summary(plan))
    return "\n".join(lines)


def _named(rig: Rig, bottles: Sequence[str]) -> str:
    return ", ".join(named(rig, b) for b in bottles)


def _summary(plan: RoundPlan) -> str:
    text = f"{plan.connections} connections, {plan.pump_changes} pump changes, {plan.work_s / 60.0:.1f} min"
    if plan.finish_before_downbeat_s is None:
        return text + "."
    spare_min = plan.finish_before_downbeat_s / 60.0
    return text + (
        f", {spare_min:.1f} min to spare." if spare_min >= 0.0 else f", {-spare_min:.1f} min too long."
    )
