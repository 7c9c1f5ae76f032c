"""``manage.py take_reply``: take a filled-in shortage workbook back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from kits.catalog.errors import Refusal
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.sheet_files import open_file
from kits.exchange.ready_database import refuse_missing_tables
from kits.exchange.replies.taking_back import take_reply_back
from kits.planning.queries import today


class Command(BaseCommand):
    """Keeps each filled-in row open; people accept them one by one under Purchasing."""

    help = "Takes filled-in shortage workbooks back; their lines wait under Purchasing to be accepted one by one."
    requires_system_checks = ()  # which would load every page

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("files", nargs="+", metavar="FILE", type=Path, help="a filled-in shortage workbook")

    def handle(self, *args: Any, **options: Any) -> None:
        """Take each file back and say what to mind."""
        refuse_missing_tables()
        findings = Findings()
        files = [file for path in options["files"] if (file := open_file(path, findings)) is not None]
        if findings.problems:
            raise CommandError(" ".join(problem.says for problem in findings.problems))
        for file in files:
            try:
                reply = take_reply_back(file=file, by=None, at=timezone.now(), today=today())
            except Refusal as error:
                raise CommandError(str(error)) from error
            lines = list(reply.lines.all())
            wait = "1 line waits" if len(lines) == 1 else f"{len(lines)} lines wait"
            self.stdout.write(f"{file.name} is reply {reply.pk}: {wait} under Purchasing, Suppliers' replies.")
            for says in reply.remarks:
                self.stdout.write(f"  {says}")
            for line in lines:
                asked = [says for question in line.questions for says in question["says"]]
                for says in (*asked, *line.remarks, *line.notes):
                    self.stdout.write(f"  {line.sheet} row {line.row}, {line.key}: {says}")
