"""`rounds health`: which bottles leak, which caps are due, and what to try in order."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, Any

from rounds.errors import BadInput
from rounds.gauss import Z95
from rounds.starting import options

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from rounds.health import BottleHealth, Finding

COLUMNS = """
drift   cents a minute that it goes by itself (minus: flat), ± 19 times in 20; judged beside its group
leaks   how likely it loses air faster than its group
conn    times a pump went onto its cap
hours   at pressure; high: of these above the caution pressure"""


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "health",
        help="which bottles leak, which caps are due, and what to try",
        description="What the journal tells of every bottle and cap. Look at each before you fill it all the "
        "same: the journal cannot see a crack.",
    )
    options.add_rig(parser)
    options.add_journal(parser)
    options.add_json(parser)
    parser.add_argument("--bottle", metavar="ID", help="only this bottle")
    parser.add_argument("--now", metavar="ISO", help="the time to count from (ISO 8601, UTC)")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Assess and print."""
    from rounds.faces import typed
    from rounds.health import assess
    from rounds.health.from_journal import histories_at
    from rounds.health.remembering import name_of, to_bytes
    from rounds.importing.readings import parse_time
    from rounds.journal.timing import scale_now

    rig = options.load(args)
    if args.bottle:
        args.bottle = typed.bottle(args.bottle, rig)
    try:
        now_s = parse_time(args.now) if args.now else None
    except ValueError as error:
        raise BadInput(f"--now: {error}") from error
    with options.open_journal(args, read_only=True) as journal, options.reading_progress() as progress:
        now_s = scale_now(journal).kept(time.time()) if now_s is None else now_s
        known = histories_at(rig, journal, now_s, progress)
        if known.is_worth_keeping:
            options.keep_for_next_time(journal, known.last_id, name_of(rig), to_bytes(rig, known.histories))
    found = assess(rig, known.histories, now_s)
    chosen = [h for h in found if args.bottle in {None, h.id}]
    if args.json:
        print(json.dumps({"bottles": [_document(h) for h in chosen]}))
    else:
        _print_table(chosen)
    return 0


def _document(health: BottleHealth) -> dict[str, Any]:
    own = health.own_leak
    return {
        "id": health.id,
        "group": health.group,
        "leak_cents_per_min": None if own is None else round(own.mean, 4),
        "leak_sd_cents_per_min": None if own is None else round(own.sd, 4),
        "group_leak_cents_per_min": round(health.group_leak.mean, 4),
        "group_leak_sd_cents_per_min": round(health.group_leak.sd, 4),
        "p_leak": round(health.p_leak, 4),
        "readings": health.readings,
        "cap": {**vars(health.cap), "days": health.cap_days},
        "bottle": vars(health.bottle),
        "gauges": [vars(g) for g in health.gauges],
        "notes": list(health.notes),
        "first_use": None if health.first_use is None else vars(health.first_use),
        "findings": [vars(f) for f in health.findings],
    }


def _print_table(bottles: Sequence[BottleHealth]) -> None:
    from rounds.health import CARE, URGENCIES
    from rounds.wording.printable import plain

    findings = sorted((f for b in bottles for f in b.findings), key=lambda f: URGENCIES.index(f.urgency))
    for finding in findings:
        _print_finding(finding)
    for b in bottles:
        if b.first_use is not None and b.first_use.state != "falls":
            print(f"{plain(b.id)}: {b.first_use.words}")
    if findings:
        print(f"{CARE}\n")
    else:
        print("Nothing to do: no bottle or cap stands out.\n")
    gauges = any(b.gauges for b in bottles)
    figures = f"{'drift c/min':>16} {'leaks':>6} {'conn':>5} {'hours':>6} {'high':>5}"
    print(f"{'bottle':10} {'state':7} {figures}{'  gauge' if gauges else ''}")
    for b in bottles:
        leak = (
            "not heard enough yet"
            if b.own_leak is None
            else f"{b.own_leak.mean:+.2f} ± {Z95 * b.own_leak.sd:.2f}"
        )
        cap = f"{b.cap.connections:5d} {b.cap.hours:6.1f} {b.cap.hot_hours:5.1f}"
        chance = f"{100.0 * b.p_leak:.0f} %"
        print(f"{plain(b.id, 10):10} {_state(b):7} {leak:>16} {chance:>6} {cap}  {_gauge(b)}".rstrip())
    print(COLUMNS)


def _state(health: BottleHealth) -> str:
    if health.findings:
        return "look at"
    return "good" if health.own_leak is not None else "unknown"


def _gauge(health: BottleHealth) -> str:
    from rounds.air import kpa_to_psi

    return f"{kpa_to_psi(health.gauges[-1].gauge_kpa):.0f} psi" if health.gauges else ""


def _print_finding(finding: Finding) -> None:
    from rounds.wording.printable import plain

    chance = "" if finding.probability is None else f" (probability {finding.probability:.2f})"
    print(f"{finding.urgency}: {plain(finding.bottle)}: {finding.what}{chance}")
    print(f"  evidence: {finding.evidence}")
    for number, step in enumerate(finding.try_in_order, 1):
        print(f"  {number}. {plain(step)}")
