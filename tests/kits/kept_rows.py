"""A shop that was loaded once comes back row by row: to check its sheets for each test would be most of the time."""

from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import AutoField

from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Revision

_kept = {}


def load_once(name, load):
    """Load a shop; from the second time on, put the rows into an empty database that loading had made."""
    if name in _kept:
        try:
            with transaction.atomic():
                _put_back(_kept[name])
            _number_on_from(_kept[name])
            return
        except IntegrityError:
            pass  # something stands there already, and only loading settles what becomes of it
    before = _read_tables()
    load()
    after = _read_tables()
    if all(rows == after[table] for table, rows in before.items() if rows[1]):
        _kept[name] = {table: rows for table, rows in after.items() if rows != before[table]}


def stored(outcome):
    assert outcome.stored, [problem.says for problem in outcome.problems]


def _read_tables():
    """Of each of our tables but the marks, its columns and its rows."""
    tables = {}
    with connection.cursor() as cursor:
        for model in apps.get_models(include_auto_created=True):
            if model.__module__.startswith("kits.") and model is not Revision:
                cursor.execute(f"SELECT * FROM {connection.ops.quote_name(model._meta.db_table)}")
                tables[model._meta.db_table] = [column[0] for column in cursor.description], cursor.fetchall()
    return tables


def _put_back(tables):
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        for table, (columns, rows) in tables.items():
            row = f"({', '.join(['%s'] * len(columns))})"
            statement = f"INSERT INTO {quote(table)} ({', '.join(map(quote, columns))}) VALUES "
            most = 900 // len(columns)
            for start in range(0, len(rows), most):
                part = rows[start : start + most]
                cursor.execute(statement + ", ".join([row] * len(part)), [value for one in part for value in one])
    mark_catalog()
    mark_shop()


def _number_on_from(tables):
    """Let PostgreSQL count on from the rows that were put back with their numbers; in a new database it begins at 1.

    It never counts back: another shop's kept rows may have the numbers that it came to since.
    """
    if connection.vendor != "postgresql":
        return
    counts = []
    for model in apps.get_models(include_auto_created=True):
        table, key = model._meta.db_table, model._meta.pk
        if table in tables and isinstance(key, AutoField):
            numbers = f"pg_get_serial_sequence('{table}', '{key.column}')::regclass"
            most = f"(SELECT max({key.column}) FROM {table})"
            counts.append(f"setval({numbers}, greatest({most}, pg_sequence_last_value({numbers})))")
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {', '.join(counts)}")
