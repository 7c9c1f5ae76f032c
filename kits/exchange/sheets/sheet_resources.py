"""Sheets that are one table each: django-import-export carries the rows, we read, compare and store in bulk.

The rows that come in were read and checked before; here they meet what is stored. A row result says whether the row is
new, changed or the same, with what each changed column held before.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, ClassVar

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Model, QuerySet
from import_export.instance_loaders import BaseInstanceLoader
from import_export.resources import ModelResource
from import_export.results import RowResult

from kits.exchange.sheets.bulk_rows import insert_rows, write_over
from kits.exchange.sheets.layouts import Column, Sheet
from kits.exchange.sheets.lookups import Lookups
from kits.exchange.sheets.sheet_fields import SheetField, make_field

ROWS_AT_ONCE = 5000
"""How many rows are compared and written together: what they take in memory is let go before the next."""

RowKey = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class ColumnChange:
    """What one column of a row holds before and after, as texts."""

    column: str
    before: str
    after: str


MOST_KEPT = 2000
"""Of how many rows of a sheet a preview keeps what they bring."""


class SheetRowResult(RowResult):  # type: ignore[misc]
    """What came of one row."""

    def __init__(self) -> None:
        super().__init__()
        self.changes: tuple[ColumnChange, ...] = ()

    def add_instance_info(self, instance: Model) -> None:
        """Leave the row's description out: it would read a related row for each."""


class KeyedLoader(BaseInstanceLoader):  # type: ignore[misc]
    """Finds rows by their natural key, of any number of columns, in the table as it was read once for the resource."""

    def get_instance(self, row: dict[str, object]) -> Model | None:
        found: Model | None = self.resource.stored_row(row)
        return found


class SheetResource(ModelResource):  # type: ignore[misc]
    """One sheet and its table. ``attributes`` names fields that are called otherwise than their column."""

    sheet: ClassVar[Sheet]
    attributes: ClassVar[dict[str, str]] = {}
    special: ClassVar[dict[str, type[SheetField]]] = {}

    class Meta:
        use_bulk = True
        batch_size = None
        skip_diff = True
        report_skipped = True
        use_transactions = False
        instance_loader_class = KeyedLoader
        fields: ClassVar[tuple[str, ...]] = ()

    def __init__(self, lookups: Lookups | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.lookups = lookups or Lookups()
        self.fields: dict[str, SheetField] = {column.name: self._field_of(column) for column in self.sheet.columns}
        self.key_fields = [self.fields[column.name] for column in self.sheet.key]
        self.most_told = MOST_KEPT
        self._id_fields = [column.name for column in self.sheet.key if column.required]
        self._stored: dict[RowKey, tuple[Any, ...]] | None = None
        self._present: tuple[int, list[tuple[str, SheetField]]] = (0, [])
        self._before: dict[str, Any] | None = None
        self._changes: tuple[ColumnChange, ...] = ()

    def _field_of(self, column: Column) -> SheetField:
        attribute = self.attributes.get(column.name, column.name)
        field = make_field(column, self._meta.model, attribute, self.special.get(column.name))
        field.lookups = self.lookups
        return field

    @classmethod
    def get_row_result_class(cls) -> type[SheetRowResult]:
        return SheetRowResult

    def get_import_id_fields(self) -> list[str]:
        return self._id_fields

    def get_export_order(self) -> tuple[str, ...]:
        return tuple(self.fields)

    def import_instance(self, instance: Model, row: dict[str, object], **kwargs: Any) -> None:
        """Lay the row's values onto the instance; columns that the sheet does not have stay as they are."""
        for _, field in self._fields_of(row):
            field.save(instance, row)

    def _fields_of(self, row: dict[str, object]) -> list[tuple[str, SheetField]]:
        """The fields of the columns that the sheet has; all rows that are imported together have the same."""
        if self._present[0] != len(row):
            self._present = (len(row), [(name, field) for name, field in self.fields.items() if name in row])
        return self._present[1]

    def key_of_row(self, row: dict[str, object]) -> RowKey:
        """The natural key of a row that comes in."""
        return tuple(field.as_key(field.clean(row)) for field in self.key_fields)

    def key_of_stored(self, instance: Model) -> RowKey:
        """The natural key of a stored row."""
        return tuple(field.as_key(field.get_value(instance)) for field in self.key_fields)

    def stored_row(self, row: dict[str, object]) -> Model | None:
        """The stored row with the key of this one.

        The table is read once, as plain values, equal texts being one: an object for each row would take five times
        the memory, and a text for each cell twice.
        """
        model = self._meta.model
        if self._stored is None:
            self._stored = {}
            known: dict[str, str] = {}
            for held in self.get_queryset().values_list(*_names_of(model)).iterator(chunk_size=ROWS_AT_ONCE):
                values = tuple(known.setdefault(value, value) if value.__class__ is str else value for value in held)
                self._stored[self.key_of_stored(_row_of(model, values))] = values
        found = self._stored.get(self.key_of_row(row))
        return None if found is None else _row_of(model, found)

    def get_queryset(self) -> QuerySet[Any]:
        rows: QuerySet[Any] = self._meta.model._default_manager.order_by("pk")
        return rows

    def after_init_instance(self, instance: Model, new: bool, row: dict[str, object], **kwargs: Any) -> None:
        """Keep what the row holds before it is touched; the library would copy the whole object."""
        self._before = None if new else {name: field.get_value(instance) for name, field in self._fields_of(row)}

    def skip_row(
        self, instance: Model, original: object, row: dict[str, object], import_validation_errors: object = None
    ) -> bool:
        """Whether the row holds already what is stored; notes what it changes."""
        changes = []
        if self._before is None:
            changes = self._filled(instance, row)
        else:
            for name, field in self._fields_of(row):
                after = field.get_value(instance)
                if self._before[name] != after:
                    changes.append(ColumnChange(name, field.text(self._before[name]), field.text(after)))
        self._changes = tuple(changes)
        return self._before is not None and not changes

    def _filled(self, instance: Model, row: dict[str, object]) -> list[ColumnChange]:
        """What a new row brings, of as many rows as a preview may show."""
        if self.most_told <= 0:
            return []
        self.most_told -= 1
        texts = ((name, field.text(field.get_value(instance))) for name, field in self._fields_of(row))
        return [ColumnChange(name, "", text) for name, text in texts if text]

    def after_import_row(self, row: dict[str, object], row_result: SheetRowResult, **kwargs: Any) -> None:
        row_result.changes = self._changes
        row_result.object_id = None

    def bulk_create(
        self,
        using_transactions: bool,
        dry_run: bool,
        raise_errors: bool,
        batch_size: int | None = None,
        result: object = None,
    ) -> None:
        created = list(self.create_instances)
        self.create_instances.clear()
        insert_rows(self._meta.model, created)
        self.after_store(created)

    def bulk_update(
        self,
        using_transactions: bool,
        dry_run: bool,
        raise_errors: bool,
        batch_size: int | None = None,
        result: object = None,
    ) -> None:
        changed = list(self.update_instances)
        self.update_instances.clear()
        write_over(self._meta.model, changed)
        self.after_store(changed)

    def after_store(self, stored: list[Any]) -> None:
        """Write what belongs to the rows but lies in another table, if anything; new rows do not know their keys."""


@cache
def _names_of(model: type[Model]) -> tuple[str, ...]:
    return tuple(field.attname for field in model._meta.concrete_fields)


def _row_of(model: type[Model], values: tuple[Any, ...]) -> Model:
    return model.from_db(DEFAULT_DB_ALIAS, _names_of(model), values)
