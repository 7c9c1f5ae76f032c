"""``manage.py plan``: which jobs can be built, and what is short."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from bom.answers.rows import as_json
from bom.errors import BomError
from kits.catalog.folding import fold
from kits.exchange.ready_database import refuse_missing_tables
from kits.exchange.workbooks.safe_files import write_file
from kits.exchange.workbooks.shortage_book import shortage_workbook
from kits.exchange.workbooks.shortage_lines import say_whose, shortage_lines
from kits.exchange.workbooks.text_tables import jobs_table, shortages_table, summary_line
from kits.planning.queries import plan_now
from kits.purchasing.models import Supplier
from kits.schedule.models import Batch


def read_day(text: str) -> date:
    """A day on the command line."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"{text} is no day: write it as 2026-03-04.") from None


class Command(BaseCommand):
    """Prints jobs and shortages, or the whole answer as JSON, or writes the shortage workbook."""

    help = "Plans the jobs on what is in the database."
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--as-of", required=True, metavar="DATE", help="the day that counts as today: 2026-03-04")
        parser.add_argument("--batch", metavar="NAME", help="show the jobs of this batch only")
        parser.add_argument("--through", metavar="DATE", help="show jobs built on or before this day only")
        parser.add_argument("--staging-days", type=int, metavar="N", help="working days from parts here to build")
        parser.add_argument("--out", type=Path, metavar="FILE.xlsx", help="write the shortage workbook")
        parser.add_argument("--supplier", metavar="NAME", help="with --out: a workbook of only this supplier's lines")
        parser.add_argument("--json", action="store_true", help="print the whole answer as one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Plan and show."""
        refuse_missing_tables()
        as_of = read_day(options["as_of"])
        through = read_day(options["through"]) if options["through"] else None
        staging_days, out = options["staging_days"], options["out"]
        if staging_days is not None and not 0 <= staging_days <= 250:
            raise CommandError(f"{staging_days} staging days cannot be: write 0 to 250.")
        if out is not None and out.suffix.lower() != ".xlsx":
            raise CommandError(f"{out} is to be a workbook: let its name end in .xlsx.")
        refuse_unknown_batch(options["batch"])
        supplier = known_supplier(options["supplier"], out)
        try:
            plan = plan_now(as_of, staging_days)
            answer = as_json(plan, options["batch"], through)
        except BomError as error:
            raise CommandError(str(error)) from error
        if out is not None:
            write_file(out, shortage_workbook(plan, answer, supplier))
            self.stderr.write(f"Wrote {out}.")
        if options["json"]:
            self.stdout.write(json.dumps(answer, indent=1, ensure_ascii=False))
            return
        short = shortages_table(shortage_lines(plan, answer), say_whose(plan, answer))
        self.stdout.write("\n\n".join((summary_line(answer), jobs_table(plan, answer), short)))


def refuse_unknown_batch(name: str | None) -> None:
    """Refuse a batch that no job belongs to, for its plan would look like good news."""
    if name is None or Batch.objects.filter(folded=fold(name)).exists():
        return
    known = ", ".join(Batch.objects.values_list("name", flat=True)) or "none yet"
    raise CommandError(f"there is no batch {name}: the batches are {known}.")


def known_supplier(name: str | None, out: Path | None) -> str | None:
    """The supplier as the shop spells the name; an unknown one is refused, for the sheet would be empty."""
    if name is None:
        return None
    if out is None:
        raise CommandError("--supplier chooses the lines of a workbook: name its file with --out as well.")
    found = Supplier.objects.by_name(name)
    if found is None:
        known = ", ".join(Supplier.objects.values_list("supplier", flat=True)) or "none yet"
        raise CommandError(f"there is no supplier {name}: the suppliers are {known}.")
    return found.supplier
