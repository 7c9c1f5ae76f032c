"""``manage.py demo``: an invented shop, its jobs and shortages, and how to look around."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from bom.answers.rows import as_json
from bom.errors import BomError
from kits.demo.pumps_in import bring_pumps_in
from kits.demo.shop import NAMES, demo_day, keep_monday, load_demo_shop, make_sign_ins, refuse_other_shop
from kits.exchange.uploads.reports import problem_lines
from kits.exchange.workbooks.safe_files import write_file
from kits.exchange.workbooks.shortage_book import shortage_workbook
from kits.exchange.workbooks.shortage_lines import shortage_lines
from kits.exchange.workbooks.text_tables import jobs_table, shortages_table, summary_line, text_table
from kits.people.models import User
from kits.people.roles import SERVICE_LEAD
from kits.planning.queries import plan_now


class Command(BaseCommand):
    """Makes the database if it is missing, loads the demo shop once, plans it, and says how to open the site."""

    help = "Shows the product with an invented shop; safe to run again."
    requires_system_checks = ()  # which would load every page
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--out", type=Path, default=Path("shortages.xlsx"), metavar="FILE.xlsx")

    def handle(self, *args: Any, **options: Any) -> None:
        """Do it all, in the order in which it is told."""
        call_command("migrate", verbosity=0, interactive=False)
        try:
            refuse_other_shop()
            self.load()
            plan = plan_now(demo_day())
            answer = as_json(plan)
        except BomError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            "\n\n".join((summary_line(answer), jobs_table(plan, answer), shortages_table(shortage_lines(plan, answer))))
        )
        write_file(options["out"], shortage_workbook(plan, answer))
        self.stdout.write(f"\nWrote {options['out']}.\n")
        self.tell_how_to_open()

    def load(self) -> None:
        """Load the demo shop, or say that it is there."""
        outcome = load_demo_shop(timezone.now())
        if outcome is None:
            self.stdout.write(f"The demo shop is in {database_name()} already; what was done to it is kept.\n")
        elif outcome.problems:
            for line in problem_lines(outcome):
                self.stderr.write(line)
            sys.exit(1)
        else:
            keep_monday(timezone.now())
            make_sign_ins()
            bring_pumps_in(User.objects.get(username=NAMES[SERVICE_LEAD]))
            self.stdout.write(f"Loaded the demo shop into {database_name()}. Everything in it is invented.\n")

    def tell_how_to_open(self) -> None:
        """The sign-ins, and the command that opens the site."""
        rows = [(person.role, person.name, person.password) for person in make_sign_ins()]
        self.stdout.write("Sign-ins, for the demo only:\n\n" + text_table(("role", "name", "password"), rows))
        self.stdout.write("\nOpen the site: run  python3 manage.py serve  and look at http://127.0.0.1:8000/")


def database_name() -> str:
    """The database in words."""
    return str(connection.settings_dict["NAME"])
