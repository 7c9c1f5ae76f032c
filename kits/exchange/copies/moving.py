"""Everything carried from one database to another, of the other kind or the same, and proved before it is kept.

Rows go table by table in streams, inside one transaction of the new database; what was written to it is read back and
compared before that is closed. Sign-ins of browsers (sessions) stay behind.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from itertools import islice
from typing import Any

from django.apps import apps
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import DEFAULT_DB_ALIAS, DatabaseError, connections
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import AutoField, Field, Model

from kits.exchange.copies.in_service import database_file, site_closed
from kits.exchange.copies.proofs import DatabaseContents, differences, read_contents, work_in
from kits.exchange.copies.refusals import CopyRefused
from kits.exchange.copies.restoring import rows_of_a_shop

ROWS_AT_ONCE = 2000
Row = tuple[Any, ...]


def move_to(settings: dict[str, Any], tell: Callable[[str], object]) -> str:
    """Carry everything to a database that holds no shop yet, and say what was compared."""
    source: Any = connections[DEFAULT_DB_ALIAS]
    _refuse_itself(source.settings_dict, settings)
    with site_closed(), work_in(settings) as target:
        try:
            if target.vendor == "sqlite":
                os.close(os.open(database_file(), os.O_WRONLY | os.O_CREAT, 0o600))
            target.ensure_connection()
        except (DatabaseError, OSError) as error:
            raise CopyRefused(f"the new database cannot be used ({str(error).strip()}): check the address.") from error
        with site_closed():
            if held := rows_of_a_shop():
                rows = f"{held:,} row{'' if held == 1 else 's'}"
                raise CopyRefused(f"the new database holds {rows} already: name one with nothing in it.")
            call_command("migrate", verbosity=0)
            target.set_autocommit(False)
            try:
                says = _carry_all(source, target, tell)
                target.commit()
            except (DatabaseError, ValueError) as error:
                raise CopyRefused(f"{str(error).strip()} Nothing was moved.") from error
            finally:
                target.close()
    return says


def _refuse_itself(one: dict[str, Any], other: dict[str, Any]) -> None:
    if all(str(one.get(name) or "") == str(other.get(name) or "") for name in ("NAME", "HOST", "PORT")):
        raise CopyRefused("that is the database in use: name the one to move to.")


def _carry_all(source: Any, target: Any, tell: Callable[[str], object]) -> str:
    models = [model for model in apps.get_models(include_auto_created=True) if model is not Session]
    with target.cursor() as cursor:
        for model in models:
            cursor.execute(f"DELETE FROM {target.ops.quote_name(model._meta.db_table)}")
    moved = 0
    for model in models:
        digest, count = sha256(), 0
        for rows in _streamed(model, source):
            _store(model, rows, target)
            _add(digest, rows)
            count += len(rows)
        read_back = sha256()
        for rows in _streamed(model, target):
            _add(read_back, rows)
        if digest.digest() != read_back.digest():
            raise CopyRefused(f"{model._meta.db_table} is not the same when it is read back. Nothing was moved.")
        _set_next_number(model, source, target)
        moved += count
        if count:
            tell(f"{count:>10,}  {model._meta.db_table}")
    target.check_constraints()
    with work_in(source):
        before = _compared(read_contents())
    after = _compared(read_contents(date.fromisoformat(before.as_of)))
    if said := differences(before, after):
        raise CopyRefused(f"{' '.join(said)} Nothing was moved.")
    return f"Moved {moved:,} rows: tables, balances and the plan of {before.as_of} are the same in both."


def _compared(contents: DatabaseContents) -> DatabaseContents:
    beside = {Session._meta.db_table, MigrationRecorder.Migration._meta.db_table}
    return replace(contents, rows={table: count for table, count in contents.rows.items() if table not in beside})


def _streamed(model: type[Model], database: Any) -> Iterator[list[Row]]:
    """The rows of a table in the order of their keys, some at a time, as Python has them."""
    names = [field.attname for field in model._meta.concrete_fields]
    with work_in(database):
        rows = model._base_manager.order_by("pk").values_list(*names).iterator(chunk_size=ROWS_AT_ONCE)
        some = list(islice(rows, ROWS_AT_ONCE))
    while some:
        yield some
        with work_in(database):
            some = list(islice(rows, ROWS_AT_ONCE))


def _store(model: type[Model], rows: list[Row], target: Any) -> None:
    fields: list[Field[Any, Any]] = list(model._meta.concrete_fields)
    quote = target.ops.quote_name
    columns, places = ", ".join(quote(field.column) for field in fields), ", ".join(["%s"] * len(fields))
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({places})"
    ready = (
        [field.get_db_prep_save(value, connection=target) for field, value in zip(fields, row, strict=True)]
        for row in rows
    )
    try:
        with target.cursor() as cursor:
            cursor.executemany(statement, list(ready))
    except (DatabaseError, ValueError) as error:
        says = f"{model._meta.db_table} cannot be stored ({str(error).strip()}). Nothing was moved."
        raise CopyRefused(says) from error


def _add(digest: Any, rows: list[Row]) -> None:
    for row in rows:
        digest.update(repr([_plain(value) for value in row]).encode())


def _plain(value: Any) -> Any:
    """A value as it is compared: the same whichever database it was read from."""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, (memoryview, bytearray)):
        return bytes(value)
    if isinstance(value, (dict, list)):
        return json.dumps(value, sort_keys=True, default=str)
    return value


def _set_next_number(model: type[Model], source: Any, target: Any) -> None:
    """Let the new database go on counting where the old one is, so that no key is ever given twice."""
    key = model._meta.pk
    if not isinstance(key, AutoField):
        return
    table, column = model._meta.db_table, str(key.column)
    last = _last_number(table, column, source)
    with target.cursor() as cursor:
        if target.vendor == "postgresql":
            cursor.execute(
                "SELECT setval(pg_get_serial_sequence(%s, %s), %s, %s)",
                [target.ops.quote_name(table), column, max(last, 1), last > 0],
            )
            return
        cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
        cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, last])


def _last_number(table: str, column: str, source: Any) -> int:
    with source.cursor() as cursor:
        if source.vendor == "postgresql":
            cursor.execute("SELECT pg_get_serial_sequence(%s, %s)", [source.ops.quote_name(table), column])
            (sequence,) = cursor.fetchone()
            cursor.execute(f"SELECT CASE WHEN is_called THEN last_value ELSE 0 END FROM {sequence}")
        else:
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        row = cursor.fetchone()
        cursor.execute(f"SELECT max({source.ops.quote_name(column)}) FROM {source.ops.quote_name(table)}")
        (highest,) = cursor.fetchone()
    return max(int(row[0]) if row else 0, int(highest or 0))
