"""``manage.py migrate``: the command of the framework, which refuses a database of a newer version first."""

from __future__ import annotations

from typing import Any

from django.core.management.commands import migrate

from kits.exchange.ready_database import refuse_newer_tables


class Command(migrate.Command):
    """Changes the tables to those of this version, never back from those of a newer one."""

    def handle(self, *args: Any, **options: Any) -> None:
        """Refuse, or do as the framework does."""
        if options.get("database", "default") == "default":
            refuse_newer_tables()
        super().handle(*args, **options)
