"""`rounds log`: what happened, to read, to carry away, to bring in and to add to."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from rounds.errors import BadInput, RoundsError
from rounds.starting import options

if TYPE_CHECKING:
    import datetime
    from collections.abc import Iterable

    from rounds.journal import Journal
    from rounds.report.logbook import Entry, Filter
    from rounds.rig import Rig

NEWEST = 100
"""How many entries the table shows when nothing else is said."""
MOST_NOTE_CHARS = 10_000
MOST_NAME_CHARS = 80


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "log",
        help="read the rehearsal log, add to it, import and export it",
        description="The rehearsal log. The table is in local time and shows the newest entries; "
        "--csv and --json are in UTC and whole, and can be imported again.",
    )
    options.add_journal(parser)
    _add_forms(parser)
    _add_filters(parser)
    parser.set_defaults(run=run)
    inner = parser.add_subparsers(title="also", metavar="")
    _register_add(inner)
    _register_import(inner)
    _register_export(inner)
    _register_report(inner)


def _add_forms(parser: argparse.ArgumentParser) -> None:
    forms = parser.add_mutually_exclusive_group()
    forms.add_argument("--json", action="store_true", help="print one JSON document")
    forms.add_argument("--csv", action="store_true", help="print CSV")
    forms.add_argument("--md", action="store_true", help="print a Markdown table")


def _add_filters(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--day", type=_day, metavar="YYYY-MM-DD", help="only this day, local time")
    parser.add_argument("--place", metavar="TEXT", help="only at this place")
    parser.add_argument("--round", metavar="ID", help="only this round")
    parser.add_argument("--bottle", metavar="ID", help="only this bottle")
    parser.add_argument("--take", metavar="NAME", help="only this take")
    parser.add_argument(
        "--kind", action="append", type=_kind, default=[], metavar="KIND", help="only this kind of event"
    )
    amount = parser.add_mutually_exclusive_group()
    amount.add_argument("--last", type=_count, metavar="N", help="only the newest N")
    amount.add_argument("--all", action="store_true", help=f"the whole table, not the newest {NEWEST}")


def _inner_journal(parser: argparse.ArgumentParser) -> None:
    # SUPPRESS: a --journal given before the inner command must not be overwritten by its default.
    parser.add_argument("--journal", metavar="FILE", default=argparse.SUPPRESS, help=argparse.SUPPRESS)


def _register_add(inner: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = inner.add_parser("add", help="write a note into the log")
    parser.add_argument("text", help="the note")
    parser.add_argument("--bottle", metavar="ID", help="the bottle it is about")
    options.add_rig(parser)
    parser.add_argument("--at", metavar="ISO", help="when it happened, if not now (ISO 8601, UTC)")
    _inner_journal(parser)
    parser.set_defaults(run=run_add)


def _register_import(inner: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = inner.add_parser(
        "import",
        help="bring in readings or an exported log",
        description="Bring in a CSV of readings (columns at, bottle, cents or hz, temp_c, touched), or "
        "what `rounds log --csv`, `--json` or `export` wrote. Lines that are in the journal already are "
        "not kept twice.",
    )
    parser.add_argument(
        "file", metavar="FILE", nargs="?", help="a CSV file; its columns are in docs/journal.md"
    )
    options.add_rig(parser)
    choice = parser.add_mutually_exclusive_group()
    choice.add_argument("--keep-good", action="store_true", help="keep the good lines even if others are bad")
    choice.add_argument(
        "--all-or-none", action="store_true", help="keep nothing if a line is bad (the default)"
    )
    choice.add_argument(
        "--undo",
        action="store_true",
        help="take back what the last import brought in (that of FILE, if named)",
    )
    _inner_journal(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.set_defaults(run=run_import)


def _register_export(inner: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = inner.add_parser("export", help="write the whole log into a new file, to be imported elsewhere")
    parser.add_argument("file", metavar="FILE", help="its ending says the form: .jsonl, .json, .csv or .md")
    _inner_journal(parser)
    parser.set_defaults(run=run_export)


def _register_report(inner: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = inner.add_parser("report", help="one page about a day, in Markdown with SVG pictures")
    parser.add_argument(
        "--day", type=_day, metavar="YYYY-MM-DD", help="the day, local time (default: the last)"
    )
    parser.add_argument(
        "--to", metavar="FOLDER", help="write page and pictures there (default: print the page)"
    )
    parser.add_argument(
        "--html", action="store_true", help="one HTML file with its pictures in it, which prints on one sheet"
    )
    parser.add_argument("--by", metavar="NAME", default="", help="whose log it is, for somebody else")
    options.add_rig(parser)
    _inner_journal(parser)
    parser.set_defaults(run=run_report)


def _day(text: str) -> datetime.date:
    import datetime

    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        day = datetime.date.min
    if not 1971 <= day.year <= 9000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day such as 2026-05-31")
    return day


def _kind(text: str) -> str:
    from rounds.events import EVENT_TYPES

    if text not in EVENT_TYPES:
        raise argparse.ArgumentTypeError(
            f"there is no kind {text!r}; there are {', '.join(sorted(EVENT_TYPES))}"
        )
    return text


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 0 < int(text[:9]) == int(text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 1 up")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Print the log."""
    from rounds.report import tables

    with options.open_journal(args, read_only=True) as journal:
        wanted = _filter(args, journal)
        machine = args.json or args.csv or args.md
        most = args.last or (None if machine or args.all else NEWEST)
        found: Iterable[Entry] = (
            wanted.read(journal, touched=args.csv)
            if most is None
            else wanted.newest(journal, most, touched=args.csv)
        )
        if found == []:
            print("nothing in the log matches", file=sys.stderr)
        elif wanted.is_everything and most and not args.last and journal.last_id > most:
            print(f"the newest {most} of {journal.last_id} entries; --all shows all", file=sys.stderr)
        writer = (
            tables.write_json if args.json
            else tables.write_csv if args.csv
            else tables.write_markdown if args.md
            else tables.write_table
        )  # fmt: skip
        writer(found, sys.stdout)
    return 0


