"""``manage.py export``: stands before the command of a library that goes round every check."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser


class Command(BaseCommand):
    """Says which command to use."""

    help = "Is not offered: use dump, which writes every sheet."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("anything", nargs="*")

    def handle(self, *args: Any, **options: Any) -> None:
        """Refuse."""
        raise CommandError("Lists are written by manage.py dump FILE, which they can be loaded from again: use that.")
