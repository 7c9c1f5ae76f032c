"""How a column of a sheet stands in a model: one field class for each way."""

from __future__ import annotations

from typing import Any

from django.db.models import ForeignKey, Model

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.exchange.columns.layout import Column
from kits.exchange.columns.values import CellValue, cell_value, value_text
from kits.exchange.reading.cells.words import UNLIMITED
from kits.exchange.sheets.stores.lookups import Lookups


class SheetField:
    """A column that is one attribute of the model. ``blank`` is what an empty cell is stored as."""

    def __init__(self, column: Column, lookups: Lookups, attribute: str = "", blank: object = None) -> None:
        self.column = column
        self.lookups = lookups
        self.attribute = attribute or column.name
        self.blank = blank

    def stored(self, value: object) -> object:
        """The value of a cell as it is stored; cells were read strictly long before."""
        return self.blank if value is None else value

    def held(self, row: Any) -> Any:
        """What a stored row holds."""
        return getattr(row, self.attribute)

    def lay(self, row: Any, value: object) -> None:
        """Lay the value of a cell onto a row of the table."""
        setattr(row, self.attribute, self.stored(value))

    def as_key(self, value: Any) -> object:
        """The stored value as two rows are compared by."""
        return fold(value) if isinstance(value, str) else value

    def meant(self, value: Any) -> object:
        """The stored value in the words of the sheet."""
        return value

    def cell(self, row: Any) -> CellValue:
        """What a stored row puts into the column."""
        return cell_value(self.column, self.meant(self.held(row)))

    def text(self, value: Any) -> str:
        """The stored value as it is shown beside another."""
        return value_text(self.column, self.meant(value))


class ReferenceField(SheetField):
    """A column that names a row of another table; looked up in memory, never one by one."""

    def __init__(self, column: Column, lookups: Lookups, attribute: str, table: str) -> None:
        super().__init__(column, lookups, f"{attribute}_id")
        self.table = table

    def stored(self, value: object) -> object:
        return None if value is None else self.lookups.key_of(self.table, str(value))

    def meant(self, value: Any) -> object:
        return None if value is None else self.lookups.name_of(self.table, value)


class LifeField(SheetField):
    """The shelf life, which the table keeps as months or as a mark that there is no limit."""

    def held(self, row: Item) -> int | str | None:
        return UNLIMITED if row.shelf_life_unlimited else row.shelf_life_months

    def lay(self, row: Item, value: object) -> None:
        row.shelf_life_unlimited = value == UNLIMITED
        row.shelf_life_months = value if isinstance(value, int) else None


class OtherNumbersField(SheetField):
    """The other numbers of an item, which have a table of their own; written when the items have been."""

    def held(self, row: Item) -> tuple[str, ...]:
        waiting: tuple[str, ...] | None = getattr(row, "numbers_to_write", None)
        return self.lookups.other_numbers.get(row.pk, ()) if waiting is None else waiting

    def lay(self, row: Item, value: object) -> None:
        row.numbers_to_write = value or ()  # type: ignore[attr-defined]


class UnitField(SheetField):
    """The unit beside a quantity: on its way in it was taken into the quantity, on its way out it is the stock unit."""

    def held(self, row: Any) -> str:
        key = getattr(row, "child_id", None) or row.item_id
        return self.lookups.name_of("stock_unit", key)

    def lay(self, row: Any, value: object) -> None:
        """Do nothing: quantities are stored in the stock unit."""


class RuleUnitField(UnitField):
    """The unit beside a quantity that not every row has."""

    def held(self, row: Any) -> str:
        return "" if row.quantity is None else super().held(row)


_TABLES = {"Item": "item", "Place": "place", "Supplier": "supplier", "Job": "job", "Batch": "batch"}


def make_field(
    column: Column, lookups: Lookups, model: type[Model], attribute: str, special: type[SheetField] | None
) -> SheetField:
    """The field for a column, by what the model has under that name."""
    if special is not None:
        return special(column, lookups)
    stored = model._meta.get_field(attribute)
    if isinstance(stored, ForeignKey):
        return ReferenceField(column, lookups, attribute, _TABLES[stored.remote_field.model.__name__])
    blank = None if stored.null else stored.get_default()  # type: ignore[union-attr]
    return SheetField(column, lookups, attribute, blank)
