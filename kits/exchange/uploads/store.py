"""Stores checked records, sheet by sheet, inside a transaction only; says what is new, changed and the same."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.exchange.columns.layout import Layout
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import RowChange, SheetChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.registry import SHEETS
from kits.exchange.sheets.stores.bulk_rows import count_rows_anew
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.sheet_store import Occasion

MANY_ROWS = 100
"""From so many rows on a load changes what the database should believe of its tables."""


def mark_sheets(names: Collection[str]) -> None:
    """Mark what is about to change, the catalog first, before any row is locked."""
    touched = [sheet for sheet in SHEETS if sheet.name in names]
    if any(sheet.of_the_catalog for sheet in touched):
        mark_catalog()
    if not all(sheet.of_the_catalog for sheet in touched):
        mark_shop()


def store_records(
    records: Iterable[SheetRecord], replaced: frozenset[str], occasion: Occasion, findings: Findings
) -> tuple[SheetChange, ...]:
    """Store all records, each sheet after those it names, then remove what replaced sheets no longer name.

    The records of a sheet are let go when they are stored, unless others hold them too.
    """
    by_layout: dict[Layout, list[SheetRecord]] = {}
    for record in records:
        by_layout.setdefault(record.sheet, []).append(record)
    lookups = Lookups()
    rows: dict[str, tuple[RowChange, ...]] = {}
    for sheet in SHEETS:
        if sheet.layout in by_layout:
            some = by_layout[sheet.layout] if sheet.name in replaced else by_layout.pop(sheet.layout)
            rows[sheet.name] = sheet.make_store(lookups).store(some, occasion)
            del some
            lookups.forget()
    removed = {
        sheet.name: sheet.make_store(lookups).remove_others(by_layout.get(sheet.layout, []), occasion, findings)
        for sheet in reversed(SHEETS)
        if sheet.name in replaced
    }
    if sum(map(len, rows.values())) >= MANY_ROWS:
        count_rows_anew()
    names = [sheet.name for sheet in SHEETS if sheet.name in rows or sheet.name in removed]
    return tuple(SheetChange(name, rows.get(name, ()), removed.get(name, ())) for name in names)
