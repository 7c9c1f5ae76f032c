"""``manage.py restore``: a copy put in the place of the database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError
from django.utils import timezone

from kits.exchange.copies.in_service import SiteIsUp
from kits.exchange.copies.refusals import CopyRefused
from kits.exchange.copies.restoring import restore


class Command(BaseCommand):
    """Compares the copy with what it held, and puts it in place wholly or not at all."""

    help = "Puts a copy that backup wrote in the place of the database, while the site is stopped."
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path, help="a file that manage.py backup wrote")
        parser.add_argument(
            "--replace", action="store_true", help="even where the database holds a shop, which is kept beside it"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Restore, and say what is there now."""
        try:
            self.stdout.write(restore(options["file"], timezone.localtime(), replace=options["replace"]))
        except (CopyRefused, SiteIsUp) as refused:
            raise CommandError(str(refused)) from refused
        except DatabaseError as error:
            raise CommandError(f"the database cannot be used ({str(error).strip()}): check DATABASE_URL.") from error
