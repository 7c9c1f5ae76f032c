"""``manage.py dump``: write the lists out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from kits.exchange.dump import dump_workbook
from kits.exchange.layouts import SHEETS, find_sheet
from kits.exchange.ready_database import refuse_missing_tables
from kits.exchange.safe_files import write_file


class Command(BaseCommand):
    """Writes every sheet, or those named, as one workbook that can be loaded again."""

    help = "Writes the lists as a workbook; loading it into an empty database gives the same plan."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE.xlsx", type=Path)
        parser.add_argument("--sheet", nargs="+", default=[], metavar="NAME", help="only these sheets")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the workbook."""
        refuse_missing_tables()
        names = set()
        for name in options["sheet"]:
            sheet = find_sheet(name)
            if sheet is None:
                known = ", ".join(one.name for one in SHEETS)
                raise CommandError(f"there is no sheet {name}: name some of {known}.")
            names.add(sheet.name)
        path: Path = options["file"]
        if path.suffix.lower() != ".xlsx":
            raise CommandError(f"{path} is to be a workbook: let its name end in .xlsx.")
        write_file(path, dump_workbook(names))
        self.stdout.write(f"Wrote {path}.")
