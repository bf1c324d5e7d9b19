"""The page of a day: one Markdown page, and its pictures beside it when a folder is given."""

from __future__ import annotations

import datetime
import statistics
from typing import TYPE_CHECKING

from rounds.bounds import has_time
from rounds.errors import BadInput, RoundsError
from rounds.files.made_by import made_by
from rounds.files.places import make_folder
from rounds.files.whole import written_whole
from rounds.report.day import FILLED_CENTS, Day, fold
from rounds.report.logbook import Filter
from rounds.report.plots import by_bottle, over_time
from rounds.report.sheet import to_html
from rounds.report.since import since
from rounds.report.tables import markdown
from rounds.times.local import bounds, day_of
from rounds.wording.events import signed
from rounds.wording.printable import plain
from rounds.wording.shown import clock
from rounds.wording.words import counted, in_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from rounds.journal import Journal
    from rounds.report.day import BottleFacts, RoundFacts, TakeFacts
    from rounds.rig import Rig

DEFAULT_TOLERANCE_CENTS = 10.0
"""Drawn when no rig is given."""
WORST_SHOWN = 8
MOST_NAMED = 12
_ALT = {
    "pitch.svg": "Pitch of every reading and the air over the day",
    "bottles.svg": "How far off each bottle was found, and its connections",
}
"""What is read out where the pictures cannot be seen."""
_MOST_DAYS = 30
"""So many days back something to report is looked for."""
_MOST_EMPTY = 10
"""So many days with nothing to compare with are passed over on the way back."""
_NEWEST = 1000
"""Among so many events the last day is looked for."""


def write_page(
    journal: Journal,
    rig: Rig | None,
    date: datetime.date | None,
    folder: Path | None,
    more: Sequence[str] = (),
    *,
    as_html: bool = False,
    by: str = "",
) -> str:
    """The page about a day (the journal's last one when none is given), as Markdown or as one HTML file.

    With a folder it is written there, a Markdown page with its pictures beside it, and only the names are
    returned. `more` are lines that stand near its end; `by` names whose log it is.

    Raises:
        BadInput: the journal has nothing of that day.
        RoundsError: the folder cannot be written.
    """
    days = _newest_days(journal) if date is None else [date]
    date, day = next(
        ((d, found) for d in days if (found := _day_of(journal, d)) is not None), (days[0], None)
    )
    if day is None:
        raise BadInput(f"the journal has nothing of {date}; `rounds log` shows which days it has")
    bottles = _in_order(day, rig)
    heard = day.reads or day.temperatures
    pictures = _pictures(day, bottles, rig, date) if (folder is not None or as_html) and heard else {}
    changed = _since(journal, rig, date, day)
    lines = [*_lines(day, bottles, rig, date, tuple(pictures), changed, by), *more, f"Made by {made_by()}."]
    if as_html:
        page = to_html(lines, pictures, f"{date:%A} {date}")
        return page if folder is None else _written(folder, {f"day-{date}.html": page})
    page = "\n".join(lines) + "\n"
    if folder is None:
        return page
    return _written(folder, {f"day-{date}.md": page, **pictures})


def _since(journal: Journal, rig: Rig | None, date: datetime.date, day: Day) -> list[str]:
    """What changed since the day before that has something to tell; nothing where there is none."""
    until = date
    for _ in range(_MOST_EMPTY):
        newest = Filter(end_s=bounds(until)[0]).newest(journal, 1)
        if not newest:
            break
        until = day_of(newest[0].told_s)
        before = _day_of(journal, until)
        if before is not None and (before.reads or before.rounds):
            return since(before, until, day, _tolerances([], rig), DEFAULT_TOLERANCE_CENTS)
    return []


def _day_of(journal: Journal, date: datetime.date) -> Day | None:
    """What a day's events come to; None where there is nothing to report in them."""
    start_s, end_s = bounds(date)
    day = fold(Filter(start_s=start_s, end_s=end_s).read(journal))
    worth = day.reads or day.rounds or day.notes or day.temperatures or day.takes
    return day if worth else None


