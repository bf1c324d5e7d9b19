"""`rounds journal`: is the journal whole, a copy of it, back to a copy, and what to save when it is not."""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
import time
from pathlib import Path

from rounds.errors import ExitCode
from rounds.starting import options


def register(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("journal", help="check, copy, restore or rescue the journal")
    options.add_journal(parser)
    inner = parser.add_subparsers(title="what to do", dest="journal_command", required=True, metavar="WHAT")
    check = inner.add_parser("check", help="read every page and every event, and tell what is wrong")
    options.add_json(check)
    check.set_defaults(run=run_check)
    backup = inner.add_parser("backup", help="copy the journal, even while a session runs")
    backup.add_argument(
        "file", nargs="?", metavar="FILE", help="the new file (default: one named by the time)"
    )
    backup.set_defaults(run=run_backup)
    rescue = inner.add_parser("rescue", help="save what can be read of a damaged journal into a new one")
    rescue.add_argument("file", metavar="FILE", help="the new journal")
    rescue.set_defaults(run=run_rescue)
    where = inner.add_parser("path", help="print where the journal is")
    where.set_defaults(run=run_path)
    restore = inner.add_parser("restore", help="put a copy in the journal's place; the present one is kept")
    restore.add_argument("file", metavar="FILE", help="the copy, as backup or a session's end made it")
    restore.set_defaults(run=run_restore)
    for one in (check, backup, rescue, where, restore):
        # SUPPRESS: a --journal given before the inner command must not be overwritten by its default.
        one.add_argument("--journal", metavar="FILE", default=argparse.SUPPRESS, help=argparse.SUPPRESS)


def run_check(args: argparse.Namespace) -> int:
    """Check; exit code 1 when something is wrong."""
    from rounds.files.places import journal_path
    from rounds.journal.care import check
    from rounds.times.local import local
    from rounds.wording.printable import plain
    from rounds.wording.words import counted

    path = journal_path(args.journal)
    found = check(path)
    if args.json:
        print(json.dumps({"journal": str(path), **dataclasses.asdict(found)}))
    else:
        print(f"{plain(path)}: {found.events} events" + (", whole" if found.whole else ""))
        if found.first_s is not None and found.last_s is not None:
            print(f"from {local(found.first_s)} to {local(found.last_s)}")
        if found.clock_back:
            print(
                f"{found.clock_back} times an event is older than the one before it (imported, most likely); "
                "that is no fault"
            )
        if found.taken_back:
            print(f"{found.taken_back} events taken back by the player: kept, and not believed")
        if found.unbelieved:
            why = "a number in them cannot be, or a newer rounds wrote them"
            print(f"{found.unbelieved} events not believed: {why}")
        if found.missing:
            print(
                f"{counted(found.missing, 'event')} that had been kept are missing; `rounds log` says where"
            )
        for problem in found.problems:
            print(problem)
    return int(ExitCode.FINE if found.whole else ExitCode.FAILED)


def run_path(args: argparse.Namespace) -> int:
    """Print its name, whether it is there or not."""
    from rounds.files.places import journal_path

    print(journal_path(args.journal).absolute())
    return 0


def run_backup(args: argparse.Namespace) -> int:
    """Copy."""
    from rounds.files.places import data_folder, make_folder
    from rounds.journal.faults import told
    from rounds.wording.printable import plain

    with options.open_journal(args, read_only=True) as journal:
        to = Path(args.file) if args.file else data_folder() / "backups" / time.strftime("%Y%m%d-%H%M%S.db")
        if not args.file:
            with told(to):
                make_folder(to.parent)
        journal.backup(to)
    print(plain(to))
    return 0


def run_rescue(args: argparse.Namespace) -> int:
    """Save what can be read."""
    from rounds.files.places import journal_path
    from rounds.journal.rescuing import rescue, summary

    found = rescue(journal_path(args.journal), Path(args.file), time.time())
    print(summary(found, Path(args.file)), file=sys.stderr)
    return 0


def run_restore(args: argparse.Namespace) -> int:
    """Go back to a copy."""
    from rounds.files.places import journal_path
    from rounds.journal.restoring import restore
    from rounds.wording.printable import plain

    aside = restore(journal_path(args.journal), Path(args.file))
    kept = "" if aside is None else f"; the journal before is kept as {plain(aside)}"
    print(f"restored from {plain(args.file)}{kept}", file=sys.stderr)
    return 0
