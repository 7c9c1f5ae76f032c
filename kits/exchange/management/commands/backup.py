"""``manage.py backup``: a consistent copy while others work."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from kits.exchange.backups import BackupRefused, back_up
from kits.exchange.ready_database import refuse_missing_tables


class Command(BaseCommand):
    """Writes a copy of the whole database that can be put in its place."""

    help = "Writes a consistent copy of the database while others work."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        """Copy, and prove the copy."""
        refuse_missing_tables()
        try:
            says = back_up(options["file"])
        except BackupRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(says)