def _newest_days(journal: Journal) -> list[datetime.date]:
    """The days of the newest events, the newest first: of the last one there may be nothing to report."""
    newest = Filter().read(journal, max(0, journal.last_id - _NEWEST))
    found = {day_of(e.told_s) for e in newest if has_time(e.event) and not e.taken_back}
    if not found:
        raise BadInput("the journal is empty; there is no day to report")
    return sorted(found, reverse=True)[:_MOST_DAYS]


def _in_order(day: Day, rig: Rig | None) -> list[BottleFacts]:
    """Bottles low to high: by the rig, else by what was heard of them."""
    if rig is not None:
        order = {b.id: index for index, b in enumerate(rig.by_pitch)}
        return sorted(day.bottles.values(), key=lambda b: (order.get(b.id, len(order)), b.id))
    return sorted(day.bottles.values(), key=lambda b: (b.hz, b.id))


def _pictures(day: Day, bottles: list[BottleFacts], rig: Rig | None, date: datetime.date) -> dict[str, str]:
    half = _tolerances(bottles, rig)
    usual = statistics.median(half.values()) if half else DEFAULT_TOLERANCE_CENTS
    return {
        f"day-{date}-pitch.svg": over_time(day, usual),
        f"day-{date}-bottles.svg": by_bottle(bottles, half),
    }


def _tolerances(bottles: list[BottleFacts], rig: Rig | None) -> dict[str, float]:
    if rig is not None:
        return {b.id: b.tolerance_cents for b in rig.bottles}
    return {b.id: DEFAULT_TOLERANCE_CENTS for b in bottles}


def _written(folder: Path, files: dict[str, str]) -> str:
    try:
        make_folder(folder)
        for name, content in files.items():
            with written_whole(folder / name, replace=True) as out:
                out.write(content.encode())
    except OSError as error:
        raise RoundsError(
            f"{plain(folder)}: it cannot be written ({error.strerror}); name another"
        ) from error
    return "".join(f"{plain(folder / name)}\n" for name in files)


def _lines(
    day: Day,
    bottles: list[BottleFacts],
    rig: Rig | None,
    date: datetime.date,
    pictures: tuple[str, ...],
    changed: list[str],
    by: str,
) -> Iterator[str]:
    names = ", ".join(day.rigs) or (rig.name if rig else "")
    yield f"# {date:%A} {date}"
    yield ""
    whose = f"kept by {by}" if by else ""
    yield markdown(" · ".join(part for part in (names, ", ".join(day.places), whose) if part))
    yield ""
    yield _summary(day)
    yield ""
    yield from _rounds(day.rounds)
    yield from changed
    yield from _takes(day.takes)
    yield from _filled(bottles)
    yield from _worst(bottles, _tolerances(bottles, rig))
    yield from _notes(day)
    for name in pictures:
        yield f"![{_ALT[name.rpartition('-')[2]]}]({name})"
        yield ""


def _summary(day: Day) -> str:
    minutes = sum(r.minutes or 0.0 for r in day.rounds)
    counts = [
        (len(day.rounds), f"{counted(len(day.rounds), 'round')} in {minutes:.0f} minutes"),
        (day.connections, counted(day.connections, "connection")),
        (len(day.reads), counted(len(day.reads), "clear reading")),
        (len(day.takes), counted(len(day.takes), "take")),
    ]
    done = ", ".join(words for number, words in counts if number) or "nothing was tuned"
    return f"{done[0].upper()}{done[1:]}; {_air(day)}."


def _air(day: Day) -> str:
    temps = [t.temp_c for t in day.temperatures]
    if not temps:
        return "no temperature was given"
    low, high = f"{min(temps):.1f}", f"{max(temps):.1f}"
    return f"air {low} °C" if low == high else f"air {low} to {high} °C"


