"""A preview stores everything to see what comes of it, and then nothing of it may stay: it is done on a copy.

On the records themselves it would keep their lock for as long as it takes, which for a long list is minutes, and
nobody could take a ring out of a drawer meanwhile. SQLite's file is copied as a whole, which no writer waits for;
PostgreSQL gets tables of the same names that only this connection sees, and that go with its transaction.
"""

from __future__ import annotations

import logging
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.models import AutoField, Model

from kits.catalog.models import Revision
from kits.exchange.columns.work_layouts import ISSUED
from kits.exchange.sheets.registry import SHEETS
from kits.picking.models import Bag
from kits.purchasing.models import OrderLine, PromiseChange
from kits.stock.models import Balance, KitPiece, Lot, Movement, Posting, Reservation

_LEDGER: tuple[type[Model], ...] = (Lot, Balance, Posting, Movement, Reservation, KitPiece)
"""Where the rows of a sheet are kept that has no table of its own."""

_FOLDER = "rebuild-bench-preview-"
_LEFT_SECONDS = 2 * 60 * 60
"""A preview takes minutes: a copy older than this was left by a process that was killed."""

_log = logging.getLogger(__name__)


@contextmanager
def work_on_a_copy() -> Iterator[None]:
    """Let this thread read and write a copy of the records while it is inside; each transaction calls `copy_tables`.

    Inside somebody's transaction, and where there is no room for a copy, it is the records themselves as before.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    _sweep_up()
    with tempfile.TemporaryDirectory(prefix=_FOLDER, ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "records.sqlite3"
        if not _copy_file(path):
            yield
            return
        records = connections[DEFAULT_DB_ALIAS]
        connections[DEFAULT_DB_ALIAS] = copy = type(records)(_settings_of_copy(records.settings_dict, path))
        try:
            yield
        finally:
            copy.close()
            connections[DEFAULT_DB_ALIAS] = records


def copy_tables(touched: Collection[str]) -> None:
    """Put copies of the tables of these sheets before the tables themselves until this transaction ends.

    It comes first in its transaction, so that all tables are copied as of one moment. There is nothing to do for
    SQLite. A table that is written and not copied is rolled back all the same, but locked meanwhile.
    """
    if connection.vendor != "postgresql":
        return
    statements: list[str] = []
    if len(connection.atomic_blocks) == 1:
        statements.append("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
    statements += [statement for model in tables_written(touched) for statement in _copied(model)]
    with connection.cursor() as cursor:
        cursor.execute("; ".join(statements))


def tables_written(touched: Collection[str]) -> set[type[Model]]:
    """What loading these sheets writes: their own tables, what follows from their rows, and the marks of a change."""
    written: set[type[Model]] = {Revision}
    written.update(table for sheet in SHEETS if sheet.name in touched for table in sheet.tables or _LEDGER)
    if OrderLine in written:
        written.add(PromiseChange)
    if ISSUED.name in touched:
        written.add(Bag)
    return written


def _sweep_up() -> None:
    """Remove the copies of the records that a killed process left lying."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_FOLDER}*"):
        try:
            if folder.stat().st_mtime < time.time() - _LEFT_SECONDS:
                shutil.rmtree(folder)
        except OSError:
            continue  # another preview swept it up, or it is another person's


def _copied(model: type[Model]) -> list[str]:
    """Named anew when it is full, for from then on the name means the copy."""
    quote = connection.ops.quote_name
    table, copy, key = quote(model._meta.db_table), quote(f"copy_of_{model._meta.db_table}"), model._meta.pk
    statements = [
        f"CREATE TEMPORARY TABLE {copy} (LIKE {table} INCLUDING ALL) ON COMMIT DROP",
        f"INSERT INTO {copy} SELECT * FROM {table}",
        f"ALTER TABLE {copy} RENAME TO {table}",
    ]
    if isinstance(key, AutoField):
        column = quote(key.column or "")
        statements.append(
            f"SELECT setval(pg_get_serial_sequence('{table}', '{key.column}'), max({column})) FROM {table}"
        )
    return statements


def _copy_file(path: Path) -> bool:
    connection.ensure_connection()
    try:
        copy = sqlite3.connect(path)
        try:
            connection.connection.backup(copy)
        finally:
            copy.close()
    except (sqlite3.Error, OSError):
        _log.warning("No room for a copy of the records: others wait until the preview is done.", exc_info=True)
        return False
    return True


def _settings_of_copy(settings: dict[str, Any], path: Path) -> dict[str, Any]:
    # Nobody else reads the copy, and it is thrown away: it need not survive a power cut.
    once = "PRAGMA journal_mode=DELETE; PRAGMA synchronous=OFF; PRAGMA temp_store=MEMORY; PRAGMA cache_size=-20000;"
    return {**settings, "NAME": str(path), "OPTIONS": {**settings["OPTIONS"], "init_command": once}}
