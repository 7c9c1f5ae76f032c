"""Many rows of one table stored by one statement whose text does not depend on how many they are.

Django writes a placeholder for every value of every row, which for a long list takes longer than reading the file.
Here the text names each column once: SQLite runs it for row after row, PostgreSQL takes a list for each column.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from operator import attrgetter
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import AutoField, Field, Model

from kits.people.roles import SHOP_APPS

_TEXT: frozenset[type] = frozenset({str, type(None)})
_WHOLE: frozenset[type] = frozenset({int, type(None)})
_YES_NO: frozenset[type] = frozenset({bool, type(None)})
_BLANK: frozenset[type] = frozenset({type(None)})
_AS_IT_IS: dict[str, frozenset[type]] = {
    "CharField": _TEXT,
    "TextField": _TEXT,
    "BooleanField": _YES_NO,
    "IntegerField": _WHOLE,
    "BigIntegerField": _WHOLE,
    "PositiveIntegerField": _WHOLE,
}
"""Which values a kind of column takes as they stand; any other is made ready by its field, which takes ten calls."""


def insert_rows(model: type[Model], rows: Sequence[Model]) -> None:
    """Store new rows, with their keys if they have any; they do not learn the keys that the database gives them."""
    if rows:
        _store(model, rows, with_keys=rows[0].pk is not None, over_themselves=False)


def write_over(model: type[Model], rows: Sequence[Model]) -> None:
    """Store rows that are there already by inserting them over themselves, many times as fast as an update by cases."""
    if rows:
        _store(model, rows, with_keys=True, over_themselves=True)


def count_rows_anew() -> None:
    """Let PostgreSQL look at the shop's tables: one that it last saw empty it joins row by row with every other.

    It does so by itself within minutes, but not before this transaction reads what it has stored.
    """
    if connection.vendor == "postgresql":
        shop = (model._meta for model in apps.get_models() if model._meta.app_label in SHOP_APPS)
        tables = ", ".join(sorted(connection.ops.quote_name(table.db_table) for table in shop))
        with connection.cursor() as cursor:
            cursor.execute(f"ANALYZE {tables}")


def _store(model: type[Model], rows: Sequence[Model], *, with_keys: bool, over_themselves: bool) -> None:
    fields = _fields(model, with_keys=with_keys)
    statement = _statement(model, fields, over_themselves=over_themselves)
    values = _values(fields, rows, add=not over_themselves)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(statement, [list(column) for column in zip(*values, strict=True)])
        else:
            cursor.executemany(statement, values)  # type: ignore[arg-type]  # a generator does as well


@cache
def _fields(model: type[Model], *, with_keys: bool) -> tuple[Field[Any, Any], ...]:
    return tuple(
        field
        for field in model._meta.concrete_fields
        if not field.generated and (with_keys or not isinstance(field, AutoField))
    )


def _statement(model: type[Model], fields: tuple[Field[Any, Any], ...], *, over_themselves: bool) -> str:
    quote = connection.ops.quote_name
    columns = [quote(field.column or "") for field in fields]
    if connection.vendor == "postgresql":
        # Without its length a type cuts nothing off: what is too long is refused by the column.
        types = [str(field.rel_db_type(connection) or "").partition("(")[0] for field in fields]
        source = f"SELECT * FROM unnest({', '.join(f'%s::{kind}[]' for kind in types)})"
    else:
        source = f"VALUES ({', '.join(['%s'] * len(columns))})"
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({', '.join(columns)}) {source}"
    if over_themselves:
        key = quote(model._meta.pk.column or "")
        new = ", ".join(f"{column} = excluded.{column}" for column in columns if column != key)
        statement += f" ON CONFLICT ({key}) DO UPDATE SET {new}"
    return statement


def _values(fields: tuple[Field[Any, Any], ...], rows: Sequence[Model], *, add: bool) -> Iterator[list[Any]]:
    worked_out = [field for field in fields if type(field).pre_save is not Field.pre_save]
    of_row: Callable[[Model], tuple[Any, ...]] = attrgetter(*(field.attname for field in fields))
    columns = [(_as_it_is(field), field.get_db_prep_save) for field in fields]
    for row in rows:
        for field in worked_out:
            setattr(row, field.attname, field.pre_save(row, add))
        yield [
            value if value.__class__ in as_it_is else prepare(value, connection)
            for value, (as_it_is, prepare) in zip(of_row(row), columns, strict=True)
        ]


def _as_it_is(field: Field[Any, Any]) -> frozenset[type]:
    # A key that points to another table is of the kind of the key that it points to.
    kind = "BigIntegerField" if field.is_relation else field.get_internal_type()
    return _AS_IT_IS.get(kind, _BLANK)
