"""What the rows that an upload touches held before it and after it, so that it can be taken back exactly."""

from __future__ import annotations

import json
import zlib
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Model

from kits.catalog.models import Item, OtherNumber
from kits.exchange.layouts import SHEETS
from kits.exchange.models import KeptRows, Upload
from kits.exchange.resources import RESOURCES
from kits.schedule.models import Batch, Job

Values = tuple[Any, ...]
ROWS_AT_ONCE = 500
"""Rows named in one statement: databases limit how many values a statement may hold."""

_MORE_TABLES: dict[str, tuple[type[Model], ...]] = {"Items": (Item, OtherNumber), "Schedule": (Batch, Job)}


@dataclass(frozen=True, slots=True)
class KeptRow:
    """One row of a table by its key: its values before and after, None where it did not exist."""

    key: int
    before: Values | None
    after: Values | None


@dataclass(frozen=True, slots=True)
class KeptTable:
    """The rows of one table that an upload changed, with the columns that their values belong to."""

    sheet: str
    model: type[Model]
    columns: tuple[str, ...]
    rows: tuple[KeptRow, ...]


def tables_of(sheet: str) -> tuple[type[Model], ...]:
    """The tables that the rows of a sheet lie in, each after those that it names; none for what the ledger keeps."""
    if sheet not in RESOURCES:
        return ()
    return _MORE_TABLES.get(sheet) or (RESOURCES[sheet]._meta.model,)


def columns_of(model: type[Model]) -> tuple[str, ...]:
    """The stored columns of a table."""
    return tuple(field.attname for field in model._meta.concrete_fields)


class RowKeeper:
    """Reads the tables of a load's sheets before and after it: two statements for each, however many rows there are."""

    def __init__(self, sheets: Collection[str]) -> None:
        self.sheets = [sheet.name for sheet in SHEETS if sheet.name in sheets]
        self.before = {(name, model): _all_rows(model) for name in self.sheets for model in tables_of(name)}

    def keep(self, upload: Upload) -> None:
        """Store with the upload what differs now from what was read at first."""
        kept = []
        for name in self.sheets:
            tables = [self._changed(name, model) for model in tables_of(name)]
            if any(table.rows for table in tables):
                kept.append(KeptRows(upload=upload, sheet=name, content=_pack(tables)))
        KeptRows.objects.bulk_create(kept)

    def _changed(self, name: str, model: type[Model]) -> KeptTable:
        before, after = self.before[name, model], _all_rows(model)
        keys = [key for key in after if before.get(key) != after[key]] + [key for key in before if key not in after]
        rows = tuple(KeptRow(key, before.get(key), after.get(key)) for key in keys)
        return KeptTable(name, model, columns_of(model), rows)


def kept_tables(upload: Upload) -> list[KeptTable]:
    """What an upload changed, table by table in the order in which the sheets are stored."""
    found = {kept.sheet: _unpack(kept) for kept in upload.kept_rows.all()}
    return [table for sheet in SHEETS for table in found.get(sheet.name, ())]


def rows_now(table: KeptTable) -> dict[int, Values]:
    """What the rows of a kept table hold now."""
    keys = [row.key for row in table.rows]
    found: dict[int, Values] = {}
    for some in in_parts(keys):
        found |= _read(table.model._default_manager.filter(pk__in=some), table.columns)
    return found


def in_parts(keys: Sequence[int]) -> Iterable[Sequence[int]]:
    """The keys in parts that a statement can hold."""
    return (keys[start : start + ROWS_AT_ONCE] for start in range(0, len(keys), ROWS_AT_ONCE))


def make_row(table: KeptTable, values: Values) -> Model:
    """A row of the table with these values, as it was stored."""
    fields = {field.attname: field for field in table.model._meta.concrete_fields}
    given = {name: fields[name].to_python(value) for name, value in zip(table.columns, values, strict=True)}
    return table.model(**given)


def _all_rows(model: type[Model]) -> dict[int, Values]:
    return _read(model._default_manager.order_by(), columns_of(model))


def _read(rows: Any, columns: Sequence[str]) -> dict[int, Values]:
    return {row[0]: tuple(map(_plain, row[1:])) for row in rows.values_list("pk", *columns).iterator()}


def _plain(value: object) -> object:
    """A value as it can be written down and compared later."""
    if isinstance(value, Decimal):
        return str(value)
    return value.isoformat() if isinstance(value, date) else value


def _pack(tables: Iterable[KeptTable]) -> bytes:
    content = [
        [table.model._meta.model_name, table.columns, [[row.key, row.before, row.after] for row in table.rows]]
        for table in tables
    ]
    return zlib.compress(json.dumps(content, separators=(",", ":")).encode())


def _unpack(kept: KeptRows) -> list[KeptTable]:
    models = {model._meta.model_name: model for model in tables_of(kept.sheet)}
    return [
        KeptTable(kept.sheet, models[name], tuple(columns), tuple(_row(*row) for row in rows))
        for name, columns, rows in json.loads(zlib.decompress(bytes(kept.content)))
    ]


def _row(key: int, before: list[Any] | None, after: list[Any] | None) -> KeptRow:
    return KeptRow(key, None if before is None else tuple(before), None if after is None else tuple(after))
