"""`rounds demo`: the whole tool on a virtual rig, with sound, no microphone, nothing kept."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from rounds.starting import options

if TYPE_CHECKING:
    import argparse

    from rounds.simulation.demo import DayResult

DEFAULT_MINUTES = 60.0
SCREEN_SPEED = 2.0
MOST_MINUTES = 600.0


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "demo",
        help="try everything on a virtual rig, no microphone needed",
        description="A virtual rig of our own invention, struck by simulated hands; its sound goes through "
        "the real hearing. On a terminal you watch and press keys; without one it plays itself. "
        "Nothing is kept unless you ask with --journal.",
    )
    _add_options(parser)
    parser.set_defaults(run=run)


def _add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--auto", action="store_true", help="play itself and print a summary")
    parser.add_argument(
        "--minutes",
        type=options.number("minutes"),
        default=DEFAULT_MINUTES,
        metavar="M",
        help="length of the virtual rehearsal",
    )
    parser.add_argument(
        "--seed",
        type=options.whole("chance"),
        default=1,
        metavar="N",
        help="number that the chance starts from",
    )
    parser.add_argument("--rig", metavar="RIG", help="play on this rig instead of the invented one")
    options.add_people(parser)
    parser.add_argument(
        "--mic",
        choices=("near", "far"),
        default="near",
        help="where the virtual microphone stands: at the bottles, or so far that the room blurs them",
    )
    begins = parser.add_mutually_exclusive_group()
    begins.add_argument("--fill", action="store_true", help="begin with bottles just filled, far off pitch")
    begins.add_argument("--empty", action="store_true", help="begin with bottles that hold no air")
    options.add_voice(parser)
    parser.add_argument("--plain", action="store_true", help="the round in sentences, for screen readers")
    parser.add_argument(
        "--speed",
        type=options.number("times"),
        default=SCREEN_SPEED,
        metavar="X",
        help="how fast time runs on the screens",
    )
    parser.add_argument(
        "--journal",
        metavar="FILE",
        help="keep the rehearsal in a new journal, to try log, health and forecast on it",
    )
    parser.add_argument("--json", action="store_true", help="with --auto: print one JSON document")


def run(args: argparse.Namespace) -> int:
    """Play."""
    from rounds.errors import BadInput

    if not 1.0 <= args.minutes <= MOST_MINUTES:
        raise BadInput(f"--minutes {args.minutes:g} is not between 1 and {MOST_MINUTES:.0f}")
    if not 0.1 <= args.speed <= 20.0:
        raise BadInput(f"--speed {args.speed:g} is not between 0.1 and 20")
    if args.seed < 0:
        raise BadInput(f"--seed {args.seed} is negative; give 0 or more")
    if args.auto or args.json or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return _play_itself(args)
    from rounds.simulation.demo import run_on_screen

    return run_on_screen(args)


def _play_itself(args: argparse.Namespace) -> int:
    from rounds.simulation.demo import play_day

    result = play_day(args, tell=lambda line: print(line, file=sys.stderr, flush=True))
    if args.json:
        print(json.dumps(result.document(), allow_nan=False))
    else:
        print(_summary(result))
    return 0


def _summary(result: DayResult) -> str:
    lines = [f"{result.rig}: {result.minutes:.0f} virtual minutes, every strike heard as sound", ""]
    lines.append("round  minutes  connections  strikes  in tune at its end  worst")
    for i, r in enumerate(result.rounds, 1):
        worst = f"{r.worst_bottle} {r.worst_cents:+.1f} cents" if r.worst_bottle else ""
        lines.append(
            f"{i:5d}  {r.minutes:7.1f}  {r.connections:11d}  {r.strikes:7d}  "
            f"{r.in_tune:8d} of {r.needed:<8d}  {worst}"
        )
    total_min = sum(r.minutes for r in result.rounds)
    lines += [
        "",
        f"rounds {len(result.rounds)}, connections {sum(r.connections for r in result.rounds)}, "
        f"tuning minutes {total_min:.1f}, highest pressure {100.0 * result.highest_share:.0f} % of a ceiling,"
        f" readings given to a wrong bottle {sum(r.astray for r in result.rounds)}"
        f", to the other person {sum(r.mixed_up for r in result.rounds)}",
    ]
    return "\n".join(lines)
