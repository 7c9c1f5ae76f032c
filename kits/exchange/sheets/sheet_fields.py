"""How a column of a sheet stands in a model: one field class for each way."""

from __future__ import annotations

from typing import Any

from django.db.models import ForeignKey, Model
from import_export.fields import Field

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.exchange.reading.cells.values import CellValue, cell_value, value_text
from kits.exchange.reading.cells.words import UNLIMITED
from kits.exchange.sheets.layouts import Column
from kits.exchange.sheets.lookups import Lookups


class SheetField(Field):  # type: ignore[misc]
    """A column that is one attribute of the model. ``blank`` is what an empty cell is stored as."""

    def __init__(self, column: Column, attribute: str = "", blank: object = None) -> None:
        super().__init__(attribute=attribute or column.name, column_name=column.name)
        self.column = column
        self.blank = blank
        self.lookups = Lookups()

    def clean(self, row: dict[str, object], **kwargs: Any) -> object:
        """The value to be stored; cells were read strictly long before."""
        value = row.get(self.column_name)
        return self.blank if value is None else value

    def get_value(self, instance: Any) -> Any:
        return getattr(instance, self.attribute)

    def save(self, instance: Any, row: dict[str, object], is_m2m: bool = False, **kwargs: Any) -> None:
        setattr(instance, self.attribute, self.clean(row))

    def as_key(self, value: Any) -> object:
        """The value as two rows are compared by."""
        return fold(value) if isinstance(value, str) else value

    def meant(self, value: Any) -> object:
        """The stored value in the words of the sheet."""
        return value

    def export(self, instance: Any, **kwargs: Any) -> CellValue:
        return cell_value(self.column, self.meant(self.get_value(instance)))

    def text(self, value: Any) -> str:
        """The stored value as it is shown beside another."""
        return value_text(self.column, self.meant(value))


class ReferenceField(SheetField):
    """A column that names a row of another table; looked up in memory, never one by one."""

    def __init__(self, column: Column, table: str, attribute: str = "") -> None:
        super().__init__(column, f"{attribute or column.name}_id")
        self.table = table

    def clean(self, row: dict[str, object], **kwargs: Any) -> object:
        name = row.get(self.column_name)
        return None if name is None else self.lookups.key_of(self.table, str(name))

    def meant(self, value: Any) -> object:
        return None if value is None else self.lookups.name_of(self.table, value)


class LifeField(SheetField):
    """The shelf life, which the table keeps as months or as a mark that there is no limit."""

    def get_value(self, instance: Item) -> int | str | None:
        return UNLIMITED if instance.shelf_life_unlimited else instance.shelf_life_months

    def save(self, instance: Item, row: dict[str, object], is_m2m: bool = False, **kwargs: Any) -> None:
        life = row.get(self.column_name)
        instance.shelf_life_unlimited = life == UNLIMITED
        instance.shelf_life_months = life if isinstance(life, int) else None


class OtherNumbersField(SheetField):
    """The other numbers of an item, which have a table of their own; written when the items have been."""

    def get_value(self, instance: Item) -> tuple[str, ...]:
        waiting: tuple[str, ...] | None = getattr(instance, "numbers_to_write", None)
        return self.lookups.other_numbers.get(instance.pk, ()) if waiting is None else waiting

    def save(self, instance: Item, row: dict[str, object], is_m2m: bool = False, **kwargs: Any) -> None:
        instance.numbers_to_write = row.get(self.column_name) or ()  # type: ignore[attr-defined]


class UnitField(SheetField):
    """The unit beside a quantity: on its way in it was taken into the quantity, on its way out it is the stock unit."""

    def get_value(self, instance: Any) -> str:
        key = getattr(instance, "child_id", None) or instance.item_id
        return self.lookups.name_of("stock_unit", key)

    def save(self, instance: Any, row: dict[str, object], is_m2m: bool = False, **kwargs: Any) -> None:
        """Do nothing: quantities are stored in the stock unit."""


class RuleUnitField(UnitField):
    """The unit beside a quantity that not every row has."""

    def get_value(self, instance: Any) -> str:
        return "" if instance.quantity is None else super().get_value(instance)


_TABLES = {"Item": "item", "Place": "place", "Supplier": "supplier", "Job": "job", "Batch": "batch"}


def make_field(column: Column, model: type[Model], attribute: str, special: type[SheetField] | None) -> SheetField:
    """The field for a column, by what the model has under that name."""
    if special is not None:
        return special(column)
    stored = model._meta.get_field(attribute)
    if isinstance(stored, ForeignKey):
        return ReferenceField(column, _TABLES[stored.remote_field.model.__name__], attribute)
    return SheetField(column, attribute, None if stored.null else stored.get_default())  # type: ignore[union-attr]
