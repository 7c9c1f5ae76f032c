"""How a database is emptied after a test that committed: only what holds rows, and the roles stay as they were made.

The framework's own way truncates every table and makes all permissions anew, which takes longer than most tests.
"""

from functools import cache

from django.contrib.contenttypes.models import ContentType
from django.db import connection, transaction
from django.test import TransactionTestCase

from kits.stock.migrations._written_once import TABLES as GUARDED

ROLES = ("django_content_type", "auth_permission", "auth_group", "auth_group_permissions")
"""What comes with the tables, each after those that it names."""

_as_made = {}


def remember_roles():
    """Note what the tables came with, and let tests that commit end with `empty_tables` from now on."""
    with connection.cursor() as cursor:
        _as_made.update({table: _rows(cursor, table) for table in ROLES})
    TransactionTestCase._fixture_teardown = lambda case: empty_tables()


@cache
def _asking_all():
    """Which tables hold rows, but for those that came with some."""
    quote, seen = connection.ops.quote_name, connection.introspection
    tables = set(seen.django_table_names(only_existing=True, include_views=False)) - {"django_migrations", *ROLES}
    return " UNION ALL ".join(f"SELECT '{table}' WHERE EXISTS (SELECT 1 FROM {quote(table)})" for table in tables)


def filled_tables(cursor):
    """The tables in which there is a row, but for what the tables came with."""
    if connection.vendor == "postgresql":  # which thinks for longer than it looks, unless it may keep its plan
        cursor.execute("SELECT 1 FROM pg_prepared_statements WHERE name = 'filled_tables'")
        if cursor.fetchone() is None:
            cursor.execute(f"PREPARE filled_tables AS {_asking_all()}")
        cursor.execute("EXECUTE filled_tables")
    else:
        cursor.execute(_asking_all())
    return {table for (table,) in cursor.fetchall()}


def empty_tables():
    """Delete every row but what the tables came with, and put that back where it was changed."""
    quote = connection.ops.quote_name
    with transaction.atomic(), connection.cursor() as cursor:
        filled = filled_tables(cursor)
        guarded = [quote(table) for table in GUARDED if connection.vendor == "postgresql" and table in filled]
        for name in guarded:
            cursor.execute(f"ALTER TABLE {name} DISABLE TRIGGER USER")
        for table in filled:
            cursor.execute(f"DELETE FROM {quote(table)}")
        for name in guarded:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f"ALTER TABLE {name} ENABLE TRIGGER USER")
        if any(_rows(cursor, table) != made for table, made in _as_made.items()):
            for table in reversed(ROLES):
                cursor.execute(f"DELETE FROM {quote(table)}")
            for table, (columns, rows) in _as_made.items():
                named, places = ", ".join(map(quote, columns)), ", ".join(["%s"] * len(columns))
                cursor.executemany(f"INSERT INTO {quote(table)} ({named}) VALUES ({places})", rows)
            ContentType.objects.clear_cache()


def _rows(cursor, table):
    cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)} ORDER BY id")
    return [column[0] for column in cursor.description], cursor.fetchall()
