from __future__ import annotations

import contextlib
import sqlite3
import stat
from pathlib import Path
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
        connection_created.connect(keep_to_its_owner, dispatch_uid="keep_to_its_owner")


def allow_long_statements(sender: type, connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    """Let a statement have as many parameters as this SQLite takes, instead of the 999 of twenty years ago.

    Rows are stored with one statement for as many as fit; with 999 parameters that would be two dozen items.
    """
    if connection.vendor == "sqlite":
        limit = connection.connection.getlimit(sqlite3.SQLITE_LIMIT_VARIABLE_NUMBER)
        connection.features.max_query_params = limit


def keep_to_its_owner(sender: type, connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    """Let nobody but its owner read a database that is a file, nor the files that SQLite keeps beside it.

    A new one is still empty here; SQLite gives what it makes beside it the same rights.
    """
    if connection.vendor != "sqlite":
        return
    (_, _, name), *_ = connection.connection.execute("PRAGMA database_list")
    for path in (Path(name), Path(f"{name}-wal"), Path(f"{name}-shm")) if name else ():
        with contextlib.suppress(OSError):  # it is not there, or somebody else's
            mode = path.stat().st_mode
            if mode & (stat.S_IRWXG | stat.S_IRWXO):
                path.chmod(stat.S_IMODE(mode) & stat.S_IRWXU)
