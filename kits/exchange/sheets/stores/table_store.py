"""Sheets that are one table each: their rows are compared with what is stored, and stored in bulk.

The rows were read and checked before. Each is new, changed or the same, and a change is shown column by column.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any, ClassVar

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Model, ProtectedError, QuerySet

from kits.catalog.caching.progress import report
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.values import CellValue
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import CHANGED, MOST_KEPT, NEW, SAME, ColumnChange, RowChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.stores.bulk_rows import insert_rows, write_over
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.sheet_fields import SheetField, make_field
from kits.exchange.sheets.stores.sheet_store import Occasion

ROWS_AT_ONCE = 5000
"""How many rows are compared and written together: what they take in memory is let go before the next."""
KEYS_AT_ONCE = 500

RowKey = tuple[object, ...]
Stored = Mapping[RowKey, tuple[Any, ...]]
_AS_STORED = RowChange(0, "", SAME)
_ONE_MORE = RowChange(0, "", NEW)
"""Of rows that are the same, and of new ones beyond those that are shown, only the count is: one stands for all."""


class TableStore:
    """One sheet and its table. ``attributes`` names fields that are called otherwise than their column."""

    layout: ClassVar[Layout]
    model: ClassVar[type[Model]]
    attributes: ClassVar[Mapping[str, str]] = {}
    special: ClassVar[Mapping[str, type[SheetField]]] = {}

    def __init__(self, lookups: Lookups) -> None:
        self.lookups = lookups
        self.fields = {
            column.name: make_field(
                column,
                lookups,
                self.model,
                self.attributes.get(column.name, column.name),
                self.special.get(column.name),
            )
            for column in self.layout.columns
        }
        self.key_fields = [self.fields[column.name] for column in self.layout.key]

    def store(self, records: Sequence[SheetRecord], occasion: Occasion) -> tuple[RowChange, ...]:
        """Compare and store the rows, those with the same columns together."""
        changes = [_AS_STORED] * len(records)
        for places in self.groups(records):
            stored, shown = self._read_stored(), 0
            for start in range(0, len(places), ROWS_AT_ONCE):
                report(f"Comparing {self.layout.name} with what is stored", start, len(places))
                some = places[start : start + ROWS_AT_ONCE]
                found = self._store_some([records[place] for place in some], stored, MOST_KEPT - shown)
                shown += sum(change.outcome == NEW and change is not _ONE_MORE for change in found)
                for place, change in zip(some, found, strict=True):
                    changes[place] = change
            self.lookups.forget()
        return tuple(changes)

    def groups(self, records: Sequence[SheetRecord]) -> list[list[int]]:
        """Places of rows that can be stored together: they have the same columns."""
        groups: dict[tuple[str, ...], list[int]] = {}
        for place, record in enumerate(records):
            groups.setdefault(tuple(record.values), []).append(place)
        return list(groups.values())

    def _store_some(self, records: Sequence[SheetRecord], stored: Stored, most_shown: int) -> list[RowChange]:
        fields = [(name, field) for name, field in self.fields.items() if name in records[0].values]
        created, changed, found = [], [], []
        for record in records:
            values = record.values
            held = stored.get(self._key_of_values(values))
            if held is None:
                row = self.model()
                for name, field in fields:
                    field.lay(row, values[name])
                created.append(row)
                if len(created) <= most_shown:
                    found.append(RowChange(record.row, record.key_shown, NEW, _filled(row, fields)))
                else:
                    found.append(_ONE_MORE)
                continue
            row = _row_of(self.model, held)
            before = [field.held(row) for _, field in fields]
            for name, field in fields:
                field.lay(row, values[name])
            differ = tuple(
                ColumnChange(name, field.text(was), field.text(now))
                for (name, field), was in zip(fields, before, strict=True)
                if (now := field.held(row)) != was
            )
            if differ:
                changed.append(row)
                found.append(RowChange(record.row, record.key_shown, CHANGED, differ))
            else:
                found.append(_AS_STORED)
        for rows, write in ((created, insert_rows), (changed, write_over)):
            write(self.model, rows)
            self.after_store(rows)
        return found

    def after_store(self, stored: list[Any]) -> None:
        """Write what belongs to the rows but lies in another table, if anything; new rows do not know their keys."""

    def _read_stored(self) -> Stored:
        """The table by the natural keys of its rows.

        It is read once, as plain values, equal texts being one: an object for each row would take five times the
        memory, and a text for each cell twice.
        """
        stored: dict[RowKey, tuple[Any, ...]] = {}
        known: dict[str, str] = {}
        for held in self.get_queryset().values_list(*_names_of(self.model)).iterator(chunk_size=ROWS_AT_ONCE):
            values = tuple(known.setdefault(value, value) if value.__class__ is str else value for value in held)
            stored[self._key_of(_row_of(self.model, values))] = values
        return stored

    def _key_of_values(self, values: Mapping[str, object]) -> RowKey:
        return tuple(field.as_key(field.stored(values.get(field.column.name))) for field in self.key_fields)

    def _key_of(self, row: Model) -> RowKey:
        return tuple(field.as_key(field.held(row)) for field in self.key_fields)

    def get_queryset(self) -> QuerySet[Any]:
        """All rows of the table, in the order in which they came."""
        return self.model._default_manager.order_by("pk")

    def remove_others(self, records: Sequence[SheetRecord], occasion: Occasion, findings: Findings) -> tuple[str, ...]:
        """Remove the rows that no record names; those that are still used are refused."""
        named = {self._key_of_values(record.values) for record in records}
        others = [row for row in self.get_queryset() if self._key_of(row) not in named]
        shown = tuple(self._shown(row) for row in others)
        keys = [row.pk for row in others]
        try:
            for start in range(0, len(keys), KEYS_AT_ONCE):
                self.get_queryset().filter(pk__in=keys[start : start + KEYS_AT_ONCE]).delete()
        except ProtectedError as error:
            users = sorted({f"{_user_words(row)} {row}" for row in error.protected_objects})
            findings.refuse(
                self.layout.name,
                None,
                "",
                "",
                f"of the rows that it does not name and that would be removed ({len(shown)}), some are still used, by "
                f"{'; '.join(users[:5])}" + (" and others" if len(users) > 5 else ""),
                "write those rows into the sheet as well, or first take away what uses them",
            )
        self.lookups.forget()
        return shown

    def _shown(self, row: Model) -> str:
        texts = [field.text(field.held(row)) for field in self.key_fields]
        return " / ".join(text for text in texts if text)

    def exported(self) -> QuerySet[Any]:
        """The rows that the sheet is written with."""
        return self.get_queryset()

    def export_rows(self) -> Iterator[list[CellValue]]:
        """The rows of the sheet."""
        fields = list(self.fields.values())
        for row in self.exported().iterator(chunk_size=ROWS_AT_ONCE):
            yield [field.cell(row) for field in fields]


def _filled(row: Model, fields: Sequence[tuple[str, SheetField]]) -> tuple[ColumnChange, ...]:
    """What a new row brings."""
    texts = ((name, field.text(field.held(row))) for name, field in fields)
    return tuple(ColumnChange(name, "", text) for name, text in texts if text)


def _user_words(row: Any) -> str:
    """What uses a row, in the words of the shop: a balance is what lies there."""
    words = str(type(row)._meta.verbose_name)
    return {"balance": "stock of"}.get(words, words)


@cache
def _names_of(model: type[Model]) -> tuple[str, ...]:
    return tuple(field.attname for field in model._meta.concrete_fields)


def _row_of(model: type[Model], values: tuple[Any, ...]) -> Model:
    return model.from_db(DEFAULT_DB_ALIAS, _names_of(model), values)
