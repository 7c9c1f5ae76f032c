"""Everything that the shop keeps, as the sheets it can be read from again."""

from __future__ import annotations

from collections.abc import Collection

from kits.exchange.issued_sheet import IssuedSheet
from kits.exchange.kit_content_sheet import KitContentSheet
from kits.exchange.layouts import BY_NAME, SHEETS, Sheet
from kits.exchange.lookups import Lookups
from kits.exchange.lot_sheet import LotSheet
from kits.exchange.resources import RESOURCES
from kits.exchange.sheet_writer import SheetRows, write_workbook

_ORDER = (
    "Items Structure Scopes KitFits FindingRules Substitutes Suppliers Offers Places Lots KitContents Orders "
    "Schedule OtherNeeds Issued Verdicts Findings Holidays Settings"
).split()


def dump_workbook(names: Collection[str] = ()) -> bytes:
    """Write the named sheets, or all of them, as one workbook."""
    lookups = Lookups()
    return write_workbook(read_rows(BY_NAME[name], lookups) for name in _ORDER if not names or name in names)


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


def empty_workbook(names: Collection[str] = ()) -> bytes:
    """Write the named sheets, or all of them, with their headings and formats only, to be filled in."""
    return write_workbook(SheetRows(sheet, []) for sheet in SHEETS if not names or sheet.name in names)
