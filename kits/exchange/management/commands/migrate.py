"""``manage.py migrate``: the command of the framework, which refuses a database of a newer version first."""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.core.management.commands import migrate
from django.db import connection, transaction

from kits.exchange.ready_database import refuse_newer_tables


class Command(migrate.Command):
    """Changes the tables to those of this version, never back from those of a newer one.

    An empty database gets them at once as the models say, and every step is noted as taken: to walk all the steps of
    years takes forty times as long, and comes to the same tables (``test_tables_at_once.py``).
    """

    def handle(self, *args: Any, **options: Any) -> None:
        """Refuse, or make all tables, and do as the framework does."""
        if options.get("database", "default") == "default":
            refuse_newer_tables()
            if not any(options.get(said) for said in ("app_label", "plan", "check_unapplied", "fake")):
                self._make_all_tables({**options, "fake": True, "verbosity": 0})
        super().handle(*args, **options)

    def _make_all_tables(self, noting: dict[str, Any]) -> None:
        if connection.introspection.table_names():
            return
        connection.disable_constraint_checking()  # SQLite cannot once it is inside the transaction
        try:
            with transaction.atomic():
                with connection.schema_editor() as editor:
                    for model in apps.get_models():
                        if model._meta.managed and not model._meta.proxy:
                            editor.create_model(model)
                super().handle(**noting)
        finally:
            connection.enable_constraint_checking()