def _filter(args: argparse.Namespace, journal: Journal) -> Filter:
    from rounds.report.logbook import Filter
    from rounds.times.local import bounds

    start_s, end_s = bounds(args.day) if args.day else (None, None)
    bottle = args.bottle and (options.spelled(journal, args.bottle) or args.bottle)
    return Filter(start_s, end_s, args.place, args.round, bottle, args.take, frozenset(args.kind))


def run_add(args: argparse.Namespace) -> int:
    """Write a note."""
    from rounds.events import NoteWritten
    from rounds.importing.readings import parse_time
    from rounds.journal.timing import scale_now
    from rounds.times.journal_time import SLACK_S

    if not args.text.strip():
        raise BadInput("the note is empty; write what to remember")
    if len(args.text) > MOST_NOTE_CHARS:
        raise BadInput(f"a note has at most {MOST_NOTE_CHARS} characters, not {len(args.text)}")
    try:
        at_s = parse_time(args.at) if args.at else time.time()
    except ValueError as error:
        raise BadInput(f"--at: {error}") from error
    if at_s > time.time() + SLACK_S:
        raise BadInput(f"--at: {args.at} is yet to come, by this machine's clock; a note is of what happened")
    with options.open_journal(args) as journal:
        bottle = args.bottle and _bottle_of_note(args, journal)
        at_s = scale_now(journal).kept(at_s)
        journal.append(NoteWritten(at_s=at_s, text=args.text, bottle=bottle))
    return 0


def _bottle_of_note(args: argparse.Namespace, journal: Journal) -> str:
    """The bottle a note is about; without a rig one that the journal does not know is said, not refused."""
    from rounds.faces import typed
    from rounds.wording.printable import plain

    if options.rig_named(args):
        return typed.bottle(args.bottle, options.load(args))
    known = options.spelled(journal, args.bottle)
    if known is None:
        print(f"rounds: {plain(args.bottle)} is new to this journal; a slip of the fingers?", file=sys.stderr)
    return known or str(args.bottle)


def run_import(args: argparse.Namespace) -> int:
    """Bring a file in."""
    import json

    from rounds.importing import BadLine, import_file

    if args.undo:
        return _undo_import(args)
    if args.file is None:
        raise BadInput("no file is named; `rounds log import FILE` brings one in")
    bad: list[dict[str, object]] = []

    def on_bad(line: BadLine) -> None:
        print(f"line {line.line}: {line.problem}", file=sys.stderr)
        if args.json:
            bad.append({"line": line.line, "problem": line.problem})

    rig = options.load(args) if options.rig_named(args) else None
    with options.open_journal(args) as journal:
        result = import_file(
            Path(args.file), journal, rig, keep_good=args.keep_good, on_bad=on_bad, now_s=time.time()
        )
    if args.json:
        counts = {"kept": result.kept, "known": result.known, "events": result.events}
        print(json.dumps({**counts, "bad": bad}))
    else:
        lines = f"{result.kept} lines kept, {result.known} known already, {result.bad} bad"
        print(f"{lines}; {result.events} new events", file=sys.stderr)
    return 0