def _clock(at_s: float) -> str:
    return f"{datetime.datetime.fromtimestamp(at_s):%H:%M}"


def _rounds(rounds: list[RoundFacts]) -> Iterator[str]:
    if not rounds:
        return
    yield "| round | from | minutes | connections | in tune | worst when closed | worked on |"
    yield "| --- | --- | ---: | ---: | ---: | --- | --- |"
    for facts in rounds:
        closed = facts.closed
        minutes = "open" if facts.minutes is None else f"{facts.minutes:.1f}"
        tuned = "" if closed is None else f"{closed.in_tune} of {closed.needed}"
        tuned = tuned if closed is None or closed.down is None else f"{closed.down} let down"
        worked_on = in_words(list(map(markdown, facts.visited)), MOST_NAMED) if facts.visited else ""
        worst = ""
        if closed is not None and closed.worst_cents is not None:
            worst = f"{markdown(closed.worst_bottle)} {closed.worst_cents:.1f} cents"
        yield (
            f"| {markdown(facts.opened.round_id)} | {_clock(facts.opened.at_s)} | {minutes} "
            f"| {facts.connections} | {tuned} | {worst} | {worked_on} |"
        )
    yield ""


def _takes(takes: list[TakeFacts]) -> Iterator[str]:
    if not takes:
        return
    yield "| take | from | lasted | worst expected | likely out |"
    yield "| --- | --- | ---: | --- | --- |"
    for take in takes:
        last = take.stopped or take.started
        whose = f"{markdown(last.worst_bottle)} " if last.worst_bottle else ""
        worst = "" if last.worst_cents is None else f"{whose}{signed(last.worst_cents)}"
        seconds = "running" if take.seconds is None else clock(take.seconds)
        begun = f"{markdown(take.started.take)} | {_clock(take.started.at_s)}"
        yield f"| {begun} | {seconds} | {worst} | {markdown(', '.join(last.doubtful))} |"
    yield ""


def _filled(bottles: list[BottleFacts]) -> Iterator[str]:
    """Bottles that had no air: how far off they were says nothing of how they hold."""
    filled = [b for b in bottles if b.filled_cents is not None]
    if filled:
        names = in_words([markdown(b.id) for b in filled]) if len(filled) <= MOST_NAMED else ""
        who = names or counted(len(filled), "bottle")
        yield f"Filled, or let down before (more than {-FILLED_CENTS:.0f} cents flat at first): {who}."
        yield ""


def _worst(bottles: list[BottleFacts], tolerances: dict[str, float]) -> Iterator[str]:
    found = sorted((b for b in bottles if b.found_cents), key=lambda b: -b.typical_cents)
    if not found:
        return
    held = [abs(c) <= tolerances.get(b.id, DEFAULT_TOLERANCE_CENTS) for b in found for c in b.found_cents]
    yield f"As found at the start of a round, {sum(held)} of {len(held)} readings were in tune."
    yield ""
    found = found[:WORST_SHOWN]
    yield "| worst bottles | found off, median | furthest | found | connections |"
    yield "| --- | ---: | ---: | ---: | ---: |"
    for b in found:
        yield (
            f"| {markdown(b.id)} | {b.typical_cents:.1f} | {signed(b.worst_cents)} "
            f"| {counted(len(b.found_cents), 'time')} | {b.connections} |"
        )
    yield ""


def _notes(day: Day) -> Iterator[str]:
    for replaced in day.replaced:
        yield f"- {_clock(replaced.at_s)} {markdown(replaced.bottle)}: {replaced.part} replaced"
    for swap in day.swapped:
        yield f"- {_clock(swap.at_s)} {markdown(swap.bottle)} and {markdown(swap.other)} changed places"
    for note in day.notes:
        about = f"{markdown(note.bottle)}: " if note.bottle else ""
        yield f"- {_clock(note.at_s)} {about}{markdown(note.text)}"
    if day.replaced or day.swapped or day.notes:
        yield ""
