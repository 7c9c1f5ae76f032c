"""SQLite loses the guards of a table whenever a migration changes it: put them back, as after any such change."""

from django.db import migrations

TABLES = ("stock_posting", "stock_movement")
SAYS = "Postings and movements are never changed: post the reverse."


def guard_again(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        return
    for table in TABLES:
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_written_once")
        schema_editor.execute(
            f"CREATE TRIGGER {table}_written_once BEFORE UPDATE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{SAYS}'); END"
        )


class Migration(migrations.Migration):
    dependencies = [("stock", "0004_keep_holds_certificates_and_counts")]
    operations = [migrations.RunPython(guard_again, migrations.RunPython.noop)]
