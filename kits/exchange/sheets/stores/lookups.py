"""Names and keys of the tables that rows refer to, each read with one statement and kept for the length of a load."""

from __future__ import annotations

from django.db.models import Model

from kits.catalog.folding import fold
from kits.catalog.models import Item, OtherNumber
from kits.purchasing.models import Supplier
from kits.schedule.models import Batch, Job
from kits.stock.models import Place

_TABLES: dict[str, tuple[type[Model], str]] = {
    "item": (Item, "part_number"),
    "stock_unit": (Item, "stock_unit"),
    "place": (Place, "place"),
    "supplier": (Supplier, "supplier"),
    "job": (Job, "job"),
    "batch": (Batch, "name"),
}


class Lookups:
    """Both ways between the names and the keys of a table; `forget` after the table was written to."""

    def __init__(self) -> None:
        self._keys: dict[str, dict[str, int]] = {}
        self._names: dict[str, dict[int, str]] = {}
        self._other_numbers: dict[int, tuple[str, ...]] | None = None

    def forget(self) -> None:
        """Read everything anew when it is next asked for."""
        self._keys.clear()
        self._names.clear()
        self._other_numbers = None

    def key_of(self, table: str, name: str) -> int:
        """The key of the row of that name, however it is spelled."""
        if table not in self._keys:
            self._read(table)
        return self._keys[table][fold(name)]

    def has(self, table: str, name: str) -> bool:
        """Whether the table has a row of that name."""
        if table not in self._keys:
            self._read(table)
        return fold(name) in self._keys[table]

    def name_of(self, table: str, key: int) -> str:
        """The name of the row of that key."""
        if table not in self._names:
            self._read(table)
        return self._names[table][key]

    @property
    def other_numbers(self) -> dict[int, tuple[str, ...]]:
        """The other numbers of every item, by the item's key."""
        if self._other_numbers is None:
            found: dict[int, list[str]] = {}
            for item, number in OtherNumber.objects.order_by("id").values_list("item_id", "number"):
                found.setdefault(item, []).append(number)
            self._other_numbers = {item: tuple(numbers) for item, numbers in found.items()}
        return self._other_numbers

    def _read(self, table: str) -> None:
        model, name = _TABLES[table]
        rows = list(model._default_manager.values_list("pk", name))
        self._names[table] = dict(rows)
        self._keys[table] = {fold(text): key for key, text in rows}
