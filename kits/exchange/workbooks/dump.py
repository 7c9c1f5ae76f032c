"""Everything that the shop keeps, as the sheets it can be read from again."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Collection

from kits.exchange.sheets.issued_sheet import IssuedSheet
from kits.exchange.sheets.kit_content_sheet import KitContentSheet
from kits.exchange.sheets.layouts import BY_NAME, Sheet
from kits.exchange.sheets.lookups import Lookups
from kits.exchange.sheets.lot_sheet import LotSheet
from kits.exchange.sheets.resources import RESOURCES
from kits.exchange.workbooks.sheet_writer import SheetRows, write_text, write_workbook

_ORDER = (
    "Items Structure Scopes KitFits FindingRules Substitutes Suppliers Offers Places Lots KitContents Orders "
    "Schedule OtherNeeds Issued Verdicts Findings Holidays Settings"
).split()


def dump_workbook(names: Collection[str] = ()) -> bytes:
    """Write the named sheets, or all of them, as one workbook."""
    lookups = Lookups()
    return write_workbook(read_rows(sheet, lookups) for sheet in _named(names))


def dump_text(sheet: Sheet, lookups: Lookups | None = None, *, decimal_comma: bool = False) -> bytes:
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


def text_name(sheet: Sheet) -> str:
    """The name of the text file by which a sheet is known again."""
    return f"{sheet.name.casefold()}.csv"


def _named(names: Collection[str]) -> list[Sheet]:
    return [BY_NAME[name] for name in _ORDER if not names or name in names]


def read_rows(sheet: Sheet, lookups: Lookups | None = None) -> SheetRows:
    """Read all rows of one sheet."""
    lookups = lookups or Lookups()
    if sheet.name == "Lots":
        return SheetRows(sheet, list(LotSheet(lookups).export_rows()))
    if sheet.name == "Issued":
        return SheetRows(sheet, list(IssuedSheet(lookups).export_rows()))
    if sheet.name == "KitContents":
        return SheetRows(sheet, list(KitContentSheet(lookups).export_rows()))
    dataset = RESOURCES[sheet.name](lookups).export()
    return SheetRows(sheet, [list(row) for row in dataset])
