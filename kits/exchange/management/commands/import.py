"""``manage.py import``: stands before the command of a library that goes round every check."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser


class Command(BaseCommand):
    """Says which command to use."""

    help = "Is not offered: use load, which checks every row."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("anything", nargs="*")

    def handle(self, *args: Any, **options: Any) -> None:
        """Refuse."""
        raise CommandError(
            "Lists are brought in by manage.py load FILE, which checks every row and stores all or nothing: use that."
        )