def _undo_import(args: argparse.Namespace) -> int:
    """Take back what an import brought in: it stays written, and nothing believes it."""
    import json

    from rounds.events import TakenBack
    from rounds.importing import newest_import
    from rounds.journal.imports import stands_together
    from rounds.journal.takenback import MOST_BACK
    from rounds.journal.timing import scale_now
    from rounds.wording.words import counted

    name = Path(args.file).name if args.file else None
    with options.open_journal(args) as journal:
        found = newest_import(journal, name)
        if found is None:
            raise BadInput(f"there is no import{f' of {name}' if name else ''} to take back")
        number, event = found
        words = f"the import of {event.file} ({counted(event.events, 'event')})"
        if not stands_together(number, event, journal.sums) or journal.last_id - number > MOST_BACK:
            raise BadInput(
                f"{words} is too far back, or its events are not together in this journal: it stays"
            )
        at_s = scale_now(journal).kept(time.time())
        journal.append(TakenBack(at_s=at_s, sums=journal.sums((number,)), words=words))
    if args.json:
        print(json.dumps({"taken_back": event.events, "file": event.file}))
    else:
        print(f"taken back: {words}", file=sys.stderr)
    return 0


def run_export(args: argparse.Namespace) -> int:
    """Write the whole log into a file."""
    import io

    from rounds.files.whole import written_whole
    from rounds.report import tables
    from rounds.report.logbook import Filter
    from rounds.wording.printable import plain

    writers = {
        ".jsonl": tables.write_lines,
        ".json": tables.write_json,
        ".csv": tables.write_csv,
        ".md": tables.write_markdown,
    }
    path = Path(args.file)
    writer = writers.get(path.suffix.lower())
    if writer is None:
        raise BadInput(f"{plain(path)}: its ending must say the form: {', '.join(writers)}")
    with options.open_journal(args, read_only=True) as journal:
        try:
            with written_whole(path, replace=False) as raw:
                out = io.TextIOWrapper(raw, encoding="utf-8", newline="")
                writer(Filter().read(journal, touched=path.suffix.lower() == ".csv"), out)
                out.flush()
                out.detach()
        except FileExistsError as error:
            raise BadInput(f"{plain(path)}: there is a file already; name one that does not exist") from error
        except OSError as error:
            raise RoundsError(
                f"{plain(path)}: it cannot be written ({error.strerror}); try elsewhere"
            ) from error
    return 0


def run_report(args: argparse.Namespace) -> int:
    """Write the page of a day."""
    from rounds.report.page import write_page

    by = _name(args.by)
    rig = options.load(args) if options.rig_named(args) else None
    with options.open_journal(args, read_only=True) as journal:
        more = _promises(rig, journal)
        folder = Path(args.to) if args.to else None
        page = write_page(journal, rig, args.day, folder, more, as_html=args.html, by=by)
        sys.stdout.write(page)
    return 0


def _name(text: str) -> str:
    """A person's name for the page.

    Raises:
        BadInput: it is none that could be printed.
    """
    if len(text) > MOST_NAME_CHARS or not text.isprintable():
        raise BadInput(f"--by: give a name of at most {MOST_NAME_CHARS} printable characters")
    return text.strip()


def _promises(rig: Rig | None, journal: Journal) -> list[str]:
    """How far what was promised held, over the whole journal: a rig says which bottles there are."""
    from rounds.forecast import promises, promises_said

    if rig is None:
        return ["How far its promises held: name the rig (--rig) to see it.", ""]
    found = promises_said.page(promises.promises_of(rig, journal.events_by_time()))
    lines = ["## How far its promises held, over the whole journal", ""]
    if found.rows:
        lines += ["| promise | of | held | off, median | |", "| --- | --- | --- | --- | --- |"]
    lines += [f"| {row.what} | {row.of} | {row.held} | {row.off} | {row.verdict} |" for row in found.rows]
    return [*lines, *[""] * bool(found.rows), *found.sentences, ""]
