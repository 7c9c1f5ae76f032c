"""``manage.py work_a_year``: a year of invented work in the demo shop, to prove the books on."""

from __future__ import annotations

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from bom.errors import BomError
from kits.demo.shop import load_demo_shop, make_sign_ins, refuse_other_shop
from kits.demo.year_of_work import YearOfWork, movements_by_kind
from kits.exchange.workbooks.text_tables import text_table
from kits.people.models import User


class Command(BaseCommand):
    """Works in the demo shop until the ledger holds so many more movements, then proves every balance."""

    help = "Does a year of invented work in the demo shop and proves the books; never in a shop of your own."
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--movements", type=int, default=50_000, metavar="N", help="stop after so many (50000)")
        parser.add_argument("--jobs-a-week", type=int, default=66, metavar="N", help="new jobs each Monday (66)")
        parser.add_argument("--seed", type=int, default=1, metavar="N", help="the same seed does the same work")

    def handle(self, *args: Any, **options: Any) -> None:
        """Load the demo shop if it is not there, work, and prove."""
        if not 0 < options["movements"] <= 1_000_000 or not 0 < options["jobs_a_week"] <= 200:
            raise CommandError("Ask for 1 to 1000000 movements and 1 to 200 jobs a week.")
        call_command("migrate", verbosity=0, interactive=False)
        try:
            refuse_other_shop()
            load_demo_shop(YearOfWork.moment)
            make_sign_ins()
            clerk = User.objects.get(username="clerk")
            year = YearOfWork(
                by=clerk, seed=options["seed"], jobs_a_week=options["jobs_a_week"], tell=self.stderr.write
            )
            tally = year.run(options["movements"])
        except BomError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(text_table(("done", "times"), sorted(tally.done.items())))
        self.stdout.write("")
        self.stdout.write(text_table(("movements", "count"), list(movements_by_kind().items())))
        self.stdout.write(f"\n{len(tally.refused)} requests were refused" + (", the first:" if tally.refused else "."))
        for says in tally.refused[:5]:
            self.stdout.write(f"  {says}")
        call_command("check_ledger", stdout=self.stdout, stderr=self.stderr)
