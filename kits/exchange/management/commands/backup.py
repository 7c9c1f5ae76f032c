"""``manage.py backup``: a consistent copy while others work."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from kits.exchange.copies.backups import back_up, back_up_into
from kits.exchange.copies.refusals import CopyRefused
from kits.exchange.ready_database import refuse_missing_tables


class Command(BaseCommand):
    """Writes a copy of the whole database that can be put in its place, and what it holds beside it."""

    help = "Writes a consistent copy of the database, certificates and photos included, while others work."
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "file", metavar="FILE", type=Path, help="a new file; in a folder that is there, one named by the moment"
        )
        parser.add_argument(
            "--keep", type=int, metavar="N", help="in a folder: remove all but the newest N copies made this way"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Copy, and prove the copy."""
        refuse_missing_tables()
        path, keep = options["file"], options["keep"]
        if keep is not None and not path.is_dir():
            raise CommandError(f"--keep counts the copies of a folder, and {path} is none: make it, or leave it out.")
        try:
            says = back_up_into(path, timezone.localtime(), keep) if path.is_dir() else back_up(path)
        except CopyRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(says)
