"""What the rows that an upload touches held before it and after it, so that it can be taken back exactly."""

from __future__ import annotations

import json
import zlib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from django.db.models import Model

from kits.exchange.models import KeptRows, Upload
from kits.exchange.sheets.registry import SHEETS

Row = TypeVar("Row")
Values = tuple[Any, ...]
ROWS_AT_ONCE = 5000
"""Rows named in one statement: databases limit how many values a statement may hold."""
MOST_KNOWN = 10_000

_TABLES: Mapping[str, tuple[type[Model], ...]] = {sheet.name: sheet.tables for sheet in SHEETS}


@dataclass(frozen=True, slots=True)
class RowVersions:
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
    rows: tuple[RowVersions, ...]


def tables_of(sheet: str) -> tuple[type[Model], ...]:
    """The tables that the rows of a sheet lie in, each after those that it names; none for what the ledger keeps."""
    return _TABLES.get(sheet, ())


def columns_of(model: type[Model]) -> tuple[str, ...]:
    """The stored columns of a table."""
    return tuple(field.attname for field in model._meta.concrete_fields)


class RowKeeper:
    """Reads the tables of a load's sheets before and after it: two statements for each, however many rows there are."""

    def __init__(self, sheets: Collection[str]) -> None:
        self.sheets = [sheet.name for sheet in SHEETS if sheet.name in sheets]
        self.before = {(name, model): dict(_all_rows(model)) for name in self.sheets for model in tables_of(name)}

    def keep(self, upload: Upload) -> None:
        """Store with the upload what differs now from what was read at first."""
        kept = []
        for name in self.sheets:
            packed = _Packed()
            for model in tables_of(name):
                packed.add(model, self._changed(name, model))
            if packed.rows:
                kept.append(KeptRows(upload=upload, sheet=name, content=packed.content()))
        KeptRows.objects.bulk_create(kept)

    def _changed(self, name: str, model: type[Model]) -> Iterator[RowVersions]:
        """One by one, for what a long list brought would lie in the memory a second time; what was read is let go."""
        before = self.before.pop((name, model))
        for key, after in _all_rows(model):
            was = before.pop(key, None)
            if was != after:
                yield RowVersions(key, was, after)
        for key, was in before.items():
            yield RowVersions(key, was, None)


def kept_tables(upload: Upload) -> list[KeptTable]:
    """What an upload changed, table by table in the order in which the sheets are stored."""
    found = {kept.sheet: _unpack(kept) for kept in upload.kept_rows.all()}
    return [table for sheet in SHEETS for table in found.get(sheet.name, ())]


def rows_now(table: KeptTable, keys: Sequence[int]) -> dict[int, Values]:
    """What some rows of a kept table hold now."""
    return dict(_read(table.model._default_manager.filter(pk__in=keys), table.columns))


def in_parts(rows: Sequence[Row]) -> Iterable[Sequence[Row]]:
    """Rows or their keys, in parts that a statement can name."""
    return (rows[start : start + ROWS_AT_ONCE] for start in range(0, len(rows), ROWS_AT_ONCE))


def make_row(table: KeptTable, values: Values) -> Model:
    """A row of the table with these values, as it was stored."""
    fields = {field.attname: field for field in table.model._meta.concrete_fields}
    given = {name: fields[name].to_python(value) for name, value in zip(table.columns, values, strict=True)}
    return table.model(**given)


def _all_rows(model: type[Model]) -> Iterator[tuple[int, Values]]:
    return _read(model._default_manager.order_by(), columns_of(model))


def _read(rows: Any, columns: Sequence[str]) -> Iterator[tuple[int, Values]]:
    known: dict[object, object] = {}
    for row in rows.values_list("pk", *columns).iterator():
        yield row[0], tuple(_once(_plain(value), known) for value in row[1:])


def _once(value: object, known: dict[object, object]) -> object:
    """Equal texts as one, as long as they are few: most columns repeat some words."""
    if value.__class__ is not str:
        return value
    return known.setdefault(value, value) if len(known) < MOST_KNOWN else known.get(value, value)


def _plain(value: object) -> object:
    """A value as it can be written down and compared later."""
    if isinstance(value, Decimal):
        return str(value)
    return value.isoformat() if isinstance(value, date) else value


class _Packed:
    """The changed rows of the tables of one sheet as packed JSON, written row by row."""

    def __init__(self) -> None:
        self.rows = 0
        self._packer = zlib.compressobj()
        self._pieces: list[bytes] = []
        self._before = "["

    def add(self, model: type[Model], rows: Iterable[RowVersions]) -> None:
        """Add a table."""
        self._write(f"{self._before}[{json.dumps(model._meta.model_name)},{json.dumps(columns_of(model))},[")
        for count, row in enumerate(rows):
            text = json.dumps((row.key, row.before, row.after), separators=(",", ":"))
            self._write(f",{text}" if count else text)
            self.rows += 1
        self._write("]]")
        self._before = ","

    def content(self) -> bytes:
        """Everything that was added."""
        self._write("]")
        return b"".join((*self._pieces, self._packer.flush()))

    def _write(self, text: str) -> None:
        if piece := self._packer.compress(text.encode()):
            self._pieces.append(piece)


def _unpack(kept: KeptRows) -> list[KeptTable]:
    models = {model._meta.model_name: model for model in tables_of(kept.sheet)}
    known: dict[object, object] = {}

    def values(given: list[Any] | None) -> Values | None:
        return None if given is None else tuple(_once(value, known) for value in given)

    return [
        KeptTable(
            kept.sheet,
            models[name],
            tuple(columns),
            tuple(RowVersions(key, values(before), values(after)) for key, before, after in rows),
        )
        for name, columns, rows in json.loads(zlib.decompress(bytes(kept.content)))
    ]
