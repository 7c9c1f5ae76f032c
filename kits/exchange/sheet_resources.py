"""Sheets that are one table each: django-import-export carries the rows, we read, compare and store in bulk.

The rows that come in were read and checked before; here they meet what is stored. A row result says whether the row is
new, changed or the same, with what each changed column held before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import tablib
from django.db.models import Model, QuerySet
from import_export.instance_loaders import BaseInstanceLoader
from import_export.resources import ModelResource
from import_export.results import RowResult

from kits.exchange.layouts import Column, Sheet
from kits.exchange.lookups import Lookups
from kits.exchange.sheet_fields import SheetField, make_field

ROWS_AT_ONCE = 2000
RowKey = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class ColumnChange:
    """What one column of a row holds before and after, as texts."""

    column: str
    before: str
    after: str


class SheetRowResult(RowResult):  # type: ignore[misc]
    """What came of one row."""

    def __init__(self) -> None:
        super().__init__()
        self.changes: tuple[ColumnChange, ...] = ()

    def add_instance_info(self, instance: Model) -> None:
        """Leave the row's description out: it would read a related row for each."""


class KeyedLoader(BaseInstanceLoader):  # type: ignore[misc]
    """Reads the whole table once and finds rows by their natural key, of any number of columns."""

    def __init__(self, resource: SheetResource, dataset: tablib.Dataset | None = None) -> None:
        super().__init__(resource, dataset)
        self.stored = {resource.key_of_stored(row): row for row in resource.get_queryset()}

    def get_instance(self, row: dict[str, object]) -> Model | None:
        return self.stored.get(self.resource.key_of_row(row))


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
        return [column.name for column in self.sheet.key if column.required]

    def get_export_order(self) -> tuple[str, ...]:
        return tuple(self.fields)

    def import_instance(self, instance: Model, row: dict[str, object], **kwargs: Any) -> None:
        """Lay the row's values onto the instance; columns that the sheet does not have stay as they are."""
        for name, field in self.fields.items():
            if name in row:
                field.save(instance, row)

    def key_of_row(self, row: dict[str, object]) -> RowKey:
        """The natural key of a row that comes in."""
        return tuple(field.as_key(field.clean(row)) for field in self.key_fields)

    def key_of_stored(self, instance: Model) -> RowKey:
        """The natural key of a stored row."""
        return tuple(field.as_key(field.get_value(instance)) for field in self.key_fields)

    def get_queryset(self) -> QuerySet[Any]:
        rows: QuerySet[Any] = self._meta.model._default_manager.order_by("pk")
        return rows

    def after_init_instance(self, instance: Model, new: bool, row: dict[str, object], **kwargs: Any) -> None:
        """Keep what the row holds before it is touched; the library would copy the whole object."""
        self._before = (
            None if new else {name: field.get_value(instance) for name, field in self.fields.items() if name in row}
        )

    def skip_row(
        self, instance: Model, original: object, row: dict[str, object], import_validation_errors: object = None
    ) -> bool:
        """Whether the row holds already what is stored; notes what it changes."""
        changes = []
        for name, field in self.fields.items():
            if name not in row:
                continue
            after = field.get_value(instance)
            if self._before is None:
                if text := field.text(after):
                    changes.append(ColumnChange(name, "", text))
            elif self._before[name] != after:
                changes.append(ColumnChange(name, field.text(self._before[name]), field.text(after)))
        self._changes = tuple(changes)
        return self._before is not None and not changes

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
        if created:
            self._meta.model._default_manager.bulk_create(created, batch_size=ROWS_AT_ONCE)
            self.after_store(created)

    def bulk_update(
        self,
        using_transactions: bool,
        dry_run: bool,
        raise_errors: bool,
        batch_size: int | None = None,
        result: object = None,
    ) -> None:
        """Store changed rows by inserting them over themselves, which is many times faster than an update by cases."""
        changed = list(self.update_instances)
        self.update_instances.clear()
        if changed:
            names = [field.name for field in self._meta.model._meta.concrete_fields if not field.primary_key]
            self._meta.model._default_manager.bulk_create(
                changed, batch_size=ROWS_AT_ONCE, update_conflicts=True, unique_fields=["id"], update_fields=names
            )
            self.after_store(changed)

    def after_store(self, stored: list[Any]) -> None:
        """Write what belongs to the rows but lies in another table; nothing by default."""
