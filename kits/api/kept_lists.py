"""Each list as plain rows in the order of their keys, kept until something is written."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from kits.api.marks import digest
from kits.catalog.caching.revisions import kept_until_written
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.columns.values import CellValue
from kits.exchange.sheets.registry import sheet_of
from kits.exchange.workbooks.dump import read_rows

Cell = str | int | float | None
Key = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KeptList:
    """A list as it stands: its rows in the order of their keys, and what tells it from any other state."""

    keys: list[Key]
    rows: list[dict[str, Cell]]
    tag: str

    def by_key(self) -> Iterator[tuple[Key, dict[str, Cell]]]:
        """Each row with its key."""
        return zip(self.keys, self.rows, strict=True)

    def row_of(self, key: Key) -> dict[str, Cell] | None:
        """The row of a key, or None."""
        place = bisect_left(self.keys, key)
        return self.rows[place] if place < len(self.keys) and self.keys[place] == key else None


def kept_list(layout: Layout) -> KeptList:
    """A list as it stands, kept until something is written; one of the catalog, until the catalog is written to."""
    of_catalog = sheet_of(layout).of_the_catalog
    return kept_until_written(f"api list {layout.name}", lambda: read_list_now(layout), of_catalog=of_catalog)


def all_lists_now() -> dict[str, KeptList]:
    """Every list as the tables hold it at this moment, each after those that its rows name."""
    return {layout.name: read_list_now(layout) for layout in LAYOUTS}


def all_kept_lists() -> dict[str, KeptList]:
    """Every list as it stands, kept until something is written."""
    return {layout.name: kept_list(layout) for layout in LAYOUTS}


def read_list_now(layout: Layout) -> KeptList:
    """A list as the tables hold it at this moment."""
    named = [column.name for column in layout.columns]
    places = [named.index(column.name) for column in layout.key]
    found = [
        (tuple(_text(row[place]) for place in places), dict(zip(named, map(_cell, row), strict=True)))
        for row in read_rows(layout).rows
    ]
    found.sort(key=lambda one: one[0])
    rows = [row for _, row in found]
    return KeptList([key for key, _ in found], rows, digest(layout.name, rows))


def _cell(value: CellValue) -> Cell:
    if isinstance(value, date):
        return value.isoformat()
    return float(value) if isinstance(value, Decimal) else value


def _text(value: CellValue) -> str:
    return "" if value is None else str(_cell(value))
