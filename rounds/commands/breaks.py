"""`rounds breaks`: in which breaks of a call sheet a tuning round pays, and which bottles to touch."""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rounds.commands import looking_ahead
from rounds.errors import BadInput
from rounds.starting import options
from rounds.wording.printable import plain

if TYPE_CHECKING:
    import argparse

    from rounds.forecast.breaks import BreakPlan, DayPlan, TakePlan
    from rounds.forecast.callsheet import CallSheet, Slot

MOST_BYTES = 100_000
_FORM = """a call sheet has one line for each take or break:
  date 2026-05-31
  14:00-14:20  take   Lantern Walk
  14:20-14:30  break
  22:30        bus call
Others are load-in, soundcheck, and down: by when the bottles are let down.
A take named like a piece of the rig needs its bottles, any other needs all.
Times are local, or UTC with --utc."""


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    import argparse

    parser = subparsers.add_parser(
        "breaks",
        help="find the breaks worth a tuning round",
        description="Choose the breaks of a call sheet in which a round pays, and the bottles in each.",
        epilog=_FORM,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("sheet", metavar="FILE", help="the call sheet, a text file")
    looking_ahead.add_looking_ahead(parser)
    parser.add_argument("--utc", action="store_true", help="the times of the sheet are UTC")
    options.add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the plan of the day."""
    from rounds.forecast.breaks import plan_breaks
    from rounds.forecast.callsheet import with_free_time

    told = looking_ahead.standing(args)
    zone = datetime.UTC if args.utc else None
    sheet = with_free_time(_read(args.sheet, told.now_s, zone), told.now_s)
    plan = plan_breaks(
        told.rig, told.beliefs, sheet, told.now_s, temp_c=told.temp_c, shift_cents=told.shift_cents
    )
    calls = _Calls(sheet, told.now_s, len(told.rig.with_spares))
    if args.json:
        document = {**_document(plan, told.now_s), **calls.document()}
        print(json.dumps(document, allow_nan=False, ensure_ascii=False))
    else:
        print("\n".join(_sentences(plan, calls, zone)))
    return 0


def _read(path_text: str, now_s: float, zone: datetime.tzinfo | None) -> CallSheet:
    from rounds.forecast.callsheet import parse_callsheet

    path = Path(path_text)
    try:
        if path.exists() and not path.is_file():
            raise BadInput(f"the call sheet {plain(path)} is not a file")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        text = data.decode("utf-8-sig")
    except OSError as error:
        raise BadInput(f"the call sheet {plain(path)} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise BadInput(f"the call sheet {plain(path)} is not UTF-8 text") from error
    if len(data) > MOST_BYTES:
        raise BadInput(f"the call sheet {plain(path)} is larger than {MOST_BYTES // 1000} kB")
    return parse_callsheet(text, datetime.datetime.fromtimestamp(now_s, zone).date(), zone, path_text)


def _document(plan: DayPlan, now_s: float) -> dict[str, Any]:
    return {
        "now": looking_ahead.iso(now_s),
        "breaks": [
            {
                "start": looking_ahead.iso(b.slot.start_s),
                "end": looking_ahead.iso(b.slot.end_s),
                "name": b.slot.name,
                "bottles": list(b.bottles),
                "saved_min": round(b.saved_min, 2),
                "work_s": round(b.work_s, 1),
            }
            for b in plan.breaks
        ],
        "takes": [
            {
                "start": looking_ahead.iso(t.slot.start_s),
                "end": looking_ahead.iso(t.slot.end_s),
                "name": t.slot.name,
                "expected_out": round(t.expected_out, 2),
                "doubtful": list(t.doubtful),
            }
            for t in plan.takes
        ],
        "unknown": list(plan.unknown),
    }


@dataclass(frozen=True)
class _Calls:
    """Load-in, bus call, and when the bottles are to be down."""

    sheet: CallSheet
    now_s: float
    bottles: int

    def _ahead(self) -> list[Slot]:
        return [s for s in self.sheet.calls if s.end_s >= self.now_s]

    def _down_s(self) -> tuple[float, float] | None:
        """From when until when the bottles are let down."""
        from rounds.forecast.callsheet import let_down_from_s

        by_s = self.sheet.down_by_s(self.now_s)
        return None if by_s is None else (let_down_from_s(by_s, self.bottles), by_s)

    def document(self) -> dict[str, Any]:
        """As keys of the answer."""
        down = self._down_s()
        return {
            "calls": [
                {
                    "kind": s.kind,
                    "start": looking_ahead.iso(s.start_s),
                    "end": looking_ahead.iso(s.end_s),
                    "name": s.name,
                }
                for s in self._ahead()
            ],
            "let_down_from": None if down is None else looking_ahead.iso(down[0]),
            "down_by": None if down is None else looking_ahead.iso(down[1]),
        }

    def lines(self, zone: datetime.tzinfo | None) -> list[tuple[float, str]]:
        """As lines of the day, with their times."""
        found = [(s.start_s, self._line(s, zone)) for s in self._ahead() if s.kind != "down"]
        down = self._down_s()
        if down is not None:
            by, minutes = _clock(down[1], zone), (down[1] - down[0]) / 60.0
            words = f"rounds letdown: {self.bottles} bottles down by {by}, about {minutes:.0f} min by the pin"
            found.append((down[0], f"{_clock(down[0], zone)}       {words}"))
        return found

    def _line(self, slot: Slot, zone: datetime.tzinfo | None) -> str:
        until = f"-{_clock(slot.end_s, zone)}" if slot.end_s > slot.start_s else "      "
        name = f": {plain(slot.name, 30)}" if slot.name else ""
        return f"{_clock(slot.start_s, zone)}{until} {slot.kind}{name}"


def _sentences(plan: DayPlan, calls: _Calls, zone: datetime.tzinfo | None) -> list[str]:
    lines = [(b.slot.start_s, _of_break(b, zone)) for b in plan.breaks] + [
        (t.slot.start_s, _of_take(t, zone)) for t in plan.takes
    ]
    lines += calls.lines(zone)
    told = [line for _, line in sorted(lines)]
    if not told:
        told = ["Nothing of the call sheet lies ahead."]
    if plan.unknown:
        told.append(f"Never heard, so nothing is known of them: {', '.join(plan.unknown)}.")
    return told


def _of_break(plan: BreakPlan, zone: datetime.tzinfo | None) -> str:
    from rounds.forecast.callsheet import FREE

    kind = "free " if plan.slot.name == FREE else "break"
    when = f"{_clock(plan.slot.start_s, zone)}-{_clock(plan.slot.end_s, zone)} {kind}  "
    if not plan.bottles:
        return f"{when}no round pays"
    return (
        f"{when}round: {', '.join(plan.bottles)} (about {plan.work_s / 60.0:.0f} min; "
        f"saves {plan.saved_min:.0f} bottle-minutes out)"
    )


def _of_take(plan: TakePlan, zone: datetime.tzinfo | None) -> str:
    name = plain(plan.slot.name, 30) or plan.slot.kind
    doubt = f"; likely out: {', '.join(plan.doubtful)}" if plan.doubtful else ""
    when = f"{_clock(plan.slot.start_s, zone)}-{_clock(plan.slot.end_s, zone)}"
    kind = "take  " if plan.slot.kind == "take" else plan.slot.kind
    return f"{when} {kind} {name}: at most {plan.expected_out:.1f} bottles expected out{doubt}"


def _clock(at_s: float, zone: datetime.tzinfo | None) -> str:
    return datetime.datetime.fromtimestamp(at_s, zone).strftime("%H:%M")
