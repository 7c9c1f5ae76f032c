"""The database itself refuses to change a posting or a movement, whichever program asks."""

from __future__ import annotations

from typing import Any

from django.db import connections

TABLES = ("stock_posting", "stock_movement")
SAYS = "Postings and movements are never changed: post the reverse."


def guard_tables(*, using: str, **_: Any) -> None:
    """Put the guards where they are missing, which they are where a table is new or SQLite had to make it anew."""
    connection = connections[using]
    postgresql = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        cursor.execute("SELECT tgname FROM pg_trigger" if postgresql else "SELECT name FROM sqlite_master")
        there = {name for (name,) in cursor.fetchall()}
        tables = set(connection.introspection.table_names(cursor))
        missing = [table for table in TABLES if table in tables and f"{table}_written_once" not in there]
        if missing and postgresql:
            cursor.execute(
                "CREATE OR REPLACE FUNCTION stock_written_once() RETURNS trigger LANGUAGE plpgsql AS "
                f"$$ BEGIN RAISE EXCEPTION '{SAYS}' USING ERRCODE = 'integrity_constraint_violation'; END $$"
            )
        for table in missing:
            # Deleting stays open in SQLite: emptying a whole database (as tests do) deletes row by row there.
            cursor.execute(
                f"CREATE TRIGGER {table}_written_once BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION stock_written_once()"
                if postgresql
                else f"CREATE TRIGGER {table}_written_once BEFORE UPDATE ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{SAYS}'); END"
            )
