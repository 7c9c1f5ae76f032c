"""Commands refuse a database that is not there yet, instead of failing inside it; the server makes none."""

from __future__ import annotations

from pathlib import Path

from django.core.management.base import CommandError
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor


def keep_to_the_file_that_is_there() -> None:
    """Let no connection from now on make a new, empty database where the file is gone: it may come back."""
    if connection.vendor == "sqlite":
        path = Path(str(connection.settings_dict["NAME"])).absolute()
        connection.settings_dict["NAME"] = f"{path.as_uri()}?mode=rw"


def refuse_missing_tables() -> None:
    """Refuse a database that cannot be reached, or whose tables are not those of this version."""
    try:
        executor = MigrationExecutor(connection)
        missing = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    except DatabaseError as error:
        raise CommandError(f"the database cannot be used ({str(error).strip()}): check DATABASE_URL.") from error
    if missing:
        raise CommandError(f"the database lacks {missing} steps of this version: run manage.py migrate first.")
