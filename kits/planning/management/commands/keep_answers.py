"""``manage.py keep_answers``: keep what the plan answers, once a week from a timer, or whenever it is asked for."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from bom.errors import BomError
from kits.catalog.days.words import in_full
from kits.planning.weeks.actions import keep_answers, keep_first_of_week
from kits.planning.words.states import plural


class Command(BaseCommand):
    """Keeps the first answers of this week unless they are kept; with ``--besides`` those of now in any case."""

    help = "Keeps what the plan answers, so that later answers can be set against it."
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--besides", action="store_true", help="keep them even if this week's first are kept")

    def handle(self, *args: Any, **options: Any) -> None:
        """Keep them, and say so."""
        at = timezone.now()
        try:
            if options["besides"]:
                kept = keep_answers(by=None, at=at, key=f"command:{uuid.uuid4()}")
            elif (found := keep_first_of_week(by=None, at=at)) is None:
                self.stdout.write("The first answers of this week are kept already, or there is nothing to plan.")
                return
            else:
                kept = found
        except BomError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Kept the answers of {in_full(kept.as_of)} for {plural(kept.answers.count(), 'job')}.")
