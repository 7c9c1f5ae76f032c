"""Databases beside that of the suite: files of SQLite, or databases on the PostgreSQL server that the tests use."""

import shutil
import uuid
from contextlib import contextmanager

from django.db import connection, connections

from kits.settings import read_database


def sqlite_at(path):
    """The settings of a file of SQLite."""
    return read_database(f"sqlite:///{path}")


@contextmanager
def new_database(folder, template=None):
    """The settings of a database of the suite's kind, with nothing in it or with what another one holds."""
    if connections["default"].vendor == "sqlite":
        path = folder / f"{uuid.uuid4().hex}.sqlite3"
        if template:
            shutil.copy(template["NAME"], path)
        yield sqlite_at(path)
        return
    name, facts = f"other_{uuid.uuid4().hex[:12]}", connection.settings_dict
    with server(facts) as outside:
        outside.execute(
            f"CREATE DATABASE {name} ENCODING 'UTF8' TEMPLATE {template['NAME'] if template else 'template0'}"
        )
    try:
        place = f"{facts['HOST'] or '127.0.0.1'}:{facts['PORT'] or 5432}"
        yield read_database(f"postgres://{facts['USER']}:{facts['PASSWORD']}@{place}/{name}")
    finally:
        with server(facts) as outside:
            outside.execute(f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def server(facts):
    """A connection to the server that is in none of these databases."""
    names = {"host": "HOST", "port": "PORT", "user": "USER", "password": "PASSWORD"}
    asked = {name: facts[setting] for name, setting in names.items() if facts.get(setting)}
    with connection.Database.connect(**asked, dbname="postgres", autocommit=True) as found:
        yield found


def shape():
    """Of each table of the database at work its columns, keys, indexes and checks, and the guards of the ledger."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            return _read_statements(cursor)
        seen = connection.introspection
        tables = {
            table.name: (
                {
                    column.name: (seen.get_field_type(column.type_code, column), column.null_ok)
                    for column in seen.get_table_description(cursor, table.name)
                },
                sorted(str(sorted(fact.items())) for fact in seen.get_constraints(cursor, table.name).values()),
            )
            for table in seen.get_table_list(cursor)
        }
        cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
        return tables, {name for (name,) in cursor.fetchall()}


def _read_statements(cursor):
    """The same from the statements that would make the tables, in which the order of what they define is history."""
    cursor.execute("SELECT type, name, tbl_name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    tables, guards = {}, set()
    for kind, name, table, statement in cursor.fetchall():
        columns, others = tables.setdefault(table, ({}, []))
        if kind == "table":
            for definition in _split(statement[statement.index("(") + 1 : statement.rindex(")")]):
                column, _, says = definition.partition(" ")
                if column.startswith('"'):
                    columns[column.strip('"')] = says
                else:
                    others.append(definition)
        elif kind == "index":
            others.append(statement.replace(f'"{name}"', "", 1))
        else:
            guards.add(name)
    return {table: (columns, sorted(others)) for table, (columns, others) in tables.items()}, guards


def _split(definitions):
    """What stands between commas that no bracket holds together."""
    depth, parts = 0, [""]
    for sign in definitions:
        depth += (sign == "(") - (sign == ")")
        if sign == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += sign
    return [part.strip() for part in parts]


def are_the_same(step_by_step, at_once):
    """The tables to which the steps lead, and those that were made at once; both have the guards of the ledger."""
    assert {"stock_posting_written_once", "stock_movement_written_once"} == at_once[1]
    # The steps number the roles of the framework in eight bytes, its models in four: a shop has a dozen.
    columns, *_ = at_once[0]["auth_group_permissions"]
    columns["id"] = step_by_step[0]["auth_group_permissions"][0]["id"]
    for table, facts in at_once[0].items():
        assert facts == step_by_step[0][table], table
    assert step_by_step == at_once
