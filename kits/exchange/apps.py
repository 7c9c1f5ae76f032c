from __future__ import annotations

import sqlite3
from typing import Any

from django.apps import AppConfig
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created


class ExchangeConfig(AppConfig):
    name = "kits.exchange"
    label = "exchange"
    verbose_name = "Sheets and commands"

    def ready(self) -> None:
        connection_created.connect(allow_long_statements, dispatch_uid="allow_long_statements")


def allow_long_statements(sender: type, connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    """Let a statement have as many parameters as this SQLite takes, instead of the 999 of twenty years ago.

    Rows are stored with one statement for as many as fit; with 999 parameters that would be two dozen items.
    """
    if connection.vendor == "sqlite":
        limit = connection.connection.getlimit(sqlite3.SQLITE_LIMIT_VARIABLE_NUMBER)
        connection.features.max_query_params = limit
