"""``manage.py dump``: write the lists out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from kits.exchange.columns.layouts import BY_NAME, LAYOUTS, find_layout
from kits.exchange.ready_database import refuse_missing_tables
from kits.exchange.workbooks.dump import dump_text, dump_texts, dump_workbook
from kits.exchange.workbooks.safe_files import write_file


class Command(BaseCommand):
    """Writes every sheet, or those named, as files that can be loaded again."""

    help = (
        "Writes the lists as a workbook (.xlsx), as text files in an archive (.zip), or one sheet as text (.csv); "
        "loading them into an empty database gives the same plan."
    )
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path, help="its name ends in .xlsx, .zip or .csv")
        parser.add_argument("--sheet", nargs="+", default=[], metavar="NAME", help="only these sheets")
        parser.add_argument(
            "--decimal-comma", action="store_true", help="write text files as programs expect them that write 1,5"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the lists in the form that the name of the file asks for."""
        refuse_missing_tables()
        path: Path = options["file"]
        write_file(path, _content(path, _sheets_named(options["sheet"]), options["decimal_comma"]))
        self.stdout.write(f"Wrote {path}.")


def _sheets_named(asked: Sequence[str]) -> set[str]:
    names = set()
    for name in asked:
        sheet = find_layout(name)
        if sheet is None:
            known = ", ".join(one.name for one in LAYOUTS)
            raise CommandError(f"there is no sheet {name}: name some of {known}.")
        names.add(sheet.name)
    return names


def _content(path: Path, names: set[str], decimal_comma: bool) -> bytes:
    kind = path.suffix.lower()
    if kind == ".zip":
        return dump_texts(names, decimal_comma=decimal_comma)
    if kind == ".csv":
        sheet = BY_NAME[next(iter(names))] if len(names) == 1 else find_layout(path.stem)
        if sheet is None or len(names) > 1:
            raise CommandError(f"{path} holds one sheet: name it with --sheet, or call the file items.csv or alike.")
        return dump_text(sheet, decimal_comma=decimal_comma)
    if kind != ".xlsx":
        raise CommandError(f"{path} is no kind of file that is written: let its name end in .xlsx, .zip or .csv.")
    return dump_workbook(names)
