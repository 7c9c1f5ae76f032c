"""Everything that the shop keeps, as the sheets it can be read from again."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Collection

from kits.catalog.caching.progress import report
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.layouts import BY_NAME
from kits.exchange.columns.sheet_text import SheetRows, text_name, write_text
from kits.exchange.sheets.registry import sheet_of
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.workbooks.sheet_writer import write_workbook

_ORDER = (
    "Items Structure Scopes KitFits FindingRules Substitutes Suppliers Offers Places Lots KitContents Orders "
    "Schedule OtherNeeds Issued Verdicts Findings Holidays Settings"
).split()


def dump_workbook(names: Collection[str] = ()) -> bytes:
    """Write the named sheets, or all of them, as one workbook."""
    lookups = Lookups()
    return write_workbook(read_rows(sheet, lookups) for sheet in _named(names))


def dump_text(sheet: Layout, lookups: Lookups | None = None, *, decimal_comma: bool = False) -> bytes:
    """Write one sheet as comma-separated text; the mark at its start lets programs read the signs of every language."""
    return write_text(read_rows(sheet, lookups), decimal_comma=decimal_comma).encode("utf-8-sig")


def dump_texts(names: Collection[str] = (), *, decimal_comma: bool = False) -> bytes:
    """Write the named sheets, or all of them, as comma-separated text files in one zip archive."""
    lookups, out = Lookups(), io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for sheet in _named(names):
            # Without a day of its own the same lists give the same archive.
            entry = zipfile.ZipInfo(text_name(sheet))
            archive.writestr(entry, dump_text(sheet, lookups, decimal_comma=decimal_comma), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _named(names: Collection[str]) -> list[Layout]:
    return [BY_NAME[name] for name in _ORDER if not names or name in names]


def read_rows(layout: Layout, lookups: Lookups | None = None) -> SheetRows:
    """Read all rows of one sheet."""
    report(f"Writing {layout.name}")
    return SheetRows(layout, list(sheet_of(layout).make_store(lookups or Lookups()).export_rows()))
