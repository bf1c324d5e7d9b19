"""`rounds forecast`: where every bottle is expected to be, how sure that is, and when a round is due."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from rounds.commands import looking_ahead
from rounds.gauss import Z95
from rounds.starting import options
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import argparse

    from rounds.commands.looking_ahead import Standing
    from rounds.forecast.drift import BottleForecast, Due, Forecast
    from rounds.forecast.playable import Playable

USUAL_MINUTES = (5.0, 10.0, 20.0, 40.0)
PLOT_MINUTES = tuple(5.0 * k for k in range(13))
_ROWS_UP = "▁▂▃▄▅▆▇█"


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "forecast",
        help="where the bottles will be, and when the next round is due",
        description="Forecast every bottle from the journal: cents off its note, how sure that is, and the "
        "chance of being out of tolerance. A bottle that was never heard has no forecast.",
    )
    looking_ahead.add_looking_ahead(parser)
    parser.add_argument(
        "--at", type=_minutes, default=USUAL_MINUTES, metavar="MIN[,MIN...]", help="minutes from now"
    )
    options.add_json(parser)
    parser.set_defaults(run=run)


def _minutes(text: str) -> tuple[float, ...]:
    return tuple(looking_ahead.minutes(part) for part in text.split(",") if part.strip()) or USUAL_MINUTES


def run(args: argparse.Namespace) -> int:
    """Print the forecast."""
    from rounds.forecast.drift import forecast
    from rounds.forecast.playable import playable

    told = looking_ahead.standing(args)
    at = forecast(told.rig, told.beliefs, told.now_s, args.at, told.temp_c, told.shift_cents)
    when = told.due(told.rig.habits.due_limit)
    pieces = playable(told.rig, told.beliefs, told.now_s, told.shift_cents)
    if args.json:
        print(json.dumps(_document(at, when, pieces), allow_nan=False, ensure_ascii=False))
    else:
        _print_table(told, at, when)
        for piece in pieces:
            print(f"Now {plain(piece.sentence())}.")
    return 0


def _document(at: Forecast, when: Due, pieces: tuple[Playable, ...]) -> dict[str, Any]:
    return {
        "now": looking_ahead.iso(at.now_s),
        "temp_c": None if at.temp_c is None else round(at.temp_c, 2),
        "bottles": [_bottle(b) for b in at.bottles],
        "due_min": None if when.due_s is None else round((when.due_s - at.now_s) / 60.0, 2),
        "due_reason": when.reason,
        "pieces": [p.document() for p in pieces],
    }


def _bottle(bottle: BottleForecast) -> dict[str, Any]:
    return {
        "id": bottle.id,
        "group": bottle.group,
        "heard": bottle.heard,
        "at": [
            {
                "minutes": p.minutes,
                "cents": round(p.cents, 3) if bottle.heard else None,
                "sd_cents": round(p.sd_cents, 3) if bottle.heard else None,
                "p_out": round(p.p_out, 4) if bottle.heard else None,
            }
            for p in bottle.at
        ],
        "hold_min": _rounded(bottle.hold_min),
        "leaves_min": _rounded(bottle.leaves_min),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _print_table(told: Standing, at: Forecast, when: Due) -> None:
    from rounds.forecast.drift import forecast

    later = forecast(told.rig, told.beliefs, told.now_s, PLOT_MINUTES, told.temp_c, told.shift_cents)
    minutes = [p.minutes for p in at.bottles[0].at] if at.bottles else []
    head = "  ".join(f"{f'in {m:g} min':>14}" for m in minutes)
    print(f"{'bottle':8} {head}  {'holds':>8}  chance to be out, now to 60 min")
    for bottle, plot in zip(at.bottles, later.bottles, strict=True):
        if not bottle.heard:
            print(f"{bottle.id:8} not heard yet")
            continue
        cells = "  ".join(f"{p.cents:+6.1f} ±{Z95 * p.sd_cents:5.1f}" + " " for p in bottle.at)
        holds = "> 2 h" if bottle.hold_min is None else f"{bottle.hold_min:.0f} min"
        print(f"{bottle.id:8} {cells}  {holds:>8}  {_plot(plot)}")
    print("± holds 19 times in 20. Cents off the note; positive is sharp.")
    air = "not known" if at.temp_c is None else f"{at.temp_c:.1f} °C"
    print(f"Air {air}. Next round: {when.reason}.")


def _plot(bottle: BottleForecast) -> str:
    """The chance to be out as a row of bars, one every five minutes."""
    return "".join(_ROWS_UP[min(7, int(8.0 * p.p_out))] for p in bottle.at)
