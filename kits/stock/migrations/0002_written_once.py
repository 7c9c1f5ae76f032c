"""The database itself refuses to change a posting or a movement, whichever program asks."""

from django.db import migrations

TABLES = ("stock_posting", "stock_movement")
SAYS = "Postings and movements are never changed: post the reverse."


def guard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            "CREATE FUNCTION stock_written_once() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{SAYS}' USING ERRCODE = 'integrity_constraint_violation'; END $$"
        )
    for table in TABLES:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(
                f"CREATE TRIGGER {table}_written_once BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION stock_written_once()"
            )
        else:
            # Deleting stays open here: emptying a whole database (as tests do) deletes row by row in SQLite.
            schema_editor.execute(
                f"CREATE TRIGGER {table}_written_once BEFORE UPDATE ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{SAYS}'); END"
            )


def unguard(apps, schema_editor):
    for table in TABLES:
        on_table = f" ON {table}" if schema_editor.connection.vendor == "postgresql" else ""
        schema_editor.execute(f"DROP TRIGGER {table}_written_once{on_table}")
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("DROP FUNCTION stock_written_once()")


class Migration(migrations.Migration):
    dependencies = [("stock", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
