"""Values on their way out: as a spreadsheet cell, and as the text that is shown beside another."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from bom.structure.units import from_millionths
from kits.exchange.columns.layout import Column

CellValue = str | int | Decimal | date | None


def cell_value(column: Column, value: object) -> CellValue:
    """The value as a cell of its sheet holds it: numbers as numbers, dates as dates, everything else as text."""
    if value is None or value == "" or value == ():
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if column.reads in {"quantity", "stock"} and isinstance(value, int):
        return _plain(from_millionths(value))
    if column.reads == "life" and isinstance(value, int):
        return _life(value)
    if isinstance(value, Decimal):
        return _plain(value)
    if isinstance(value, tuple):
        return "; ".join(str(one) for one in value)
    if isinstance(value, (int, date)):
        return value
    return str(value)


def value_text(column: Column, value: object) -> str:
    """The value as it is shown in a sentence or a table; empty for a blank."""
    cell = cell_value(column, value)
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def _plain(number: Decimal) -> int | Decimal:
    if number == number.to_integral_value():
        return int(number)
    return Decimal(format(number.normalize(), "f"))


def _life(months: int) -> int | Decimal | str:
    """Years where they come out even, else months, which are read back as such."""
    if months % 3:
        return f"{months} m"
    return _plain(Decimal(months) / 12)
