"""Put the guards of postings back on SQLite, which lost them when the kinds of a posting were extended."""

from django.db import migrations

SAYS = "Postings and movements are never changed: post the reverse."


def guard_again(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        return
    for table in ("stock_posting", "stock_movement"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_written_once")
        schema_editor.execute(
            f"CREATE TRIGGER {table}_written_once BEFORE UPDATE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{SAYS}'); END"
        )


class Migration(migrations.Migration):
    dependencies = [("stock", "0014_send_pieces_out")]
    operations = [migrations.RunPython(guard_again, migrations.RunPython.noop)]
