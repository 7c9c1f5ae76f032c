"""``manage.py load``: bring lists in."""

from __future__ import annotations

import getpass
import sys
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError
from django.utils import timezone

from kits.catalog.caching.progress import SpacedOut, reporting_to
from kits.catalog.waiting import is_away, is_busy
from kits.exchange.actions import check_files, load_by_command
from kits.exchange.columns.layout import fold_heading
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.files.codepages import CHARSETS
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.asking.instructions import Instructions
from kits.exchange.reading.sheet_files import open_file
from kits.exchange.ready_database import refuse_missing_tables
from kits.exchange.uploads.outcome import Outcome
from kits.exchange.uploads.reports import outcome_lines, problem_lines

SECONDS_BETWEEN = 3.0
"""Between two lines that say how far a long load is."""


class Command(BaseCommand):
    """Stores everything that the files hold, or nothing and says every problem."""

    help = "Loads sheets from workbooks and .csv files; all or nothing. The page All uploads takes a load back."
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "files", nargs="+", metavar="FILE", type=Path, help="an .xlsx workbook, a .csv file or .csv files in a .zip"
        )
        parser.add_argument("--check", action="store_true", help="say what would change, and store nothing")
        parser.add_argument(
            "--replace",
            action="append",
            default=[],
            metavar="SHEET",
            help="also remove what this sheet does not name; may be given several times",
        )
        parser.add_argument(
            "--list",
            action="append",
            default=[],
            dest="lists",
            metavar="NAME=SHEET",
            help="which sheet a file, or a sheet of a workbook, is read as: 'parts 2026.csv=Items'",
        )
        parser.add_argument(
            "--charset",
            action="append",
            default=[],
            dest="charsets",
            metavar="FILE=SET",
            help=f"in which characters a text is that is not Unicode: {', '.join(CHARSETS)}",
        )
        parser.add_argument(
            "--because", default="", metavar="REASON", help="why lots are accepted that are older than asked for"
        )
        parser.add_argument(
            "--meant", action="store_true", help="take odd build days and promises as they stand, without asking"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Check or load the files."""
        refuse_missing_tables()
        findings = Findings()
        files = [file for path in options["files"] if (file := open_file(path, findings)) is not None]
        at, replaced = timezone.now(), options["replace"]
        instructions = Instructions(
            lists=_lists(options["lists"]), charsets=_pairs("--charset", options["charsets"], CHARSETS)
        )
        given: dict[str, Any] = {
            "files": files,
            "at": at,
            "replaced": replaced,
            "findings": findings,
            "instructions": instructions,
        }
        try:
            with reporting_to(SpacedOut(self.stderr.write, SECONDS_BETWEEN)):
                if options["check"]:
                    outcome = check_files(**given)
                else:
                    given["because"] = options["because"].strip()
                    outcome = self._load(given, ask=sys.stdin.isatty() and not options["meant"])
        except (DatabaseError, OSError) as error:
            if is_busy(error):
                says = "somebody else was storing all the while, so nothing was stored: load it again in a moment."
            elif is_away(error):
                says = f"the database is away ({error}), so nothing was stored: load it again when it is back."
            else:
                raise
            raise CommandError(says) from error
        if outcome.problems:
            for line in problem_lines(outcome):
                self.stderr.write(line)
            for one in outcome.unknown:
                likely = one.likely[0] if one.likely else "Items"
                self.stderr.write(f'Say which list it is: load FILE --list "{one.file}={likely}"')
            sys.exit(1)
        for line in outcome_lines(outcome, kept=not options["check"]):
            self.stdout.write(line)

    def _load(self, given: dict[str, Any], *, ask: bool) -> Outcome:
        """Load; whoever sits at a terminal is asked about what can hardly be meant, and a script finds it reported."""
        given["ran_by"] = user_of_machine()
        outcome = load_by_command(**given, meant="" if ask else None)
        unsaid = outcome.needs_reason and not given["because"]
        if outcome.problems or not outcome.questions or not (ask or unsaid):
            return outcome
        for question in outcome.questions:
            self.stderr.write(question.says)
        if not ask:
            raise CommandError("Nothing was stored: say with --because why old lots are accepted, and load it again.")
        if not says_yes("Load it as it stands? (yes or no) "):
            raise CommandError("Nothing was stored: put right what was asked about and load it again.")
        if unsaid:
            given["because"] = input("Why are the old lots accepted? ").strip()
        return load_by_command(**given, meant=outcome.asked)


def _lists(said: Sequence[str]) -> dict[str, str]:
    """Which list is which, under the names that the shop uses."""
    known = {fold_heading(sheet.name): sheet.name for sheet in LAYOUTS}
    pairs = {name: fold_heading(value) for name, value in _split("--list", said)}
    for name, value in pairs.items():
        if value not in known:
            raise CommandError(f"--list {name}: there is no such sheet; write one of {', '.join(known.values())}.")
    return {name: known[value] for name, value in pairs.items()}


def _pairs(option: str, said: Sequence[str], known: Collection[str]) -> dict[str, str]:
    pairs = dict(_split(option, said))
    for name, value in pairs.items():
        if value not in known:
            raise CommandError(f"{option} {name}: {value} is not known; write one of {', '.join(known)}.")
    return pairs


def _split(option: str, said: Sequence[str]) -> Iterator[tuple[str, str]]:
    for text in said:
        name, mark, value = text.rpartition("=")
        if not mark or not name or not value:
            raise CommandError(f"{option} {text}: write the name of the file, an equals sign, and what it is.")
        yield name, value


def says_yes(question: str) -> bool:
    """What whoever sits at the terminal answers; to leave it is no yes."""
    try:
        return input(question).strip().casefold() in ("y", "yes")
    except EOFError:
        return False


def user_of_machine() -> str:
    """Who runs the command, as the machine knows them; on some, such as in a container, nobody has a name."""
    try:
        return getpass.getuser()
    except (ImportError, KeyError, OSError):
        return "somebody without a name"
